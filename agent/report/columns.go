package report

import "strconv"

// pieces are crimps shared out to one column for each piece.
type pieces struct {
	crimps []Crimp
	column []int // of each crimp
	n      int
}

// fewest is how many columns a picture has room for at least, so that one piece
// does not stand alone on a wide plain.
const fewest = 8

// columnsOf shares crimps out.
func columnsOf(crimps []Crimp) pieces {
	p := pieces{crimps: crimps}
	seen := map[string]int{}
	for _, c := range crimps {
		at, known := seen[c.Piece]
		if !known {
			at = p.n
			seen[c.Piece] = at
			p.n++
		}
		p.column = append(p.column, at)
	}
	return p
}

// across sets the axis of the pieces, with room for more columns behind them.
func (p pieces) across(on *plot, words string, more int) {
	on.across = words
	on.from, on.to = -0.6, float64(max(p.n+more, fewest))-0.4
	// Marks that are certain to stand apart; lay leaves out what still would not.
	every := 1
	for _, k := range []int{1, 2, 5, 10, 20, 50, 100} {
		if every = k; (on.to-on.from)/float64(k) <= on.width/60 {
			break
		}
	}
	last := -1
	for i, c := range p.crimps {
		if at := p.column[i]; at > last {
			last = at
			if c.N%every == 0 {
				on.along = append(on.along, tick{float64(at), strconv.Itoa(c.N)})
			}
			if n := len(on.groups); n == 0 || on.groups[n-1].name != c.Order {
				on.groups = append(on.groups, group{from: float64(at) - 0.5, name: c.Order})
			}
			on.groups[len(on.groups)-1].to = float64(at) + 0.5
		}
	}
	if len(on.groups) == 1 {
		on.of = on.groups[0].name
	}
}

// parted draws where one order ends and the next begins.
func (p *plot) parted() {
	for i, g := range p.groups {
		if i > 0 {
			p.on.stroke(penEdge, p.at(g.from, p.low), p.at(g.from, p.high))
		}
	}
}

// radius is how large the marks are where a column is so wide.
func (p *plot) radius() float64 {
	return min(9, max(3.5, (p.at(1, p.low).x-p.at(0, p.low).x)*0.34))
}
