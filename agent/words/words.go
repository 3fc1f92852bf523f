// Package words is every word of the page and of the papers, in one catalogue: a
// phrase in English is the key, and each language has its own beside it.
//
// What is kept in records and told by devices stays English, because records,
// logs and the broker have one language. A sentence of theirs is known again by
// the form that it was made with; see [Tongue.Sentence].
package words

import (
	"embed"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"sync"
	"time"

	"benchtally/agent/crimp"
)

// English is the language of the keys.
const English = "en"

// names are the languages in the order in which they are offered, each with its
// own name.
var names = []struct{ code, name string }{{English, "English"}, {"es", "Español"}, {"de", "Deutsch"}}

// Languages are the codes of all languages (ISO 639-1).
func Languages() []string {
	codes := make([]string, len(names))
	for i, n := range names {
		codes[i] = n.code
	}
	return codes
}

// Name is what a language calls itself; "": there is no such language.
func Name(code string) string {
	for _, n := range names {
		if n.code == code {
			return n.name
		}
	}
	return ""
}

//go:embed catalogue
var files embed.FS

// all is the catalogue, read once: it is part of the program, and a fault in it is
// one of the program.
var all = sync.OnceValue(func() *catalogue {
	c, err := readCatalogue(files)
	if err != nil {
		panic("words: " + err.Error())
	}
	return c
})

// Tongue speaks one language. It may be used by many at once.
type Tongue struct {
	code string
	at   int // of its words in a phrase; -1: English, which needs none
}

// In is the tongue of a language by its code; of one that there is not, English.
func In(code string) Tongue {
	if i := slices.Index(Languages(), code); i > 0 {
		return Tongue{code, i - 1}
	}
	return Tongue{English, -1}
}

// Code is the language's code.
func (t Tongue) Code() string {
	if t.code == "" {
		return English
	}
	return t.code
}

// foreign says whether anything is to be translated.
func (t Tongue) foreign() bool { return t.code != "" && t.code != English }

// Say is a phrase of the catalogue with its arguments, as fmt.Sprintf writes them.
// A word that means two things carries its meaning in brackets at its end, "Set
// [dial]", which nobody sees. What the catalogue has not is said in English.
func (t Tongue) Say(english string, args ...any) string {
	text := shown(english)
	if t.foreign() {
		if p := all().phrases[english]; p != nil {
			text = p.said[t.at]
		}
	}
	if len(args) == 0 {
		return strings.ReplaceAll(text, "%%", "%")
	}
	return fmt.Sprintf(text, args...)
}

// shown is a key without the meaning in brackets.
func shown(key string) string {
	if i := strings.LastIndex(key, " ["); i > 0 && strings.HasSuffix(key, "]") {
		return key[:i]
	}
	return key
}

// comma says whether the language writes decimals behind a comma.
func (t Tongue) comma() bool { return t.foreign() }

// Decimal is a number that is written with a point, with the language's sign for
// decimals and a real minus sign. There is never a sign between thousands.
func (t Tongue) Decimal(number string) string {
	if rest, ok := strings.CutPrefix(number, "-"); ok {
		number = "−" + rest
	}
	if t.comma() {
		return strings.Replace(number, ".", ",", 1)
	}
	return number
}

// Number writes a number with so many decimals.
func (t Tongue) Number(v float64, decimals int) string {
	return t.Decimal(strconv.FormatFloat(v, 'f', decimals, 64))
}

// Length writes a length with its unit, rounded half away from zero.
func (t Tongue) Length(l crimp.Length, unit crimp.Unit, decimals int) string {
	return t.Decimal(l.Text(unit, decimals))
}

// ReadDecimal is a number as a person typed it, with the point that programs
// read: a comma may stand for it where the language writes one.
func (t Tongue) ReadDecimal(typed string) (string, error) {
	number := strings.Replace(strings.TrimSpace(typed), "−", "-", 1)
	if strings.Contains(number, ",") {
		if !t.comma() || strings.ContainsAny(strings.Replace(number, ",", "", 1), ",.") {
			return "", fmt.Errorf("%q: write one decimal sign and nothing between thousands", typed)
		}
		number = strings.Replace(number, ",", ".", 1)
	}
	bare := strings.TrimLeft(number, "+-")
	if len(number)-len(bare) > 1 || strings.Trim(bare, "0123456789.") != "" || strings.Count(bare, ".") > 1 || strings.Trim(bare, ".") == "" {
		return "", fmt.Errorf("%q is no plain number", typed)
	}
	return number, nil
}

// Date writes a day as the language does.
func (t Tongue) Date(at time.Time) string { return at.Format(t.day()) }

// Clock writes a time to the minute as the language does, by a day of 24 hours.
func (t Tongue) Clock(at time.Time) string { return at.Format(t.day() + " 15:04") }

func (t Tongue) day() string {
	switch t.code {
	case "de":
		return "02.01.2006"
	case "es":
		return "02/01/2006"
	}
	return time.DateOnly
}
