package config

import (
	"fmt"
	"sort"
	"strconv"
	"strings"
	"unicode/utf8"

	"github.com/pelletier/go-toml/v2"
	"github.com/pelletier/go-toml/v2/unstable"
)

// position is a place in a file, line and column counted from 1.
type position struct{ line, column int }

// entry is one key of a TOML file with its value.
type entry struct {
	position
	header  string // the [header] it stands under, "" above the first
	table   string // first part of its full name, "" for a name of one part
	row     int    // which element of an array of tables, from 0
	name    string // the rest of its full name, joined by points
	value   any    // string, []string, bool, int64, float64 or other; nil: could not be read
	written string // the value as text for a fault
}

// key is the full name, as faults carry it.
func (e entry) key() string {
	if e.table == "" {
		return e.name
	}
	return e.table + "." + e.name
}

// other is a value of a kind that no key takes, named for people.
type other string

// header is one [table] or [[table]] of a TOML file.
type header struct {
	position
	path  []string
	array bool
}

func (h header) name() string { return strings.Join(h.path, ".") }

// document is a TOML file as a flat list. It exists because the library's own
// decoding stops at the first fault and does not say where good values stand.
// Nothing else in this package touches the library's parser, whose interface
// may change.
type document struct {
	entries []entry
	headers []header
	faults  Faults
	lost    bool // part of the file could not be read: a key not seen need not be missing

	file    string
	data    []byte
	lines   []int // offsets at which the lines start
	current header
	broken  bool           // the header above could not be read: its keys are skipped
	rows    map[string]int // arrays of tables: elements so far
	seen    map[string]int // full names: line of the first
}

// parse reads a whole TOML file. A line that cannot be read is a fault and is
// passed over; when it is not clear where it ends, the rest of the file is.
func parse(file string, data []byte) *document {
	d := &document{file: file, data: data, lines: []int{0}, rows: map[string]int{}, seen: map[string]int{}}
	for i, c := range data {
		if c == '\n' {
			d.lines = append(d.lines, i+1)
		}
	}
	for start := 0; start < len(data); {
		start = d.expressions(start)
	}
	if len(d.faults) == 0 {
		d.settle()
	}
	return d
}

// expressions reads from the offset start, the beginning of a line, to the end
// or to a line that cannot be read, and returns where to go on.
func (d *document) expressions(start int) int {
	var p unstable.Parser
	p.Reset(d.data[start:])
	end := start // of the last expression that was read
	for p.NextExpression() {
		node := p.Expression()
		switch node.Kind {
		case unstable.Table, unstable.ArrayTable:
			end = d.header(start, node)
		case unstable.KeyValue:
			end = start + int(node.Raw.Offset+node.Raw.Length)
			if !d.broken {
				d.keyValue(start, node, d.current.path, d.row(), true)
			}
		default: // comments are not kept
		}
	}
	if p.Error() == nil {
		return len(d.data)
	}
	return d.unreadable(start, end, &p)
}

// header takes in [table] or [[table]] and returns its end.
func (d *document) header(start int, node *unstable.Node) int {
	path, pos, end := d.keyPath(start, node)
	h := header{position: pos, path: path, array: node.Kind == unstable.ArrayTable}
	d.headers = append(d.headers, h)
	d.current, d.broken = h, false
	if h.array {
		d.rows[h.name()]++
	} else if first := d.first("["+h.name(), pos.line); first > 0 {
		d.fault(pos, "", "", fmt.Sprintf("table [%s] stands here a second time: put its keys under the first, line %d", h.name(), first))
	}
	return end
}

// row is the element of the array of tables that keys now belong to.
func (d *document) row() int { return max(0, d.rows[d.current.name()]-1) }

