package study

import (
	"fmt"
	"strings"
)

// strokes is a table of what aiming costs, by how much of the noise is the
// piece's own.
func (t Table) strokes(b *strings.Builder) {
	b.WriteString("\n| spread | noise | piece's own share | fail |")
	for _, r := range Ratios {
		fmt.Fprintf(b, " scrap %g: target | aim | aim, failures told |", float64(r))
	}
	b.WriteString("\n|" + strings.Repeat("---|", 4+3*len(Ratios)) + "\n")
	for _, c := range Others() {
		if c.Case != second || c.Between != 1 && c.Between != 3 {
			continue
		}
		fmt.Fprintf(b, "| %g | %g | %s | %s |", c.Between, c.Noise, part(c.Own), t.find(c, Learned).failing())
		for _, r := range Ratios {
			for _, p := range []string{Learned, r.Aimed(Learned), r.Aimed(Careful)} {
				fmt.Fprintf(b, " %s |", t.find(c, p).cost(r))
			}
		}
		b.WriteByte('\n')
	}
}

// fails is the share of second strokes that fail; not a number where there are
// none.
func (r Row) fails() float64 { return r.number(columnFails) / r.number(columnSeconds) }

// failing is how many of 100 second strokes fail, in words.
func (r Row) failing() string {
	if r.number(columnSeconds) < 0.5 {
		return "hardly any" // second strokes: fewer than 20 in the cell
	}
	return fmt.Sprintf("%.0f", 100*r.fails())
}
