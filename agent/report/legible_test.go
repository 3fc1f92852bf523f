package report

import (
	"encoding/binary"
	"strings"
	"testing"
	"unicode"

	"golang.org/x/image/font/gofont/gobold"
	"golang.org/x/image/font/gofont/goregular"
)

// signs are the signs that a font has, by its character map: segments of format 4
// (OpenType, cmap).
func signs(t *testing.T, font []byte) map[rune]bool {
	t.Helper()
	be := binary.BigEndian
	var cmap []byte
	for i := range int(be.Uint16(font[4:])) {
		if entry := font[12+16*i:]; string(entry[:4]) == "cmap" {
			cmap = font[be.Uint32(entry[8:]):]
		}
	}
	for i := range int(be.Uint16(cmap[2:])) {
		entry := cmap[4+8*i:]
		table := cmap[be.Uint32(entry[4:]):]
		if be.Uint16(table) != 4 || be.Uint16(entry) != 3 {
			continue
		}
		has := map[rune]bool{}
		n := int(be.Uint16(table[6:])) / 2
		for k := range n {
			last, first := be.Uint16(table[14+2*k:]), be.Uint16(table[16+2*n+2*k:])
			delta, at := be.Uint16(table[16+4*n+2*k:]), 16+6*n+2*k
			offset := be.Uint16(table[at:])
			for r := int(first); r <= int(last) && r < 0xffff; r++ {
				glyph := uint16(r) + delta
				if offset != 0 {
					if glyph = be.Uint16(table[at+int(offset)+2*(r-int(first)):]); glyph != 0 {
						glyph += delta
					}
				}
				if glyph != 0 {
					has[rune(r)] = true
				}
			}
		}
		return has
	}
	t.Fatal("the font has no map that is known")
	return nil
}

// What is set is in the fonts, and nothing is replaced that is in them, but for
// what is private and for the sign of a replacement.
func TestLegibleIsWhatTheTypeHas(t *testing.T) {
	regular, bold := signs(t, goregular.TTF), signs(t, gobold.TTF)
	for r := rune(0x20); r < 0xffff; r++ {
		set, known := unicode.Is(inType, r), regular[r] && bold[r] && !unicode.Is(unicode.Co, r) && r != unicode.ReplacementChar
		if set != known {
			t.Errorf("%U %c: set %t, in the type %t", r, r, set, known)
		}
	}
}

func TestLegible(t *testing.T) {
	for in, want := range map[string]struct {
		text  string
		whole bool
	}{
		"± ø ° ß ñ ¿ Ü":   {"± ø ° ß ñ ¿ Ü", true},
		"Łódź Дмитрий":    {"Łódź Дмитрий", true},
		"東京":              {"□□", false},
		"a\tb\nc":         {"a b c", true},
		"a\x00\x1bb":      {"a□□b", false},
		"\xffz":           {"□z", false},
		"e\u0301":         {"e□", false},
		"12\u202f000":     {"12 000", true},
		"A\u2010B\u2011C": {"A-B-C", true},
		"x\u200by\ufeff":  {"xy", true},
		"😀":               {"□", false},
		"":                {"", true},
	} {
		if text, whole := legible(in); text != want.text || whole != want.whole {
			t.Errorf("%q becomes %q, whole %t; want %q, %t", in, text, whole, want.text, want.whole)
		}
	}
}

// Whatever comes, what is set is in the type, so that nothing vanishes and the
// library, which trusts its texts, does not panic.
func FuzzLegible(f *testing.F) {
	for _, s := range []string{"A-1001", "\xff\xfe", "😀", "(\\)", "\x00", "\u202e"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		text, whole := legible(s)
		for _, r := range text {
			if !unicode.Is(inType, r) {
				t.Errorf("%q becomes %q with %U", s, text, r)
			}
		}
		if whole && strings.ContainsRune(text, missing) && !strings.ContainsRune(s, missing) {
			t.Errorf("%q becomes %q, and that is not told", s, text)
		}
	})
}
