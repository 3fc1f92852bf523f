package panel

import "benchtally/agent/crimp"

// strip is the drawing of the readings against the limits, in its own units:
// smaller diameters lie left, larger ones right.
type strip struct {
	Lower, Target, Upper int
	Marks                []int
	Mean                 *int
	Width                int
	Middle               bool // there is room to write the target between the limits
}

// The strip's measures. The limits keep their places; the target lies between
// them as the tolerances have it.
const (
	stripWidth = 560
	stripLower = 140
	stripUpper = stripWidth - stripLower
	stripEdge  = 12  // what lies further out is drawn here
	stripText  = 125 // that a length takes
)

func newStrip(spec crimp.Spec, readings []crimp.Length, mean *crimp.Length) strip {
	span := spec.Plus + spec.Minus
	at := func(l crimp.Length) int {
		if span == 0 { // no tolerance at all: only the side is worth drawing
			switch {
			case l < spec.Diameter:
				return stripEdge
			case l > spec.Diameter:
				return stripWidth - stripEdge
			}
			return stripWidth / 2
		}
		// Clamped first, so that nothing overflows.
		l = min(max(l, spec.Lower()-span), spec.Upper()+span)
		x := stripLower + int(int64(l-spec.Lower())*int64(stripUpper-stripLower)/int64(span))
		return min(max(x, stripEdge), stripWidth-stripEdge)
	}
	s := strip{Lower: stripLower, Upper: stripUpper, Target: at(spec.Diameter), Width: stripWidth}
	s.Middle = s.Target-s.Lower >= stripText && s.Upper-s.Target >= stripText
	for _, r := range readings {
		s.Marks = append(s.Marks, at(r))
	}
	if mean != nil {
		x := at(*mean)
		s.Mean = &x
	}
	return s
}
