package config

import (
	"cmp"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"
)

// Fault is one thing in a file that must be put right.
type Fault struct {
	File   string `json:"file"`
	Line   int    `json:"line,omitempty"`   // from 1; 0: the file as a whole
	Column int    `json:"column,omitempty"` // in characters, from 1; 0: the line as a whole
	Key    string `json:"key,omitempty"`    // "measure.places", or the column's name in a specs file
	Value  string `json:"value,omitempty"`  // as written, shortened; absent where it may be a secret
	Text   string `json:"text"`             // what is wrong and what would be right
}

// Error is the fault as one line, such as
// "bench.toml:12: [measure] places = 0: want 1 to 24".
func (f Fault) Error() string {
	var b strings.Builder
	b.WriteString(f.File)
	if f.Line > 0 {
		b.WriteByte(':')
		b.WriteString(strconv.Itoa(f.Line))
	}
	b.WriteString(": ")
	if f.Key != "" {
		b.WriteString(keyText(f.Key))
		if f.Value != "" {
			b.WriteString(" = ")
			b.WriteString(f.Value)
		}
		b.WriteString(": ")
	}
	b.WriteString(f.Text)
	return b.String()
}

// keyText writes a key as people find it in the file: "[measure] places".
func keyText(key string) string {
	table, name, ok := strings.Cut(key, ".")
	if !ok {
		return key
	}
	return tableText(table) + " " + name
}

// tableText writes a table as its line in the file has it.
func tableText(table string) string {
	if repeats(table) {
		return "[[" + table + "]]"
	}
	return "[" + table + "]"
}

// Faults are all faults found in one run, in the order of file and line.
type Faults []Fault

// Error is one line for each fault.
func (fs Faults) Error() string {
	lines := make([]string, len(fs))
	for i, f := range fs {
		lines[i] = f.Error()
	}
	return strings.Join(lines, "\n")
}

// sort puts the faults of the file first in front, then the other files by name.
func (fs Faults) sort(first string) {
	slices.SortStableFunc(fs, func(a, b Fault) int {
		if a.File != b.File {
			switch first {
			case a.File:
				return -1
			case b.File:
				return 1
			}
		}
		return cmp.Or(
			strings.Compare(a.File, b.File),
			cmp.Compare(a.Line, b.Line),
			cmp.Compare(a.Column, b.Column),
		)
	})
}

// shorten cuts a long value for display.
func shorten(s string) string {
	const most = 60
	if utf8.RuneCountInString(s) <= most {
		return s
	}
	return string([]rune(s)[:most-1]) + "…"
}
