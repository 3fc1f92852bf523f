package report

import (
	"math"
	"slices"
	"strconv"

	"benchtally/agent/crimp"
	"benchtally/agent/stats"
)

// Offsets is a picture of how far a cage's first crimps are from what their
// setting should give, over the cage's strokes, set-up by set-up: SVG, 800 by 480.
func Offsets(s Series, cage string, language Tongue) []byte {
	w := words{language}
	var v svg
	first := s.firsts()
	desc := w.Say("No crimp is judged yet.")
	if n := len(first); n > 0 {
		u := unitOf(first[n-1].Spec)
		desc = w.Say("First crimps shown: %d. The latest is %s %s from what its setting should give.", n,
			w.signed(crimp.Nearest(first[n-1].Offset), u, fine(u)), string(u))
	}
	v.begin(pictureWidth, pictureHeight, w.Say("Offset of the cage"), desc)
	offsets(&v, pictureWidth, pictureHeight, first, cage, w)
	return v.end()
}

// firsts are the latest first crimps of the series: what a piece measures after
// another crimp tells less of the press (Scale.Again aims anew).
func (s Series) firsts() []Crimp {
	var first []Crimp
	for _, c := range s.Crimps {
		if c.Crimp <= 1 {
			first = append(first, c)
		}
	}
	return first[max(0, len(first)-mostMarks):]
}

// A drift is told when it is certain enough: with eight crimps or more, and a
// slope of more than 2.5 times its standard deviation, which chance alone makes
// in one of 20 to 50 set-ups (Student's t with 6 and more degrees of freedom;
// the choice is ours).
const (
	driftCrimps = 8
	driftSDs    = 2.5
)

func offsets(on surface, width, height float64, crimps []Crimp, cage string, w words) {
	title := w.Say("Offset of the cage")
	if len(crimps) == 0 {
		blank(on, width, height, title, cage, w.Say("No crimp is judged yet."))
		return
	}
	unit := unitOf(crimps[len(crimps)-1].Spec)
	in := func(nm float64) float64 { return nm / float64(unit.Size()) }
	p := plot{on: on, width: width, height: height, title: title + ", " + string(unit), of: cage, across: w.Say("Stroke")}

	first, last := crimps[0].Stroke, crimps[len(crimps)-1].Stroke
	values := []float64{0}
	for _, c := range crimps {
		first, last = min(first, c.Stroke), max(last, c.Stroke)
		values = append(values, in(c.Offset))
	}
	air := max(1, float64(last-first)*0.03)
	p.from, p.to = float64(first)-air, float64(last)+air
	at, _ := ticks(p.from, p.to, 7, true)
	for _, v := range at {
		p.along = append(p.along, tick{v, strconv.FormatFloat(v, 'f', 0, 64)})
	}
	p.low, p.high = span(values...)
	p.upward(w, true)

	var groups [][]Crimp
	for _, c := range crimps {
		if n := len(groups); n > 0 && groups[n-1][0].SetUp == c.SetUp {
			groups[n-1] = append(groups[n-1], c)
		} else {
			groups = append(groups, []Crimp{c})
		}
	}
	latest := groups[len(groups)-1]
	mean := meanOf(latest, in)
	p.sides = []tick{{mean, w.Say("mean %s", w.signed(crimp.Nearest(mean*float64(unit.Size())), unit, fine(unit)))}}
	p.key = []entry{{mark: disc, words: w.Say("first crimp of a piece")}, {pen: penMean, words: w.Say("mean of a set-up")}}
	if len(groups) > 1 {
		p.key = append(p.key, entry{pen: penEdge, words: w.Say("new set-up")})
	}
	drift, line := driftOf(latest, in)
	switch {
	case len(crimps) == 1:
		p.note = w.Say("One crimp so far: it shows no course yet.")
	case line == nil:
		p.note = w.Say("Too few crimps in this set-up to tell a drift.")
	case !drift:
		p.note = w.Say("This set-up shows no drift.")
	default:
		p.key = append(p.key, entry{pen: penDrift, words: w.Say("drift")})
		p.note = w.Say("Drift in this set-up: %s %s in 100 strokes.",
			w.signed(crimp.Nearest(line.Slope*100*float64(unit.Size())), unit, fine(unit)), string(unit))
	}
	p.lay()

	on.stroke(penAxis, spot{p.left, p.at(0, 0).y}, spot{p.right, p.at(0, 0).y})
	for i, g := range groups {
		a, b := float64(g[0].Stroke), float64(g[len(g)-1].Stroke)
		m := meanOf(g, in)
		on.stroke(penMean, spot{p.at(a, m).x - 8, p.at(a, m).y}, spot{p.at(b, m).x + 8, p.at(b, m).y})
		if i > 0 {
			x := (float64(groups[i-1][len(groups[i-1])-1].Stroke) + a) / 2
			on.stroke(penEdge, p.at(x, p.low), p.at(x, p.high))
		}
	}
	if drift {
		a, b := float64(latest[0].Stroke), float64(latest[len(latest)-1].Stroke)
		on.stroke(penDrift, p.at(a, line.Intercept+line.Slope*a), p.at(b, line.Intercept+line.Slope*b))
	}
	for _, c := range crimps {
		on.mark(disc, p.at(float64(c.Stroke), in(c.Offset)), 6)
	}
}

func meanOf(crimps []Crimp, in func(float64) float64) float64 {
	sum := 0.0
	for _, c := range crimps {
		sum += in(c.Offset)
	}
	return sum / float64(len(crimps))
}

// driftOf is the line through the offsets of a set-up, nil when they are too few,
// and whether it is certain enough to be called a drift.
func driftOf(crimps []Crimp, in func(float64) float64) (certain bool, line *stats.Trend) {
	if len(crimps) < driftCrimps {
		return false, nil
	}
	var x, y []float64
	for _, c := range crimps {
		x, y = append(x, float64(c.Stroke)), append(y, in(c.Offset))
	}
	if slices.Min(x) == slices.Max(x) {
		return false, nil
	}
	t, err := stats.TrendOf(x, y)
	if err != nil {
		return false, nil // no number: nothing that could be drawn
	}
	return t.SlopeSD != nil && math.Abs(t.Slope) > driftSDs**t.SlopeSD, &t
}
