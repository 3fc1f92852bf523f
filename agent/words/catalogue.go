package words

import (
	"bufio"
	"bytes"
	"fmt"
	"io/fs"
	"path"
	"regexp"
	"slices"
	"strings"
)

// catalogue is all phrases.
type catalogue struct {
	phrases  map[string]*phrase
	patterns *patterns
}

// phrase is one phrase in all languages, in the order of names.
type phrase struct {
	key   string
	said  [len(names)]string
	one   [len(names)]string // of one; "": as of many
	count int                // the argument that decides, counted from 0; -1: none
	file  string
	line  int
}

// text is the phrase in a language.
func (p *phrase) text(at int, one bool) string {
	if one && p.one[at] != "" {
		return p.one[at]
	}
	return p.said[at]
}

// verb is a place for an argument, as fmt has it; the number in brackets is set
// where the arguments change their order.
var verb = regexp.MustCompile(`%(\[\d\])?[-+#0-9.]*[a-zA-Z%]`)

// sentences is the file of what is known again in records and states. Phrases of
// other files are only said, so that what a person typed is not taken for the
// label of a key.
const sentences = "sentences.txt"

// readCatalogue reads all files of a tree. Phrases stand in blocks with an empty
// line between them, a line for each language beginning with its code; a line that
// begins with # is for those who read the file. A line that begins with the code
// and ".1" is for one of what the first %d counts: "en.1 %d more crimp". The
// arguments must be the same in all lines of a block.
func readCatalogue(tree fs.FS) (*catalogue, error) {
	c := &catalogue{phrases: map[string]*phrase{}}
	files, err := fs.Glob(tree, "catalogue/*.txt")
	if err != nil {
		return nil, err
	}
	var known []*phrase
	for _, name := range files {
		text, err := fs.ReadFile(tree, name)
		if err != nil {
			return nil, err
		}
		some, err := readPhrases(name, text)
		if err != nil {
			return nil, err
		}
		for _, p := range some {
			if before := c.phrases[p.key]; before != nil {
				return nil, fmt.Errorf("%s:%d: %q stands already in %s:%d", name, p.line, p.key, before.file, before.line)
			}
			c.phrases[p.key] = p
		}
		if path.Base(name) == sentences {
			known = some
		}
	}
	c.patterns, err = newPatterns(known)
	return c, err
}

func readPhrases(name string, text []byte) (all []*phrase, err error) {
	var p *phrase
	lines := bufio.NewScanner(bytes.NewReader(text))
	n := 0
	for lines.Scan() {
		n++
		line := strings.TrimRight(lines.Text(), " ")
		if strings.HasPrefix(line, "#") {
			continue
		}
		if line == "" {
			if p != nil {
				all, p = append(all, p), nil
			}
			continue
		}
		code, said, _ := strings.Cut(line, " ")
		code, one := strings.CutSuffix(code, ".1")
		i := slices.Index(Languages(), code)
		if i < 0 || said == "" {
			return nil, fmt.Errorf("%s:%d: want a line that begins with one of %v and a blank", name, n, Languages())
		}
		switch begins := i == 0 && !one; {
		case begins && p != nil:
			return nil, fmt.Errorf("%s:%d: an empty line is missing before this phrase", name, n)
		case begins:
			p = &phrase{key: said, file: name, line: n}
			said = shown(said)
			p.count = slices.Index(arguments(said), "d")
		case p == nil:
			return nil, fmt.Errorf("%s:%d: a phrase begins with %s", name, n, English)
		case one && p.count < 0:
			return nil, fmt.Errorf("%s:%d: %q has no %%d that could be one", name, n, p.key)
		}
		at := &p.said[i]
		if one {
			at = &p.one[i]
		}
		if *at != "" {
			return nil, fmt.Errorf("%s:%d: a phrase has each language once", name, n)
		}
		*at = said
	}
	if p != nil {
		all = append(all, p)
	}
	for _, p := range all {
		if err := p.check(); err != nil {
			return nil, fmt.Errorf("%s:%d: %w", name, p.line, err)
		}
	}
	return all, lines.Err()
}

// check says what is wrong with a phrase.
func (p *phrase) check() error {
	want := arguments(p.said[0])
	for i := range names {
		if p.said[i] == "" {
			return fmt.Errorf("%q has no line %q", p.key, names[i].code)
		}
		for _, said := range []string{p.said[i], p.one[i]} {
			if got := arguments(said); said != "" && !slices.Equal(got, want) {
				return fmt.Errorf("%q takes %v, %q takes %v", p.key, want, said, got)
			}
		}
	}
	return nil
}

// arguments are the kinds of a text's arguments, in their order.
func arguments(text string) []string {
	var kinds []string
	next := 0
	for _, v := range verb.FindAllString(text, -1) {
		kind := v[len(v)-1:]
		if kind == "%" {
			continue
		}
		at := next
		if i := strings.IndexByte(v, '['); i >= 0 {
			at = int(v[i+1]-'0') - 1
		}
		for len(kinds) <= at {
			kinds = append(kinds, "")
		}
		kinds[at] = kind
		next = at + 1
	}
	return kinds
}