// keyValue takes in a key with its value; inline tables are taken apart.
func (d *document) keyValue(start int, node *unstable.Node, path []string, row int, top bool) {
	own, pos, _ := d.keyPath(start, node)
	path = append(path[:len(path):len(path)], own...)
	value := node.Value()
	if value.Kind == unstable.InlineTable {
		d.inline(start, value, path, row)
		return
	}
	if value.Kind == unstable.Array && top && len(path) == 1 && allTables(value) {
		for it := value.Children(); it.Next(); row++ {
			d.inline(start, it.Node(), path, row)
		}
		return
	}
	v, written, wrong := scalar(value)
	if wrong != "" {
		d.fault(pos, strings.Join(path, "."), written, wrong)
		v = nil
	}
	d.add(path, row, pos, v, written)
}

// inline takes in the keys of one inline table.
func (d *document) inline(start int, table *unstable.Node, path []string, row int) {
	for it := table.Children(); it.Next(); {
		d.keyValue(start, it.Node(), path, row, false)
	}
}

// allTables says whether an array is one of inline tables, not empty.
func allTables(array *unstable.Node) bool {
	n := 0
	for it := array.Children(); it.Next(); n++ {
		if it.Node().Kind != unstable.InlineTable {
			return false
		}
	}
	return n > 0
}

// add takes in one entry; a nil value means that its fault is noted already.
func (d *document) add(path []string, row int, pos position, value any, written string) {
	e := entry{position: pos, header: d.current.name(), row: row, name: path[0], value: value, written: written}
	if len(path) > 1 {
		e.table, e.name = path[0], strings.Join(path[1:], ".")
	}
	id := strconv.Itoa(row) + "\x00" + strings.Join(path, "\x00")
	if first := d.first(id, pos.line); first > 0 {
		d.fault(pos, e.key(), written, fmt.Sprintf("stands here a second time, first in line %d: keep one of them", first))
		return
	}
	d.entries = append(d.entries, e)
}

// first is the line in which this name stood before, 0 if it is new.
func (d *document) first(id string, line int) int {
	if l, ok := d.seen[id]; ok {
		return l
	}
	d.seen[id] = line
	return 0
}

// keyPath is the dotted key of a node, where it starts and where it ends.
func (d *document) keyPath(start int, node *unstable.Node) (path []string, pos position, end int) {
	for it := node.Key(); it.Next(); {
		k := it.Node()
		if path == nil {
			pos = d.position(start + int(k.Raw.Offset))
		}
		path = append(path, string(k.Data))
		end = start + int(k.Raw.Offset+k.Raw.Length)
	}
	return path, pos, end
}

// position is the line and column of an offset.
func (d *document) position(offset int) position {
	line := sort.SearchInts(d.lines, offset+1)
	return position{line, 1 + utf8.RuneCount(d.data[d.lines[line-1]:offset])}
}

// fault notes a fault of this file.
func (d *document) fault(p position, key, value, text string) {
	d.faults = append(d.faults, Fault{
		File: d.file, Line: p.line, Column: p.column, Key: key, Value: value, Text: text,
	})
}

// scalar is the value of a node, as text for a fault, and what is wrong with it.
func scalar(node *unstable.Node) (value any, written, wrong string) {
	text := string(node.Data)
	switch node.Kind {
	case unstable.String:
		return text, strconv.Quote(shorten(text)), ""
	case unstable.Integer, unstable.Float, unstable.Bool:
		var v struct{ V any }
		if err := toml.Unmarshal([]byte("V = "+text), &v); err != nil {
			wrong = strings.TrimPrefix(err.Error(), "toml: ")
			if strings.Contains(wrong, "too large") {
				wrong = "far too large a number"
			}
			return nil, shorten(text), wrong
		}
		return v.V, shorten(text), ""
	case unstable.Array:
		if texts, ok := texts(node); ok {
			return texts, "[…]", ""
		}
		return other("a list"), "[…]", ""
	case unstable.LocalDate, unstable.LocalTime, unstable.LocalDateTime, unstable.DateTime:
		return other("a date or a time"), shorten(text), ""
	default:
		return other("something else"), "", ""
	}
}

// texts are the elements of an array of texts; false: some are none.
func texts(array *unstable.Node) ([]string, bool) {
	all := []string{}
	for it := array.Children(); it.Next(); {
		if it.Node().Kind != unstable.String {
			return nil, false
		}
		all = append(all, string(it.Node().Data))
	}
	return all, true
}
