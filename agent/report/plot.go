package report

import (
	"cmp"
	"math"
	"slices"
)

// Measures of a picture, in its units. Its type is 20 units high.
const (
	lineUnits = 27.0 // from one line of type to the next
	edgeUnits = 10.0 // around all
	sideUnits = 14.0 // from the plot to what is written beside it
)

// plot is a picture with two axes.
type plot struct {
	on     surface
	width  float64
	height float64

	title, of string  // what is drawn, with its unit; and of what
	across    string  // what the axis below counts
	low, high float64 // of the axis upwards
	from, to  float64 // of the axis across
	up        []tick
	along     []tick
	groups    []group // below the marks of the axis across; may be empty
	sides     []tick  // what is written at the right end
	key       []entry
	note      string

	left, right, top, bottom float64 // of the field, once laid out
}

// tick is a place of an axis with its words.
type tick struct {
	at    float64
	words string
}

// group is a part of the axis across with its name.
type group struct {
	from, to float64
	name     string
}

// entry explains a mark or a line: it has the one or the other.
type entry struct {
	mark  shape
	pen   pen
	words string
}

// blank draws a picture that has nothing to show.
func blank(on surface, width, height float64, title, of, words string) {
	p := plot{on: on, width: width, height: height, title: title, of: of}
	p.head()
	on.text(spot{width / 2, height / 2}, centred, false, words)
}

// head writes what is drawn, and of what.
func (p *plot) head() {
	p.on.text(spot{edgeUnits, edgeUnits + 18}, begins, true, p.title)
	if room := p.width - 2*edgeUnits - p.on.long(p.title) - 2*sideUnits; p.of != "" && room > 60 {
		p.on.text(spot{p.width - edgeUnits, edgeUnits + 18}, ends, false, shorten(p.on, p.of, room))
	}
}

// lay shares out the room and draws all but what is plotted.
func (p *plot) lay() {
	p.left = p.on.long(p.across)
	for _, t := range p.up {
		p.left = max(p.left, p.on.long(t.words))
	}
	p.left += edgeUnits + sideUnits
	p.right = 0
	for _, t := range p.sides {
		p.right = max(p.right, p.on.long(t.words))
	}
	p.right = p.width - edgeUnits - p.right
	if len(p.sides) > 0 {
		p.right -= sideUnits + 6
	}
	rows := p.rows()
	p.top = edgeUnits + 18 + sideUnits + 6
	p.bottom = p.height - edgeUnits - lineUnits*float64(1+len(rows))
	if len(p.groups) > 1 {
		p.bottom -= lineUnits
	}
	if p.note != "" {
		p.bottom -= lineUnits
	}
	p.head()
	p.axes()
	p.beside()
	y := p.bottom + lineUnits
	if len(p.groups) > 1 {
		y += lineUnits
		p.names(y)
	}
	for _, row := range rows {
		y += lineUnits
		p.explain(row, y)
	}
	if p.note != "" {
		p.on.text(spot{edgeUnits, y + lineUnits}, begins, false, shorten(p.on, p.note, p.width-2*edgeUnits))
	}
}

// at is where a value lies.
func (p *plot) at(x, y float64) spot {
	return spot{
		p.left + (x-p.from)/(p.to-p.from)*(p.right-p.left),
		p.bottom - (y-p.low)/(p.high-p.low)*(p.bottom-p.top),
	}
}

// axes draws the axes with their marks.
func (p *plot) axes() {
	for _, t := range p.up {
		y := p.at(p.from, t.at).y
		p.on.stroke(penGrid, spot{p.left, y}, spot{p.right, y})
		p.on.text(spot{p.left - sideUnits/2, y + 7}, ends, false, t.words)
	}
	p.on.stroke(penAxis, spot{p.left, p.top}, spot{p.left, p.bottom}, spot{p.right, p.bottom})
	p.on.text(spot{p.left - sideUnits/2, p.bottom + lineUnits - 1}, ends, false, p.across)
	free := p.left - sideUnits/2 // up to where the line is taken
	for _, t := range p.along {
		x, half := p.at(t.at, p.low).x, p.on.long(t.words)/2
		if x-half < free {
			continue
		}
		free = x + half + sideUnits/2
		p.on.stroke(penAxis, spot{x, p.bottom}, spot{x, p.bottom + 5})
		p.on.text(spot{x, p.bottom + lineUnits - 1}, centred, false, t.words)
	}
}

// beside writes what the lines are at their right end, each as near to its line
// as the others leave it.
func (p *plot) beside() {
	sides := slices.Clone(p.sides)
	slices.SortStableFunc(sides, func(a, b tick) int { return cmp.Compare(b.at, a.at) })
	y := make([]float64, len(sides))
	for i, t := range sides {
		if y[i] = p.at(p.from, t.at).y; i > 0 {
			y[i] = max(y[i], y[i-1]+lineUnits-3)
		}
	}
	for i := len(y) - 1; i >= 0; i-- {
		if i == len(y)-1 {
			y[i] = min(y[i], p.bottom)
		} else {
			y[i] = min(y[i], y[i+1]-lineUnits+3)
		}
	}
	for i, t := range sides {
		p.on.stroke(penLink, spot{p.right + 2, p.at(p.from, t.at).y}, spot{p.right + sideUnits, y[i]})
		p.on.text(spot{p.right + sideUnits + 5, y[i] + 7}, begins, false, t.words)
	}
}

// names writes the names of the groups that have room for theirs.
func (p *plot) names(y float64) {
	for _, g := range p.groups {
		a, b := p.at(g.from, p.low).x, p.at(g.to, p.low).x
		if p.on.long(g.name) < b-a-4 {
			p.on.text(spot{(a + b) / 2, y - 3}, centred, false, g.name)
		}
	}
}

// keyUnits is the room of a sign in the key.
const keyUnits = 30.0

// rows shares the key out to lines.
func (p *plot) rows() [][]entry {
	var rows [][]entry
	x := 0.0
	for _, e := range p.key {
		need := keyUnits + p.on.long(e.words) + 2*sideUnits
		if len(rows) == 0 || x+need > p.width-2*edgeUnits+2*sideUnits {
			rows, x = append(rows, nil), 0
		}
		rows[len(rows)-1] = append(rows[len(rows)-1], e)
		x += need
	}
	return rows
}

// explain writes one line of the key.
func (p *plot) explain(row []entry, y float64) {
	x := edgeUnits
	for _, e := range row {
		if e.mark != "" {
			p.on.mark(e.mark, spot{x + 9, y - 7}, 8)
		} else {
			p.on.stroke(e.pen, spot{x, y - 7}, spot{x + 22, y - 7})
		}
		p.on.text(spot{x + keyUnits, y}, begins, false, e.words)
		x += keyUnits + p.on.long(e.words) + 2*sideUnits
	}
}

// shorten is a text that is no longer than the room, cut at its end if need be.
func shorten(on surface, words string, room float64) string {
	runes := []rune(words)
	for n := len(runes); n > 0; n-- {
		short := string(runes[:n])
		if n < len(runes) {
			short += "…"
		}
		if on.long(short) <= room {
			return short
		}
	}
	return ""
}

// span is a range of values with some air around it; values that are all alike
// have a thousandth of their unit.
func span(values ...float64) (low, high float64) {
	low, high = slices.Min(values), slices.Max(values)
	air := (high - low) * 0.08
	if air == 0 {
		air = 0.001
	}
	return low - air, high + air
}

// round rounds to a part of one, so that the same picture has the same bytes.
func round(f, parts float64) float64 {
	r := math.Round(f*parts) / parts
	if r == 0 {
		return 0 // and not -0
	}
	return r
}
