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
	exact   map[string]*phrase    // without arguments
	byStart map[string][]*pattern // by their first word, "" for those that begin with an argument

	mu   sync.Mutex
	seen map[sentence]string // what was translated lately
}

// sentence is one that was translated, and into which language.
type sentence struct {
	at      int
	english string
}

// pattern is the form of a sentence with arguments.
type pattern struct {
	*phrase
	kinds   []string // of its arguments
	literal int      // how much of it is not argument, bytes
	longest string   // of its parts that are not argument
	form    func() *regexp.Regexp
}

// fewest is how much of a sentence must not be argument for it to be known again.
const fewest = 4

// newPatterns makes the forms of phrases. Of several forms that a sentence has, the
// one with the most words of its own is meant, and the earlier of two that have as
// many.
func newPatterns(known []*phrase) (*patterns, error) {
	ps := &patterns{exact: map[string]*phrase{}, byStart: map[string][]*pattern{}, seen: map[sentence]string{}}
	for _, p := range known {
		if p.key != p.said[0] {
			continue // of one meaning only, which a sentence does not tell
		}
		for _, text := range []string{p.said[0], p.one[0]} {
			if text == "" {
				continue
			}
			kinds := arguments(text)
			if len(kinds) == 0 {
				ps.exact[strings.ReplaceAll(text, "%%", "%")] = p
				continue
			}
			f := newPattern(p, text, kinds)
			if f.literal < fewest {
				return nil, fmt.Errorf("%s:%d: %q has too few words of its own to be known again", p.file, p.line, text)
			}
			start := firstWord(text)
			if strings.Contains(start, "%") {
				start = ""
			}
			ps.byStart[start] = append(ps.byStart[start], f)
		}
	}
	for _, list := range ps.byStart {
		slices.SortStableFunc(list, func(a, b *pattern) int { return b.literal - a.literal })
	}
	return ps, nil
}

func newPattern(p *phrase, text string, kinds []string) *pattern {
	f := &pattern{phrase: p, kinds: kinds}
	for _, own := range verb.Split(text, -1) {
		f.literal += len(own)
		if len(own) > len(f.longest) {
			f.longest = own
		}
	}
	f.form = sync.OnceValue(func() *regexp.Regexp { return formOf(text) }) // few of them are ever met
	return f
}

// formOf is the regular expression of a sentence.
func formOf(text string) *regexp.Regexp {
	var form strings.Builder
	from := 0
	for _, at := range verb.FindAllStringIndex(text, -1) {
		form.WriteString(regexp.QuoteMeta(text[from:at[0]]))
		from = at[1]
		switch text[at[1]-1] {
		case '%':
			form.WriteString(`%`)
		case 'd':
			form.WriteString(`([-+−]?\d+)`)
		case 'g', 'f':
			form.WriteString(`([-+−]?\d[-+.e\d]*)`)
		case 'q':
			form.WriteString(`("(?:[^"\\]|\\.)*")`)
		default:
			form.WriteString(`(.+?)`)
		}
	}
	form.WriteString(regexp.QuoteMeta(text[from:]))
	return regexp.MustCompile(`(?s)\A` + form.String() + `\z`)
}

// wide tells a name that is rather the end of one sentence and the beginning of
// another.
var wide = regexp.MustCompile(`[.;:] |\n`)

// find is the form of a sentence, with its arguments; nil: it has none. In narrow
// forms no name reaches beyond a sentence.
func (ps *patterns) find(english string, narrow bool) (*pattern, []string) {
	var best *pattern
	var args []string
	for _, start := range []string{firstWord(english), ""} {
		for _, f := range ps.byStart[start] {
			if best != nil && best.literal >= f.literal {
				break
			}
			if !strings.Contains(english, f.longest) {
				continue
			}
			if found := f.form().FindStringSubmatch(english); found != nil && !(narrow && f.wide(found[1:])) {
				best, args = f, found[1:]
				break
			}
		}
	}
	return best, args
}

func (f *pattern) wide(args []string) bool {
	for i, arg := range args {
		if f.kinds[i] == "s" && wide.MatchString(arg) {
			return true
		}
	}
	return false
}

func firstWord(text string) string {
	word, _, _ := strings.Cut(text, " ")
	return word
}
