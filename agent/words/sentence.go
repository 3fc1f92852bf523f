package words

import (
	"fmt"
	"regexp"
	"slices"
	"strings"
	"sync"
)

// patterns know sentences again by the form that they were made with.
type patterns struct {
	byStart map[string][]*pattern // by their first word, "" for those that begin with an argument
	exact   map[string]*phrase

	mu   sync.Mutex
	seen map[string]string // what was translated lately, by language and sentence
}

// pattern is the form of a sentence.
type pattern struct {
	*phrase
	form    *regexp.Regexp
	kinds   []string // of its arguments
	literal int      // how much of it is not argument
}

// mostSeen bounds what is remembered: a page shows the same few sentences again
// and again.
const mostSeen = 256

// newPatterns makes forms of phrases. Of several forms that a sentence has, the one
// with the most words of its own is meant.
func newPatterns(all []*phrase) *patterns {
	ps := &patterns{byStart: map[string][]*pattern{}, exact: map[string]*phrase{}, seen: map[string]string{}}
	for _, p := range all {
		text := shown(p.english)
		kinds := arguments(text)
		if len(kinds) == 0 {
			if text == p.english {
				ps.exact[strings.ReplaceAll(text, "%%", "%")] = p
			}
			continue
		}
		form, literal := formOf(text)
		start := firstWord(text)
		if strings.Contains(start, "%") {
			start = ""
		}
		ps.byStart[start] = append(ps.byStart[start], &pattern{p, form, kinds, literal})
	}
	for _, list := range ps.byStart {
		slices.SortStableFunc(list, func(a, b *pattern) int { return b.literal - a.literal })
	}
	return ps
}

// formOf is the regular expression of a sentence, and how many of its bytes are
// its own.
func formOf(text string) (*regexp.Regexp, int) {
	var form strings.Builder
	form.WriteString(`^`)
	literal, from := 0, 0
	own := func(s string) {
		form.WriteString(regexp.QuoteMeta(s))
		literal += len(s)
	}
	for _, at := range verb.FindAllStringIndex(text, -1) {
		own(text[from:at[0]])
		from = at[1]
		switch text[at[1]-1] {
		case '%':
			own("%")
		case 'd':
			form.WriteString(`([-+−]?\d+)`)
		case 'g', 'f':
			form.WriteString(`([-+−]?[0-9.,e+]+)`)
		default:
			form.WriteString(`(.+?)`)
		}
	}
	own(text[from:])
	form.WriteString(`$`)
	return regexp.MustCompile("(?s)" + form.String()), literal
}

func firstWord(text string) string {
	word, _, _ := strings.Cut(text, " ")
	return word
}

// Sentence is a sentence that was made in English elsewhere, as records and states
// carry it, in this language. It is known again by its form in the catalogue: what
// stands at %v in it is a sentence again, what stands at %s and %q is left as it
// is but for decimals of lengths. A sentence that has no form as a whole is taken
// apart at its stops; what is not known even so stays English.
func (t Tongue) Sentence(english string) string {
	if !t.foreign() || english == "" {
		return english
	}
	ps := all().patterns
	key := t.code + "\x00" + english
	ps.mu.Lock()
	said, known := ps.seen[key]
	ps.mu.Unlock()
	if known {
		return said
	}
	said = t.translate(ps, english, 0)
	ps.mu.Lock()
	if len(ps.seen) >= mostSeen {
		clear(ps.seen)
	}
	ps.seen[key] = said
	ps.mu.Unlock()
	return said
}

// deepest bounds sentences within sentences, and longest how much is looked at:
// what others send may be long and strange.
const (
	deepest = 6
	longest = 2048
)

func (t Tongue) translate(ps *patterns, english string, depth int) string {
	if depth > deepest || len(english) > longest {
		return english
	}
	if said, ok := t.whole(ps, english, depth); ok {
		return said
	}
	for _, stop := range []string{". ", "; ", ": ", ", "} {
		if before, after, ok := strings.Cut(english, stop); ok {
			a, knownA := t.part(ps, before, depth+1)
			b, knownB := t.part(ps, after, depth+1)
			if knownA || knownB {
				return a + stop + b
			}
		}
	}
	if rest, ok := strings.CutSuffix(english, "."); ok {
		if said, known := t.part(ps, rest, depth+1); known {
			return said + "."
		}
	}
	return t.lengths(english)
}

// part translates a part of a sentence, and says whether anything of it was known.
func (t Tongue) part(ps *patterns, english string, depth int) (string, bool) {
	said := t.translate(ps, english, depth)
	return said, said != t.lengths(english)
}

// whole translates a sentence by its form; false: it has none.
func (t Tongue) whole(ps *patterns, english string, depth int) (string, bool) {
	if p := ps.exact[english]; p != nil {
		return strings.ReplaceAll(p.said[t.at], "%%", "%"), true
	}
	if lower := lowered(english); lower != english {
		if p := ps.exact[lower]; p != nil {
			return raised(strings.ReplaceAll(p.said[t.at], "%%", "%")), true
		}
	}
	for _, try := range []struct {
		text, start string
		raise       bool
	}{{english, firstWord(english), false}, {lowered(english), firstWord(lowered(english)), true}, {english, "", false}} {
		for _, p := range ps.byStart[try.start] {
			if p.literal < 4 {
				continue // of nothing but arguments
			}
			found := p.form.FindStringSubmatch(try.text)
			if found == nil {
				continue
			}
			said := t.filled(ps, p, found[1:], depth)
			if try.raise && try.text != english {
				said = raised(said)
			}
			return said, true
		}
	}
	return "", false
}

// filled is a form in this language with the arguments of a sentence.
func (t Tongue) filled(ps *patterns, p *pattern, found []string, depth int) string {
	args := make([]any, len(found))
	for i, arg := range found {
		switch p.kinds[i] {
		case "v":
			arg = t.translate(ps, arg, depth+1)
		default:
			arg = t.lengths(arg)
		}
		args[i] = arg
	}
	return fmt.Sprintf(verb.ReplaceAllStringFunc(p.said[t.at], func(v string) string {
		if strings.HasSuffix(v, "%") {
			return v
		}
		if i := strings.IndexByte(v, '['); i >= 0 {
			return "%" + v[i:strings.IndexByte(v, ']')+1] + "s"
		}
		return "%s"
	}), args...)
}

// measured is a number with a decimal point and the unit of a length, a pressure
// or an angle.
var measured = regexp.MustCompile(`-?\d+\.\d+ ?(?:in|mm|bar|psi|MPa|kPa|degrees|°|%)(?:$|[^\pL\d])`)

// lengths gives the lengths in a text the decimal sign of the language.
func (t Tongue) lengths(text string) string {
	if !t.comma() || !strings.Contains(text, ".") {
		return text
	}
	return measured.ReplaceAllStringFunc(text, t.Decimal)
}

// lowered is a text with a small first letter, raised one with a large one.
func lowered(s string) string { return first(s, strings.ToLower) }
func raised(s string) string  { return first(s, strings.ToUpper) }

func first(s string, change func(string) string) string {
	for i, c := range s {
		if i > 0 {
			return change(s[:i]) + s[i:]
		}
		_ = c
	}
	return change(s)
}
