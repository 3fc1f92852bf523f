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

	"benchtally/agent/crimp"
)

// specsReader reads one specs file.
type specsReader struct {
	file   string
	csv    *csv.Reader
	lines  [][]byte // of the file, to count columns in characters
	scale  crimp.Scale
	seen   map[string]string // spec ids of all files so far: where each stands
	specs  []crimp.Spec
	faults Faults

	columns []*column // of the header, in its order; nil where it has no name or an unknown one
	named   []bool    // whether the header has a name there
}

// parseSpecs reads a whole specs file. Settings must lie within the scale; an
// id that seen has already is a fault. All faults are found in one run, and
// when there are any the specs are of no use.
func parseSpecs(file string, data []byte, scale crimp.Scale, seen map[string]string) ([]crimp.Spec, Faults) {
	data = bytes.TrimPrefix(data, []byte(utf8BOM))
	if f, ok := notText(file, data); ok {
		return nil, Faults{f}
	}
	r := &specsReader{
		file: file, csv: csv.NewReader(bytes.NewReader(data)), lines: bytes.Split(data, []byte("\n")),
		scale: scale, seen: seen,
	}
	r.csv.FieldsPerRecord = -1
	if r.header() {
		for r.row() {
		}
	}
	if len(r.faults) == 0 && len(r.specs) == 0 {
		r.fault(1, 0, "", "", "no specification below the header: write one a line")
	}
	return r.specs, r.faults
}

// header reads the first line and says whether rows can be read by it.
func (r *specsReader) header() bool {
	cells, err := r.csv.Read()
	if errors.Is(err, io.EOF) {
		r.fault(1, 0, "", "", "the file is empty: its first line names the columns "+strings.Join(required(), ","))
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
	first := map[*column]int{}
	for i, cell := range cells {
		_, at := r.csv.FieldPos(i)
		name := strings.TrimSpace(cell)
		c := columnNamed(strings.ToLower(name))
		if c != nil && c.name != name {
			r.fault(line, at, "", "", fmt.Sprintf("column %q: write %q", name, c.name))
		}
		switch before, twice := first[c]; {
		case name == "":
		case c == nil:
			r.fault(line, at, "", "", fmt.Sprintf("unknown column %q, %s", shorten(name), suggest(name, columnNames())))
		case twice:
			r.fault(line, at, name, "", fmt.Sprintf("stands twice in the header, as columns %d and %d: keep one of them", before+1, i+1))
			c = nil
		default:
			first[c] = i
		}
		r.columns, r.named = append(r.columns, c), append(r.named, name != "")
	}
	for _, name := range required() {
		if !slices.ContainsFunc(r.columns, func(c *column) bool { return c != nil && c.name == name }) {
			r.fault(line, 0, name, "", "this column is missing: the header needs "+strings.Join(required(), ","))
		}
	}
	return slices.ContainsFunc(r.columns, func(c *column) bool { return c != nil })
}

// row reads one row and says whether to go on.
func (r *specsReader) row() bool {
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
	var s crimp.Spec
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
			if text := c.set(&s, cell, r.scale); text != "" {
				r.fault(at, col, c.name, cell, text)
				bad[c.name] = true
			}
		}
	}
	r.relations(s, bad, line)
	if s.ID != "" {
		here := fmt.Sprintf("%s:%d", r.file, line)
		if there, ok := r.seen[s.ID]; ok {
			r.fault(line, 0, "spec", s.ID, "this id stands twice, first at "+there+": give one of them another id")
		} else {
			r.seen[s.ID] = here
		}
	}
	if len(r.faults) == before {
		r.specs = append(r.specs, s)
	}
	return true
}

// relations checks the cells of a row against each other.
func (r *specsReader) relations(s crimp.Spec, bad map[string]bool, line int) {
	for _, name := range []string{"diameter", "plus", "minus"} {
		if bad[name] || !slices.ContainsFunc(r.columns, func(c *column) bool { return c != nil && c.name == name }) {
			return
		}
	}
	switch {
	case s.Plus == 0 && s.Minus == 0:
		r.fault(line, 0, "plus", "", "plus and minus are both nothing, so no crimp could be within the limits: copy the tolerance from the maker's sheet")
	case s.Minus >= s.Diameter:
		r.fault(line, 0, "minus", s.Minus.String(), "must be smaller than the diameter "+s.Diameter.String())
	case s.Plus >= s.Diameter:
		r.fault(line, 0, "plus", s.Plus.String(), "must be smaller than the diameter "+s.Diameter.String())
	}
}

// syntax notes what the CSV reader could not read and says whether to go on.
func (r *specsReader) syntax(err error) bool {
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
func (r *specsReader) fault(line, at int, key, value, text string) {
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
