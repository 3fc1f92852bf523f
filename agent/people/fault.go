package people

import (
	"fmt"
	"strings"
)

// Fault is one thing in an operators file that must be put right.
type Fault struct {
	File   string `json:"file"`
	Line   int    `json:"line,omitempty"`   // from 1; 0: the file as a whole
	Column int    `json:"column,omitempty"` // in characters, from 1; 0: the line as a whole
	Key    string `json:"key,omitempty"`    // name of the column
	Text   string `json:"text"`             // what is wrong and what would be right; nothing secret
}

// Error is the fault as one line, such as
// "operators.csv:3:8: lead: want yes or nothing".
func (f Fault) Error() string {
	var b strings.Builder
	b.WriteString(f.File)
	for _, n := range []int{f.Line, f.Column} {
		if n > 0 {
			_, _ = fmt.Fprintf(&b, ":%d", n) // never fails
		}
	}
	b.WriteString(": ")
	if f.Key != "" {
		b.WriteString(f.Key + ": ")
	}
	b.WriteString(f.Text)
	return b.String()
}

// Faults are all faults of a file, from its top.
type Faults []Fault

// Error is one line for each fault.
func (fs Faults) Error() string {
	lines := make([]string, len(fs))
	for i, f := range fs {
		lines[i] = f.Error()
	}
	return strings.Join(lines, "\n")
}
