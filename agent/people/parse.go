package people

import (
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
	"unicode/utf8"
)

// Parse reads the text of an operators file; file is its name in faults. The
// error is of type Faults and carries all of them.
func Parse(file string, data []byte) (Roll, error) {
	data = bytes.TrimPrefix(data, []byte("\ufeff")) // sheets write a byte-order mark
	p := parser{
		file: file, csv: csv.NewReader(bytes.NewReader(data)), lines: bytes.Split(data, []byte("\n")),
		signs: map[string]int{}, badges: map[badgeHash]int{},
	}
	p.csv.FieldsPerRecord = -1
	p.read(data)
	if len(p.faults) > 0 {
		return nil, p.faults
	}
	return p.roll, nil
}

// parser reads one operators file.
type parser struct {
	file   string
	csv    *csv.Reader
	lines  [][]byte // of the file, to count columns in characters
	roll   Roll
	signs  map[string]int // line of each operator
	badges map[badgeHash]int
	faults Faults
}

func (p *parser) read(data []byte) {
	if at := invalid(data); at >= 0 {
		line := 1 + bytes.Count(data[:at], []byte("\n"))
		p.fault(line, at-bytes.LastIndexByte(data[:at], '\n'), "", "is not UTF-8 here: save the file as UTF-8")
		return
	}
	const first = "the first line names the columns"
	head, err := p.csv.Read()
	switch {
	case errors.Is(err, io.EOF):
		p.fault(1, 0, "", "the file is empty: "+first+", "+strings.Join(columns, ","))
		return
	case err != nil:
		p.syntax(err)
		return
	case !slices.Equal(head, columns):
		p.fault(1, 0, "", first+", want "+strings.Join(columns, ","))
		return
	}
	for {
		cells, err := p.csv.Read()
		if errors.Is(err, io.EOF) {
			return
		}
		if err == nil {
			p.row(cells)
		} else if !p.syntax(err) {
			return
		}
	}
}

// invalid is where the text is not UTF-8; -1: nowhere.
func invalid(data []byte) int {
	for at := 0; at < len(data); {
		c, n := utf8.DecodeRune(data[at:])
		if c == utf8.RuneError && n == 1 {
			return at
		}
		at += n
	}
	return -1
}

// row reads one row.
func (p *parser) row(cells []string) {
	line, _ := p.csv.FieldPos(0)
	if len(cells) != len(columns) {
		p.fault(line, 0, "", fmt.Sprintf("this row has %d columns, want %d: a cell with a comma in it stands in quotes", len(cells), len(columns)))
		return
	}
	wrong := func(column int, text string) {
		at, col := p.csv.FieldPos(column)
		p.fault(at, col, columns[column], text)
	}
	e := entry{Person: Person{ID: cells[0], Name: cells[1]}}
	if err := CheckID(e.ID); err != nil {
		wrong(0, err.Error())
	} else if first, twice := p.signs[e.ID]; twice {
		wrong(0, fmt.Sprintf("%s stands twice, first on line %d: take one of them out", e.ID, first))
	} else {
		p.signs[e.ID] = line
	}
	if err := CheckName(e.Name); err != nil {
		wrong(1, err.Error())
	}
	switch cells[2] {
	case "yes":
		e.Lead = true
	case "":
	default:
		wrong(2, "want yes or nothing")
	}
	var err error
	if e.pin, err = parsePIN(cells[3]); err != nil {
		wrong(3, err.Error()+": empty the cell and set it with \"benchtally operator pin\"")
	}
	if e.badge, err = parseBadge(cells[4]); err != nil {
		wrong(4, err.Error()+": empty the cell and make one with \"benchtally operator badge\"")
	} else if first, twice := p.badges[e.badge]; twice {
		wrong(4, fmt.Sprintf("this badge stands twice, first on line %d: empty one of the cells", first))
	} else if e.badge.sum != "" {
		p.badges[e.badge] = line
	}
	p.roll = append(p.roll, e)
}

// syntax notes what the CSV reader could not read and says whether to go on.
func (p *parser) syntax(err error) bool {
	var pe *csv.ParseError
	if !errors.As(err, &pe) {
		p.fault(0, 0, "", err.Error())
		return false
	}
	if errors.Is(pe.Err, csv.ErrBareQuote) {
		p.fault(pe.Line, pe.Column, "", "a quote inside a cell: put the cell in quotes and write each inner quote twice")
		return true // the reader goes on with the next line
	}
	p.fault(pe.StartLine, 0, "", "a cell that begins with a quote must end with one before the next comma; inner quotes are written twice")
	return false
}

// fault notes a fault; at counts bytes from 1, 0 is the whole line.
func (p *parser) fault(line, at int, key, text string) {
	if at > 0 && line <= len(p.lines) && at-1 <= len(p.lines[line-1]) {
		at = 1 + utf8.RuneCount(p.lines[line-1][:at-1])
	}
	p.faults = append(p.faults, Fault{File: p.file, Line: line, Column: at, Key: key, Text: text})
}
