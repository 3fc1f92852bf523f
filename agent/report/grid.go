package report

import "strings"

// column is one of a table.
type column struct {
	head  string
	width float64 // millimetres
	right bool    // numbers end in one line
}

// cellGap is the room between two columns, in millimetres.
const cellGap = 2.6

// headGap is the room between two heads, at least.
const headGap = 1.2

// grid is a table. Its head is set anew on each page.
type grid struct {
	s    *sheet
	cols []column
}

// newGrid begins a table of columns, and sets its head. It is as wide as the text: what the columns leave is
// given to the last one.
func (s *sheet) newGrid(cols []column) *grid {
	rest := s.inner()
	for _, c := range cols {
		rest -= c.width
	}
	cols[len(cols)-1].width += rest
	g := &grid{s: s, cols: cols}
	g.head()
	s.again = g.head
	return g
}

// last is how wide the last columns are together.
func (g *grid) last(n int) float64 {
	w := 0.0
	for _, c := range g.cols[len(g.cols)-n:] {
		w += c.width
	}
	return w
}

// done ends the table.
func (g *grid) done() {
	g.s.again = nil
	g.s.y += 1
}

// head sets the heads of the columns, each at the foot of what they need, and all
// of them smaller where a word would be broken.
func (g *grid) head() {
	s := g.s
	pt := smallPt
	s.face(pt, false, soft)
	for _, c := range g.cols {
		for _, word := range strings.Fields(c.head) {
			for pt > 4 && s.long(word) > c.width-headGap {
				pt -= 0.25
				s.face(pt, false, soft)
			}
		}
	}
	lines := make([][]string, len(g.cols))
	most := 1
	for i, c := range g.cols {
		lines[i] = s.wrap(c.head, c.width-headGap)
		most = max(most, len(lines[i]))
	}
	x := margin
	for i, c := range g.cols {
		for j, line := range lines[i] {
			g.cell(x, s.y+float64(most-len(lines[i])+j)*smallLine+smallLine*0.75, c, line)
		}
		x += c.width
	}
	s.y += float64(most)*smallLine + 0.8
	s.rule(s.y, black)
	s.y += 0.6
}

// cell sets one line of a column. A number is set smaller where it is too long,
// and loses no digit.
func (g *grid) cell(x, y float64, c column, text string) {
	if !c.right {
		g.s.put(x, y, text)
		return
	}
	f := g.s.f
	pt, _ := f.GetFontSize()
	for small := pt; small > 3 && g.s.long(text) > c.width-headGap; {
		small -= 0.5
		f.SetFontSize(small)
	}
	g.s.end(x+c.width-cellGap, y, text)
	f.SetFontSize(pt)
}

// row sets a row in the type that is chosen, in as many lines as its longest
// cell needs. Numbers, which end in one line, are never broken.
func (g *grid) row(cells ...string) {
	s := g.s
	lines := make([][]string, len(g.cols))
	most := 1
	for i, c := range g.cols {
		if c.right {
			lines[i] = []string{cells[i]}
			continue
		}
		lines[i] = s.wrap(cells[i], c.width-cellGap)
		most = max(most, len(lines[i]))
	}
	x := margin
	for i, c := range g.cols {
		for j, line := range lines[i] {
			g.cell(x, s.y+float64(j)*textLine+textLine*0.75, c, line)
		}
		x += c.width
	}
	s.y += float64(most) * textLine
}

// block sets a row that is not parted by the end of a page, bold or not.
func (g *grid) block(bold bool, cells ...string) {
	g.s.face(textPt, bold, black)
	g.s.need(float64(g.lines(cells...)) * textLine)
	g.row(cells...)
}

// lines is how many lines a row of these cells takes.
func (g *grid) lines(cells ...string) int {
	most := 1
	for i, c := range g.cols {
		if !c.right {
			most = max(most, len(g.s.wrap(cells[i], c.width-cellGap)))
		}
	}
	return most
}
