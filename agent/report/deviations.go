package report

import (
	"slices"

	"benchtally/agent/crimp"
)

// The size of pictures, in points of the panel at the press.
const (
	pictureWidth  = 800
	pictureHeight = 480
)

// mostMarks is how many pieces a picture shows at the press: more could not be
// told apart from where people stand.
const mostMarks = 40

// Deviations is a picture of how far the last pieces are from their target, with
// the limits and what is aimed at: SVG, 800 by 480.
func Deviations(s Series, language Tongue) []byte {
	w := words{language}
	var v svg
	v.begin(pictureWidth, pictureHeight, w.Say("Deviation from the target"), w.describe(s.last(mostMarks)))
	deviations(&v, pictureWidth, pictureHeight, s, mostMarks, w)
	return v.end()
}

// describe tells a picture of deviations to who does not see it.
func (w words) describe(crimps []Crimp) string {
	if len(crimps) == 0 {
		return w.Say("No crimp is judged yet.")
	}
	c := crimps[len(crimps)-1]
	u := unitOf(c.Spec)
	return w.Say("The latest piece, %s: %s %s from the target, %s.", c.Piece,
		w.signed(crimp.Nearest(c.Deviation), u, fine(u)), string(u), w.shown(shapeOf(c)))
}

// shapeOf is the mark of a crimp.
func shapeOf(c Crimp) shape {
	switch c.Outcome {
	case crimp.Pass:
		if c.Crimp > 1 {
			return square
		}
		return disc
	case crimp.Recrimp:
		return triangle
	case crimp.Scrap:
		return cross
	case crimp.Unsure:
		return diamond
	}
	return diamond
}

// shown is what a mark of a crimp says.
func (w words) shown(s shape) string {
	switch s {
	case disc:
		return w.Say("within limits")
	case square:
		return w.Say("within limits, crimped again")
	case triangle:
		return w.Say("too large, to be crimped again")
	case cross:
		return w.Say("scrap")
	case diamond:
		return w.Say("too near a limit to tell")
	case ring:
		return w.Say("advised")
	}
	return ""
}

// deviations draws the picture of no more pieces than most.
func deviations(on surface, width, height float64, s Series, most int, w words) {
	crimps := s.last(most)
	title := w.Say("Deviation from the target")
	if len(crimps) == 0 {
		blank(on, width, height, title, "", w.Say("No crimp is judged yet."))
		return
	}
	latest := crimps[len(crimps)-1]
	unit := unitOf(latest.Spec)
	in := func(nm float64) float64 { return nm / float64(unit.Size()) }

	p := plot{on: on, width: width, height: height, title: title + ", " + string(unit)}
	cols := columnsOf(crimps)
	cols.across(&p, w.Say("Piece"), 0)
	values := []float64{0}
	for _, c := range crimps {
		values = append(values, in(c.Deviation), in(float64(c.Spec.Plus)), in(-float64(c.Spec.Minus)))
	}
	aim := 0.0
	if s.Next != nil {
		aim = in(float64(s.Next.Aim))
		values = append(values, aim)
	}
	p.low, p.high = span(values...)
	p.upward(w, true)
	p.sides = []tick{
		{in(float64(latest.Spec.Plus)), w.Say("upper limit")},
		{in(-float64(latest.Spec.Minus)), w.Say("lower limit")},
		{0, w.Say("target")},
	}
	if aim != 0 {
		p.sides = append(p.sides, tick{aim, w.Say("aim")})
	}
	for _, known := range []shape{disc, square, triangle, cross, diamond} {
		if slices.ContainsFunc(crimps, func(c Crimp) bool { return shapeOf(c) == known }) {
			p.key = append(p.key, entry{mark: known, words: w.shown(known)})
		}
	}
	switch all := columnsOf(s.Crimps).n; {
	case cols.n == 1:
		p.note = w.Say("One piece so far: it shows no course yet.")
	case cols.n < all:
		p.note = w.Say("The latest %d of %d measured pieces.", cols.n, all)
	}
	p.lay()
	p.parted()

	zero := p.at(0, 0).y
	on.stroke(penMean, spot{p.left, zero}, spot{p.right, zero})
	if aim != 0 {
		y := p.at(0, aim).y
		on.stroke(penAim, spot{p.left, y}, spot{p.right, y})
	}
	p.limit(cols, func(c Crimp) float64 { return in(float64(c.Spec.Plus)) })
	p.limit(cols, func(c Crimp) float64 { return in(-float64(c.Spec.Minus)) })
	before := map[string]spot{}
	r := p.radius()
	for i, c := range crimps {
		at := p.at(float64(cols.column[i]), in(c.Deviation))
		if from, again := before[c.Piece]; again {
			on.stroke(penLink, from, at)
		}
		before[c.Piece] = at
	}
	for i, c := range crimps {
		on.mark(shapeOf(c), p.at(float64(cols.column[i]), in(c.Deviation)), r)
	}
}

// upward marks the axis upwards, differences with their sign.
func (p *plot) upward(w words, signs bool) {
	at, step := ticks(p.low, p.high, 6, false)
	for _, v := range at {
		text := minus(w.Number(round(v, 1e9), decimals(step)))
		if signs && v > step/2 {
			text = "+" + text
		}
		p.up = append(p.up, tick{v, text})
	}
}

// limit draws a limit, which may be another from one piece to the next.
func (p *plot) limit(cols pieces, of func(Crimp) float64) {
	var line []spot
	for i, c := range cols.crimps {
		v := of(c)
		a, b := p.at(float64(cols.column[i])-0.5, v), p.at(float64(cols.column[i])+0.5, v)
		if n := len(line); n > 0 && line[n-1].y == a.y {
			line[n-1] = b
		} else {
			line = append(line, a, b)
		}
	}
	line[0].x, line[len(line)-1].x = p.left, p.right
	p.on.stroke(penLimit, line...)
}
