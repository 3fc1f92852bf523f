package config

import (
	"bytes"
	"errors"
	"fmt"
	"regexp"
	"strconv"
	"strings"

	"github.com/pelletier/go-toml/v2"
	"github.com/pelletier/go-toml/v2/unstable"
)

// unreadable notes the syntax fault at which p stopped. It had started at the
// offset start and read expressions up to the offset end. The answer is the
// offset at which to go on.
func (d *document) unreadable(start, end int, p *unstable.Parser) int {
	at := end
	var pe *unstable.ParserError
	if errors.As(p.Error(), &pe) && pe.Highlight != nil {
		at = start + int(p.Range(pe.Highlight).Offset)
	}
	pos := d.position(at)
	from, next := d.lines[pos.line-1], len(d.data)
	if pos.line < len(d.lines) {
		next = d.lines[pos.line]
	}
	line := strings.TrimRight(string(d.data[from:next]), "\r\n")
	text, written := syntaxText(line, p.Error())
	if end > start { // what follows a good expression in its line is a comment
		end = d.lines[min(d.position(end).line, len(d.lines)-1)]
	}
	if !onlyComments(d.data[min(end, from):from]) {
		// Where a value begun above should have ended is a guess.
		d.fault(pos, "", "", text+"; perhaps a value or a list begun above is still open")
		d.lost = true
		return len(d.data)
	}
	if m := lineKey.FindStringSubmatch(line); m != nil && !d.broken {
		path := append(d.current.path[:len(d.current.path):len(d.current.path)], m[1])
		d.fault(pos, strings.Join(path, "."), written, text)
		d.add(path, d.row(), d.position(from), nil, written)
		return next
	}
	d.fault(pos, "", "", text)
	d.lost = true
	if strings.HasPrefix(strings.TrimSpace(line), "[") {
		d.broken = true
	}
	return next
}

// onlyComments says whether these lines are all empty or comments.
func onlyComments(lines []byte) bool {
	for line := range bytes.Lines(lines) {
		if line = bytes.TrimSpace(line); len(line) > 0 && line[0] != '#' {
			return false
		}
	}
	return true
}

var (
	lineKey  = regexp.MustCompile(`^\s*([A-Za-z0-9_-]+)\s*=`)
	bareText = regexp.MustCompile(`^\s*[A-Za-z0-9_.-]+\s*=\s*([^\s"'\[{#][^"'#]*?)\s*(?:#.*)?$`)
)

// syntaxText says what is wrong with a line that cannot be read, and which
// value it has if that can be told.
func syntaxText(line string, err error) (text, written string) {
	if strings.ContainsAny(line, "“”„") {
		return `curly quotes: write straight ones, "…"`, ""
	}
	if strings.Contains(err.Error(), "strings cannot have new lines") {
		return "the quotes are not closed: a value ends with the quote that it began with", ""
	}
	m := bareText.FindStringSubmatch(line)
	if m == nil {
		return "not TOML: " + err.Error(), ""
	}
	value := m[1]
	written = shorten(value)
	if n := strings.Replace(value, ",", ".", 1); n != value {
		if _, err := strconv.ParseFloat(n, 64); err == nil {
			return "decimal comma: write " + n, written
		}
	}
	if n, err := strconv.ParseInt(value, 10, 64); err == nil {
		return fmt.Sprintf("zero in front: write %d", n), written
	}
	if l := strings.ToLower(value); l == "true" || l == "false" {
		return fmt.Sprintf("write %s in small letters", l), written
	}
	return fmt.Sprintf("text without quotes: write %q", written), written
}

// settle has the library read a file without faults so far: what it refuses
// and the flat list does not show is a fault as well.
func (d *document) settle() {
	var all map[string]any
	err := toml.Unmarshal(d.data, &all)
	if err == nil {
		return
	}
	var p position
	var de *toml.DecodeError
	if errors.As(err, &de) {
		p.line, p.column = de.Position()
	}
	d.fault(p, "", "", "not TOML: "+strings.TrimPrefix(err.Error(), "toml: "))
}
