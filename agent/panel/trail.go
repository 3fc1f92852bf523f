package panel

import (
	"benchtally/agent/crimp"
	"benchtally/agent/station"
)

// trail is the drawing of how the latest pieces came out, oldest first: across
// the order of their strokes, upwards larger diameters.
type trail struct {
	Width, Height        int
	Upper, Target, Lower int
	Marks                []trailMark
	Text                 string
}

type trailMark struct {
	X, Y  int
	Shape string // as the verdict's; "none" where nothing was measured
}

// The trail's measures.
const (
	trailWidth  = 340
	trailHeight = 104
	trailPieces = 12
	trailUpper  = 28
	trailLower  = trailHeight - trailUpper
	trailEdge   = 9
)

// newTrail draws the latest pieces that had the limits of the end in hand; nil:
// there are fewer than two.
func (s scene) newTrail() *trail {
	o := s.View.Order
	if o == nil {
		return nil
	}
	var alike []station.PieceView
	for _, p := range o.Latest {
		if o.Job == nil || o.Job.End(p.End).Spec == o.Spec.ID {
			alike = append(alike, p)
		}
	}
	if alike = alike[max(0, len(alike)-trailPieces):]; len(alike) < 2 {
		return nil
	}
	t := &trail{
		Width: trailWidth, Height: trailHeight, Upper: trailUpper, Lower: trailLower,
		Text: s.t.Say("How the latest %d pieces came out", len(alike)),
	}
	at := trailScale(o.Spec)
	t.Target = at(o.Spec.Diameter)
	for i, p := range alike {
		m := trailMark{X: 16 + i*(trailWidth-32)/(trailPieces-1), Y: t.Target, Shape: shapeOf(p.Outcome)}
		if p.Mean != nil {
			m.Y = at(*p.Mean)
		} else {
			m.Shape = "none"
		}
		if p.Given {
			m.Shape = "scrap"
		}
		t.Marks = append(t.Marks, m)
	}
	return t
}

// trailScale says how far down a diameter lies.
func trailScale(spec crimp.Spec) func(crimp.Length) int {
	span := spec.Plus + spec.Minus
	return func(l crimp.Length) int {
		if span == 0 {
			return trailHeight / 2
		}
		l = min(max(l, spec.Lower()-span), spec.Upper()+span)
		y := trailLower - int(int64(l-spec.Lower())*int64(trailLower-trailUpper)/int64(span))
		return min(max(y, trailEdge), trailHeight-trailEdge)
	}
}

// shapeOf is the shape of an outcome.
func shapeOf(o crimp.Outcome) string {
	switch o {
	case crimp.Pass:
		return "within"
	case crimp.Recrimp:
		return "large"
	case crimp.Scrap:
		return "scrap"
	case crimp.Unsure:
		return "unsure"
	}
	return "none"
}
