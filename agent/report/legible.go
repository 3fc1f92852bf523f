package report

import (
	"strings"
	"unicode"
)

// missing stands for a sign that the papers' type does not have.
const missing = '□'

// inType are the signs that the papers' type has, Go Regular and Go Bold alike:
// Latin, Greek and Cyrillic as of WGL4. A test compares it with the fonts.
var inType = &unicode.RangeTable{R16: []unicode.Range16{
	{0x0020, 0x007e, 1}, {0x00a0, 0x017f, 1}, {0x0192, 0x0192, 1}, {0x01fa, 0x01ff, 1}, {0x0218, 0x021b, 1},
	{0x02c6, 0x02c7, 1}, {0x02d8, 0x02dd, 1}, {0x0384, 0x038a, 1}, {0x038c, 0x038c, 1}, {0x038e, 0x03a1, 1},
	{0x03a3, 0x03ce, 1}, {0x0400, 0x045f, 1}, {0x0490, 0x0491, 1}, {0x1e80, 0x1e85, 1}, {0x1ef2, 0x1ef3, 1},
	{0x2013, 0x2015, 1}, {0x2017, 0x201e, 1}, {0x2020, 0x2022, 1}, {0x2026, 0x2026, 1}, {0x2030, 0x2030, 1},
	{0x2032, 0x2033, 1}, {0x2039, 0x203a, 1}, {0x2044, 0x2044, 1}, {0x20ac, 0x20ac, 1}, {0x2116, 0x2116, 1},
	{0x2122, 0x2122, 1}, {0x2126, 0x2126, 1}, {0x215b, 0x215e, 1}, {0x2190, 0x2195, 1}, {0x2202, 0x2202, 1},
	{0x2206, 0x2206, 1}, {0x2211, 0x2212, 1}, {0x221a, 0x221a, 1}, {0x221e, 0x221e, 1}, {0x2248, 0x2248, 1},
	{0x2260, 0x2261, 1}, {0x2264, 0x2265, 1}, {0x25a0, 0x25a1, 1},
}}

// legible is a text as the papers' type can set it, and whether a sign had to be
// replaced. Blanks of all kinds become spaces; a combining accent is replaced
// like any other sign that the type does not have.
func legible(s string) (text string, whole bool) {
	whole = true
	text = strings.Map(func(r rune) rune {
		switch {
		case unicode.Is(inType, r):
			return r
		case unicode.IsSpace(r):
			return ' '
		case r == '\u2010' || r == '\u2011': // hyphens
			return '-'
		case r == '\u00ad' || r == '\u200b' || r == '\ufeff': // nothing to see
			return -1
		}
		whole = false
		return missing
	}, s)
	return text, whole
}
