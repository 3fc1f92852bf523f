package report

// plate is a surface on a page: a picture whose unit is scale millimetres.
type plate struct {
	s     *sheet
	x, y  float64 // of its corner, millimetres
	scale float64
}

// platePt is the size of a plate's type.
const platePt = 7.5

func (p plate) at(s spot) (x, y float64) { return p.x + s.x*p.scale, p.y + s.y*p.scale }

func (p plate) stroke(how pen, through ...spot) {
	width, dashes, opacity := how.stroke()
	grey := int((1 - opacity) * 255)
	f := p.s.f
	f.SetDrawColor(grey, grey, grey)
	f.SetLineWidth(width * p.scale)
	scaled := make([]float64, len(dashes))
	for i, d := range dashes {
		scaled[i] = d * p.scale
	}
	f.SetDashPattern(scaled, 0)
	for i, s := range through {
		if x, y := p.at(s); i == 0 {
			f.MoveTo(x, y)
		} else {
			f.LineTo(x, y)
		}
	}
	f.DrawPath("D")
	f.SetDashPattern(nil, 0)
}

func (p plate) mark(what shape, at spot, r float64) {
	f := p.s.f
	f.SetDrawColor(0, 0, 0)
	f.SetFillColor(0, 0, 0)
	f.SetLineWidth(2 * p.scale)
	style := "D"
	if what.full() {
		style = "F"
	}
	switch corners := what.outline(at, r); {
	case what == cross:
		f.SetLineWidth(3 * p.scale)
		x, y := p.at(at)
		r *= p.scale
		f.Line(x-r, y-r, x+r, y+r)
		f.Line(x-r, y+r, x+r, y-r)
	case corners != nil:
		for i, c := range corners {
			if x, y := p.at(c); i == 0 {
				f.MoveTo(x, y)
			} else {
				f.LineTo(x, y)
			}
		}
		f.ClosePath()
		f.DrawPath(style)
	default:
		x, y := p.at(at)
		f.Circle(x, y, r*p.scale, style)
	}
}

func (p plate) text(at spot, where anchor, bold bool, words string) {
	p.s.face(platePt, bold, black)
	x, y := p.at(at)
	switch where {
	case begins:
	case centred:
		x -= p.s.long(words) / 2
	case ends:
		x -= p.s.long(words)
	}
	p.s.put(x, y, words)
}

func (p plate) long(words string) float64 {
	p.s.face(platePt, true, black)
	return p.s.long(words) / p.scale
}
