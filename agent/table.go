package main

import (
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
)

// table is a CSV file: a header that names columns, in any order, and rows.
type table struct {
	file   string // as messages show it
	header []string
	line   int // of the header
	rows   []tableRow
	faults tableFaults // of rows that could not be read at all
}

// tableRow is one row and where its cells stand.
type tableRow struct {
	line  int
	cells []string
}

// tableColumn is a column that is wanted, as numbers or as texts.
type tableColumn struct {
	name    string
	numbers *[]float64
	texts   *[]string
}

// readTable reads a CSV file; "-" is standard input. Lines that begin with # may
// stand above the header, rows of nothing anywhere. Errors are invalid.
func readTable(e env, name string) (*table, error) {
	text, err := readValues(e, name, "a table with commas between the columns")
	if err != nil {
		return nil, err
	}
	t := &table{file: shownName(name)}
	if err := t.parse(text); err != nil {
		return nil, invalid{err}
	}
	return t, nil
}

// parse reads the header, which must be there, and the rows.
func (t *table) parse(text string) error {
	above := 0 // lines above the header, which the reader does not see
	for {
		line, rest, _ := strings.Cut(text, "\n")
		if line = strings.TrimSpace(line); text == "" || line != "" && line[0] != '#' {
			break
		}
		text, above = rest, above+1
	}
	r := csv.NewReader(strings.NewReader(text))
	r.FieldsPerRecord, r.TrimLeadingSpace = -1, true
	for {
		cells, err := r.Read()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			if !t.syntax(err, above) {
				break
			}
			continue
		}
		line, _ := r.FieldPos(0)
		for i := range cells {
			cells[i] = strings.TrimSpace(cells[i])
		}
		switch {
		case t.header == nil:
			t.header, t.line = cells, line+above
		case slices.ContainsFunc(cells, func(c string) bool { return c != "" }):
			t.rows = append(t.rows, tableRow{line + above, cells})
		}
	}
	if t.header == nil {
		if err := t.faults.error(t.file); err != nil {
			return err
		}
		return fmt.Errorf("%s: the file is empty: its first line names the columns", t.file)
	}
	if len(t.header) == 1 {
		for char, name := range map[string]string{";": "semicolons", "\t": "tabs", "|": "upright strokes"} {
			if strings.Contains(t.header[0], char) {
				return fmt.Errorf("%s:%d: the columns are separated by %s: save the sheet with commas between them", t.file, t.line, name)
			}
		}
	}
	return nil
}

// syntax notes what the CSV reader could not read and says whether it goes on.
func (t *table) syntax(err error, above int) bool {
	var parse *csv.ParseError
	switch {
	case !errors.As(err, &parse):
		t.faults.add(0, "", err.Error())
		return false
	case errors.Is(parse.Err, csv.ErrBareQuote):
		t.faults.add(parse.Line+above, "", `a quote inside a cell: put the cell in quotes and write each inner quote twice, "3/8"""`)
		return true // the reader goes on with the next line
	}
	t.faults.add(parse.StartLine+above, "", "a cell that begins with a quote must end with one before the next comma")
	return false
}

// has says whether the header names all of these columns.
func (t *table) has(names ...string) bool {
	for _, name := range names {
		if t.place(name) < 0 {
			return false
		}
	}
	return true
}

func (t *table) place(name string) int {
	return slices.IndexFunc(t.header, func(h string) bool { return strings.EqualFold(h, name) })
}

// take gives the columns that are wanted and ignores the others. Everything wrong
// with the table is one error, invalid, with a line for each fault; then nothing
// is given.
func (t *table) take(columns ...tableColumn) error {
	var names []string
	for _, c := range columns {
		names = append(names, c.name)
	}
	faults := t.faults
	places := make([]int, len(columns))
	for i, c := range columns {
		places[i] = t.place(c.name)
		if places[i] < 0 {
			faults.add(t.line, c.name, "this column is missing: the header needs "+strings.Join(names, ","))
			continue
		}
		again := slices.IndexFunc(t.header[places[i]+1:], func(h string) bool { return strings.EqualFold(h, c.name) })
		if again >= 0 {
			faults.add(t.line, c.name, fmt.Sprintf("stands twice in the header, as columns %d and %d: keep one of them", places[i]+1, places[i]+again+2))
		}
	}
	if err := faults.error(t.file); err != nil && len(faults.told) > len(t.faults.told) {
		return invalid{err} // rows cannot be read by such a header
	}
	numbers, texts := make([][]float64, len(columns)), make([][]string, len(columns))
	for _, row := range t.rows {
		if len(row.cells) != len(t.header) {
			faults.add(row.line, "", fmt.Sprintf("this row has %s, the header has %d: a cell with a comma in it stands in quotes",
				plural(len(row.cells), "column"), len(t.header)))
			continue
		}
		for i, c := range columns {
			switch cell := row.cells[places[i]]; {
			case cell == "" && c.numbers != nil:
				faults.add(row.line, c.name, "is empty: want a number such as 12.7")
			case cell == "":
				faults.add(row.line, c.name, "is empty: want a name or a number that tells it from the others")
			case c.texts != nil:
				texts[i] = append(texts[i], cell)
			default:
				x, err := parseNumber(cell)
				if err != nil {
					faults.add(row.line, c.name, err.Error())
				}
				numbers[i] = append(numbers[i], x)
			}
		}
	}
	if len(t.rows) == 0 {
		faults.add(0, "", "no row below the header: write one reading a line")
	}
	if err := faults.error(t.file); err != nil {
		return invalid{err}
	}
	for i, c := range columns {
		if c.numbers != nil {
			*c.numbers = numbers[i]
		} else {
			*c.texts = texts[i]
		}
	}
	return nil
}

// tableFaults are the faults of a table, the first of them word for word.
type tableFaults struct {
	told []tableFault
	more int
}

type tableFault struct {
	line         int // 0: the file as a whole
	column, text string
}

func (f *tableFaults) add(line int, column, text string) {
	if len(f.told) == maxNumberFaults {
		f.more++
		return
	}
	f.told = append(slices.Clone(f.told), tableFault{line, column, text})
}

// error is one line for each fault, in the order of lines; nil without a fault.
func (f *tableFaults) error(file string) error {
	slices.SortStableFunc(f.told, func(a, b tableFault) int { return a.line - b.line })
	var all []error
	for _, fault := range f.told {
		where := file
		if fault.line > 0 {
			where = fmt.Sprintf("%s:%d", file, fault.line)
		}
		if fault.column != "" {
			where += ": " + fault.column
		}
		all = append(all, fmt.Errorf("%s: %s", where, fault.text))
	}
	if f.more > 0 {
		all = append(all, fmt.Errorf("%s: and %s", file, plural(f.more, "more fault")))
	}
	return errors.Join(all...)
}
