package words

import (
	"bufio"
	"bytes"
	"fmt"
	"io/fs"
	"regexp"
	"slices"
	"strings"
)

// catalogue is all phrases.
type catalogue struct {
	phrases  map[string]*phrase
	patterns *patterns // those that have sentences of records as well
}

// phrase is one phrase in all languages.
type phrase struct {
	english string
	said    [2]string // in the other languages, in the order of names
	file    string
	line    int
}

// verb is a place for an argument, as fmt has it; the number in brackets is set
// where the arguments change their order.
var verb = regexp.MustCompile(`%(\[\d\])?[-+0-9.]*[a-zA-Z%]`)

// readCatalogue reads all files of a tree. Phrases stand in blocks with an empty
// line between them, a line for each language beginning with its code; a line that
// begins with # is for those who read the file. The arguments must be the same in
// all languages.
func readCatalogue(tree fs.FS) (*catalogue, error) {
	c := &catalogue{phrases: map[string]*phrase{}}
	files, err := fs.Glob(tree, "catalogue/*.txt")
	if err != nil {
		return nil, err
	}
	var sentences []*phrase
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
			if before := c.phrases[p.english]; before != nil {
				return nil, fmt.Errorf("%s:%d: %q stands already in %s:%d", name, p.line, p.english, before.file, before.line)
			}
			c.phrases[p.english] = p
			sentences = append(sentences, p)
		}
	}
	c.patterns = newPatterns(sentences)
	return c, nil
}

func readPhrases(name string, text []byte) (all []*phrase, err error) {
	var p *phrase
	end := func(line int) error {
		if p == nil {
			return nil
		}
		for i, said := range p.said {
			if said == "" {
				return fmt.Errorf("%s:%d: %q has no line %q", name, line, p.english, names[i+1].code)
			}
			if !slices.Equal(arguments(said), arguments(shown(p.english))) {
				return fmt.Errorf("%s:%d: %q takes %v, %q takes %v", name, p.line, p.english, arguments(p.english), said, arguments(said))
			}
		}
		all, p = append(all, p), nil
		return nil
	}
	lines := bufio.NewScanner(bytes.NewReader(text))
	n := 0
	for lines.Scan() {
		n++
		line := strings.TrimRight(lines.Text(), " ")
		if strings.HasPrefix(line, "#") {
			continue
		}
		if line == "" {
			if err := end(n); err != nil {
				return nil, err
			}
			continue
		}
		code, said, ok := strings.Cut(line, " ")
		switch i := slices.Index(Languages(), code); {
		case !ok || i < 0:
			return nil, fmt.Errorf("%s:%d: want a line that begins with one of %v and a blank", name, n, Languages())
		case i == 0 && p != nil:
			return nil, fmt.Errorf("%s:%d: an empty line is missing before this phrase", name, n)
		case i == 0:
			p = &phrase{english: said, file: name, line: n}
		case p == nil || p.said[i-1] != "":
			return nil, fmt.Errorf("%s:%d: a phrase begins with %s and has each language once", name, n, English)
		default:
			p.said[i-1] = said
		}
	}
	if err := end(n + 1); err != nil {
		return nil, err
	}
	return all, lines.Err()
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
