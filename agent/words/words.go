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
	"strings"
	"sync"
)

// English is the language of the keys.
const English = "en"

// names are the languages in the order in which they are offered, each with its
// own name. English is the first.
var names = [...]struct{ code, name string }{{English, "English"}, {"es", "Español"}, {"de", "Deutsch"}}

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

// Tongue speaks one language. The zero value speaks English. It may be used by
// many at once.
type Tongue struct {
	at int // in names
}

// In is the tongue of a language by its code; of one that there is not, English.
func In(code string) Tongue {
	for i, n := range names {
		if n.code == code {
			return Tongue{i}
		}
	}
	return Tongue{}
}

// Code is the language's code.
func (t Tongue) Code() string { return names[t.at].code }

// foreign says whether anything is to be translated.
func (t Tongue) foreign() bool { return t.at != 0 }

// Say is a phrase of the catalogue with its arguments, as fmt.Sprintf writes them.
// A word that means two things carries its meaning in brackets at its end, "Set
// [dial]", which nobody sees. Where the catalogue has words of their own for one of
// something, the first %d decides. What the catalogue has not is said in English.
func (t Tongue) Say(english string, args ...any) string {
	text := shown(english)
	if p := all().phrases[english]; p != nil {
		text = p.text(t.at, p.count >= 0 && p.count < len(args) && fmt.Sprint(args[p.count]) == "1")
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
