package config

import (
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"
)

// column is one column that a file of rows may have.
type column[T any] struct {
	name     string
	required bool
	want     string                           // what belongs there, for an empty cell
	set      func(row *T, cell string) string // says what would be right; empty when the cell is
}

// sheet reads one CSV file of rows.
type sheet[T any] struct {
	file   string
	csv    *csv.Reader
	lines  [][]byte // of the file, to count columns in characters
	all    []*column[T]
	check  func(row *T, bad map[string]bool, line int) // a row against itself and others
	nobody string                                      // the fault of a file without a row; "": it may have none
	rows   []T
	faults Faults

	columns []*column[T] // of the header, in its order; nil where it has no name or an unknown one
	named   []bool       // whether the header has a name there
}

// newSheet is a sheet of a file's text, its rows in the columns all.
func newSheet[T any](file string, data []byte, all []*column[T]) *sheet[T] {
	data = bytes.TrimPrefix(data, []byte(utf8BOM))
	r := &sheet[T]{file: file, csv: csv.NewReader(bytes.NewReader(data)), lines: bytes.Split(data, []byte("\n")), all: all}
	r.csv.FieldsPerRecord = -1
	return r
}

// read reads all rows. All faults are found in one run, and when there are any
// the rows are of no use.
func (r *sheet[T]) read() {
	if f, ok := notText(r.file, bytes.Join(r.lines, []byte("\n"))); ok {
		r.faults = Faults{f}
		return
	}
	if r.header() {
		for r.row() {
		}
	}
	if len(r.faults) == 0 && len(r.rows) == 0 && r.nobody != "" {
		r.fault(1, 0, "", "", r.nobody)
	}
}

// columnNamed is the column of this name, nil if there is none.
func (r *sheet[T]) columnNamed(name string) *column[T] {
	for _, c := range r.all {
		if c.name == name {
			return c
		}
	}
	return nil
}

func (r *sheet[T]) columnNames(all bool) (names []string) {
	for _, c := range r.all {
		if all || c.required {
			names = append(names, c.name)
		}
	}
	return names
}

// has says whether the header has a column.
func (r *sheet[T]) has(name string) bool {
	return slices.ContainsFunc(r.columns, func(c *column[T]) bool { return c != nil && c.name == name })
}

// header reads the first line and says whether rows can be read by it.
func (r *sheet[T]) header() bool {
	cells, err := r.csv.Read()
	if errors.Is(err, io.EOF) {
		r.fault(1, 0, "", "", "the file is empty: its first line names the columns "+strings.Join(r.columnNames(false), ","))
		return false
	}
	if err != nil {
		r.syntax(err)
		return false
	}
	line, _ := r.csv.FieldPos(0)
	if len(cells) == 1 {
		for _, mark := range []struct{ char, name string }{{";", "semicolons"}, {"\t", "tabs"}, {"|", "upright strokes"}} {
			if strings.Contains(cells[0], mark.char) {
				r.fault(line, 0, "", "", "the columns are separated by "+mark.name+": save the sheet with commas between them")
				return false
			}
		}
	}
	first := map[*column[T]]int{}
	for i, cell := range cells {
		_, at := r.csv.FieldPos(i)
		name := strings.TrimSpace(cell)
		c := r.columnNamed(strings.ToLower(name))
		if c != nil && c.name != name {
			r.fault(line, at, "", "", fmt.Sprintf("column %q: write %q", name, c.name))
		}
		switch before, twice := first[c]; {
		case name == "":
		case c == nil:
			r.fault(line, at, "", "", fmt.Sprintf("unknown column %q, %s", shorten(name), suggest(name, r.columnNames(true))))
		case twice:
			r.fault(line, at, name, "", fmt.Sprintf("stands twice in the header, as columns %d and %d: keep one of them", before+1, i+1))
			c = nil
		default:
			first[c] = i
		}
		r.columns, r.named = append(r.columns, c), append(r.named, name != "")
	}
	for _, name := range r.columnNames(false) {
		if !r.has(name) {
			r.fault(line, 0, name, "", "this column is missing: the header needs "+strings.Join(r.columnNames(false), ","))
		}
	}
	return slices.ContainsFunc(r.columns, func(c *column[T]) bool { return c != nil })
}

// row reads one row and says whether to go on.
func (r *sheet[T]) row() bool {
	cells, err := r.csv.Read()
	if errors.Is(err, io.EOF) {
		return false
	}
	if err != nil {
		return r.syntax(err)
	}
	if !slices.ContainsFunc(cells, func(c string) bool { return strings.TrimSpace(c) != "" }) {
		return true // sheets are often saved with rows of nothing
	}
	line, _ := r.csv.FieldPos(0)
	if len(cells) < len(r.columns) || strings.TrimSpace(strings.Join(cells[len(r.columns):], "")) != "" {
		r.fault(line, 0, "", "", fmt.Sprintf("this row has %d columns, the header has %d: a cell with a comma in it stands in quotes", len(cells), len(r.columns)))
		return true
	}
	before := len(r.faults)
	var s T
	bad := map[string]bool{}
	for i, c := range r.columns {
		cell := strings.TrimSpace(cells[i])
		at, col := r.csv.FieldPos(i)
		switch {
		case c == nil && !r.named[i] && cell != "":
			r.fault(at, col, "", "", fmt.Sprintf("%q stands in a column without a name: name it in the header or empty the cell", shorten(cell)))
		case c == nil:
		case cell == "" && c.required:
			r.fault(at, col, c.name, "", "is empty: "+c.want)
			bad[c.name] = true
		case cell != "":
			if text := c.set(&s, cell); text != "" {
				r.fault(at, col, c.name, cell, text)
				bad[c.name] = true
			}
		}
	}
	r.check(&s, bad, line)
	if len(r.faults) == before {
		r.rows = append(r.rows, s)
	}
	return true
}

// syntax notes what the CSV reader could not read and says whether to go on.
func (r *sheet[T]) syntax(err error) bool {
	var pe *csv.ParseError
	if !errors.As(err, &pe) {
		r.fault(0, 0, "", "", err.Error())
		return false
	}
	if errors.Is(pe.Err, csv.ErrBareQuote) {
		r.fault(pe.Line, pe.Column, "", "", `a quote inside a cell: leave the inch mark out, or put the cell in quotes and write each inner quote twice, "3/8"""`)
		return true // the reader goes on with the next line
	}
	r.fault(pe.StartLine, 0, "", "", `a cell that begins with a quote must end with one before the next comma; inner quotes are written twice, "3/8"""`)
	return false
}

// fault notes a fault of this file; at counts bytes from 1, 0 is the whole line.
func (r *sheet[T]) fault(line, at int, key, value, text string) {
	if at > 0 && line <= len(r.lines) && at-1 <= len(r.lines[line-1]) {
		at = 1 + utf8.RuneCount(r.lines[line-1][:at-1])
	}
	if value = shorten(value); value != "" && !printable(value, len(value)) {
		value = strconv.Quote(value)
	}
	r.faults = append(r.faults, Fault{
		File: r.file, Line: line, Column: at, Key: key, Value: value, Text: text,
	})
}
