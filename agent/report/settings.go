package report

import "benchtally/agent/crimp"

// Settings is a picture of what was dialled for the last pieces and what had
// been advised: SVG, 800 by 480.
func Settings(s Series, language Tongue) []byte {
	w := words{language}
	var v svg
	crimps := s.last(mostMarks - 1) // one more is advised
	desc := w.Say("No crimp is judged yet.")
	if n := len(crimps); n > 0 {
		desc = w.Say("The latest piece, %s: dialled %s.", crimps[n-1].Piece, crimp.Dial(crimps[n-1].Setting))
	}
	v.begin(pictureWidth, pictureHeight, w.Say("Setting"), desc)
	settings(&v, pictureWidth, pictureHeight, s, crimps, w)
	return v.end()
}

func settings(on surface, width, height float64, s Series, crimps []Crimp, w words) {
	title := w.Say("Setting")
	if len(crimps) == 0 {
		blank(on, width, height, title, "", w.Say("No crimp is judged yet."))
		return
	}
	p := plot{on: on, width: width, height: height, title: title + ", " + w.Say("counts")}
	cols := columnsOf(crimps)
	cols.across(&p, w.Say("Piece"), 1)
	var values []float64
	again, advised := false, false
	for _, c := range crimps {
		values = append(values, float64(c.Setting))
		again = again || c.Crimp > 1
		if c.missed() {
			advised = true
			values = append(values, float64(c.Advice.Setting))
		}
	}
	latest := crimps[len(crimps)-1]
	p.sides = []tick{{float64(latest.Setting), w.Say("dialled %s", crimp.Dial(latest.Setting))}}
	if s.Next != nil {
		values = append(values, float64(s.Next.Setting))
		advised = advised || s.Next.Setting != latest.Setting
		p.sides = append(p.sides, tick{float64(s.Next.Setting), w.Say("advised %s", crimp.Dial(s.Next.Setting))})
	}
	p.low, p.high = span(values...)
	p.low, p.high = p.low-1, p.high+1
	at, _ := ticks(p.low, p.high, 6, true)
	for _, v := range at {
		if v >= 0 {
			p.up = append(p.up, tick{v, crimp.Dial(int(v))})
		}
	}
	p.key = []entry{{mark: disc, words: w.Say("dialled")}}
	if again {
		p.key = append(p.key, entry{mark: square, words: w.Say("dialled to crimp again")})
	}
	if advised {
		p.key = append(p.key, entry{mark: ring, words: w.Say("advised, where another was dialled")})
	}
	if cols.n == 1 {
		p.note = w.Say("One piece so far: it shows no course yet.")
	}
	p.lay()
	p.parted()

	var course []spot
	before := map[string]spot{}
	for i, c := range crimps {
		at := p.at(float64(cols.column[i]), float64(c.Setting))
		if from, more := before[c.Piece]; more {
			on.stroke(penLink, from, at)
		} else {
			if n := len(course); n > 0 {
				course = append(course, spot{(course[n-1].x + at.x) / 2, course[n-1].y}, spot{(course[n-1].x + at.x) / 2, at.y})
			}
			course = append(course, at)
		}
		before[c.Piece] = at
	}
	on.stroke(penLink, course...)
	r := p.radius()
	for i, c := range crimps {
		if c.missed() {
			on.mark(ring, p.at(float64(cols.column[i]), float64(c.Advice.Setting)), r*1.2)
		}
		what := disc
		if c.Crimp > 1 {
			what = square
		}
		on.mark(what, p.at(float64(cols.column[i]), float64(c.Setting)), r*0.8)
	}
	if s.Next != nil && s.Next.Setting != latest.Setting {
		on.mark(ring, p.at(float64(cols.n), float64(s.Next.Setting)), r*1.2)
	}
}

// missed says whether another setting was dialled than was advised.
func (c Crimp) missed() bool { return c.Advice != nil && c.Advice.Setting != c.Setting }
