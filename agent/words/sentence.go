package words

import (
	"fmt"
	"regexp"
	"strings"
	"unicode"
	"unicode/utf8"
)

// Bounds of what is translated. What others send may be long and strange; a page
// shows the same few sentences again and again.
const (
	longest   = 2048 // bytes of a sentence
	deepest   = 6    // sentences within sentences
	mostRuns  = 16   // parts of a sentence
	mostTries = 300  // forms looked for in a sentence and its parts; the program's own take 20
	mostSeen  = 256  // sentences that are remembered
)

// work is the translation of one sentence.
type work struct {
	*patterns
	tries int // forms that may still be looked for
}

// Sentence is a sentence that was made in English elsewhere, as records and states
// carry it, in this language. It is known again by its form in the catalogue's
// sentences: what stands at %v in it is a sentence again; what stands at %s and %q
// is a name and left as it is, but that a measured value gets the language's
// decimal sign. A sentence that has no form as a whole is taken apart at its stops.
// What is not known even so, or not within the bounds above, stays English.
func (t Tongue) Sentence(english string) string {
	if !t.foreign() || english == "" || len(english) > longest {
		return english
	}
	ps := all().patterns
	key := sentence{t.at, english}
	ps.mu.Lock()
	said, known := ps.seen[key]
	ps.mu.Unlock()
	if known {
		return said
	}
	said = t.translate(&work{ps, mostTries}, english, 0)
	ps.mu.Lock()
	if len(ps.seen) >= mostSeen {
		clear(ps.seen)
	}
	ps.seen[key] = said
	ps.mu.Unlock()
	return said
}

func (t Tongue) translate(w *work, english string, depth int) string {
	if depth > deepest {
		return english
	}
	if said, ok := t.whole(w, english, depth, true); ok {
		return said
	}
	said, all, some := t.parts(w, english, depth)
	if all {
		return said
	}
	if said, ok := t.whole(w, english, depth, false); ok {
		return said
	}
	if some {
		return said
	}
	return t.measured(english)
}

// whole translates a sentence by its form, whether it ends with a stop or not;
// false: it has none.
func (t Tongue) whole(w *work, english string, depth int, narrow bool) (string, bool) {
	if said, ok := t.begun(w, english, depth, narrow); ok {
		return said, true
	}
	if rest, ok := strings.CutSuffix(english, "."); ok {
		if said, ok := t.begun(w, rest, depth, narrow); ok {
			return said + ".", true
		}
	}
	return "", false
}

// begun translates a sentence by its form, whatever its first letter. A name that
// comes to stand first keeps its own.
func (t Tongue) begun(w *work, english string, depth int, narrow bool) (string, bool) {
	if said, _, ok := t.formed(w, english, depth, narrow); ok {
		return said, true
	}
	lower := first(english, unicode.ToLower)
	if lower == english {
		return "", false
	}
	said, named, ok := t.formed(w, lower, depth, narrow)
	if ok && !named {
		said = first(said, unicode.ToUpper)
	}
	return said, ok
}

// formed translates a sentence that has a form, and says whether an argument
// stands first in it.
func (t Tongue) formed(w *work, english string, depth int, narrow bool) (said string, named, ok bool) {
	if p := w.exact[english]; p != nil {
		return strings.ReplaceAll(p.said[t.at], "%%", "%"), false, true
	}
	if w.tries--; w.tries < 0 {
		return "", false, false
	}
	f, found := w.find(english, narrow)
	if f == nil {
		return "", false, false
	}
	args := make([]any, len(found))
	for i, arg := range found {
		switch f.kinds[i] {
		case "v":
			args[i] = t.translate(w, arg, depth+1)
		case "g", "f":
			args[i] = t.Decimal(arg)
		default:
			args[i] = t.measured(arg)
		}
	}
	format := f.text(t.at, f.count >= 0 && found[f.count] == "1")
	return fmt.Sprintf(asText(format), args...), strings.HasPrefix(format, "%"), true
}

// asText is a format whose arguments are all text already.
func asText(format string) string {
	return verb.ReplaceAllStringFunc(format, func(v string) string {
		if strings.HasSuffix(v, "%") {
			return v
		}
		if i := strings.IndexByte(v, ']'); i >= 0 {
			return v[:i+1] + "s"
		}
		return "%s"
	})
}

// stop is what joins sentences.
var stop = regexp.MustCompile(`[.;:,] |\n`)

// run is a part of a sentence, what it is in this language, and the stop behind it.
type run struct {
	english, said, stop string
	known               bool
}

// parts translates a sentence by its parts, each as long as a form allows, and says
// whether all of them are known, and whether any is. Beside what is not known a
// word alone is left as it is: it may be a name.
func (t Tongue) parts(w *work, english string, depth int) (said string, all, some bool) {
	stops := stop.FindAllStringIndex(english, -1)
	if len(stops) >= mostRuns { // a list
		stops = wide.FindAllStringIndex(english, -1)
	}
	if len(stops) == 0 || len(stops) >= mostRuns {
		return english, false, false
	}
	stops = append(stops, []int{len(english), len(english)})
	var runs []run
	begin := 0
	all = true
	for i := 0; i < len(stops); i++ {
		r := run{english: english[begin:stops[i][0]]}
		r.said = t.measured(r.english)
		for j := len(stops) - 1; j >= i; j-- {
			longer := english[begin:stops[j][0]]
			if said, ok := t.whole(w, longer, depth+1, true); ok {
				r, i = run{english: longer, said: said, known: true}, j
				break
			}
		}
		r.stop = english[stops[i][0]:stops[i][1]]
		begin = stops[i][1]
		all = all && (r.known || r.said != r.english)
		runs = append(runs, r)
	}
	var text strings.Builder
	for _, r := range runs {
		if !all && !strings.Contains(r.english, " ") {
			r.said, r.known = r.english, false
		}
		some = some || r.known
		text.WriteString(r.said)
		text.WriteString(r.stop)
	}
	return text.String(), all && some, some
}

// quantity is what is measured: a number and its unit, once more in brackets in
// another unit.
var quantity = regexp.MustCompile(`\A` + amount + `(?: \(` + amount + `\))?\z`)

const amount = `[-+−±]?\d+(?:\.\d+)? ?(?:in|mm|m|bar|psi|MPa|kPa|s|°|%)`

// measured gives a text that is a measured value the decimal sign of the language.
func (t Tongue) measured(text string) string {
	if !t.comma() || !quantity.MatchString(text) {
		return text
	}
	return strings.ReplaceAll(text, ".", ",")
}

// first changes the first letter of a text.
func first(text string, change func(rune) rune) string {
	r, size := utf8.DecodeRuneInString(text)
	if r == utf8.RuneError {
		return text
	}
	return string(change(r)) + text[size:]
}
