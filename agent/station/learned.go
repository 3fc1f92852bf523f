package station

import "benchtally/agent/crimp"

// learned is the estimate of an offset that still knows its latest pieces, so
// that a reading withdrawn or a stroke moved takes its piece out again.
type learned struct {
	Base   crimp.Estimate `json:"base"` // from the pieces older than Recent
	Recent []observation  `json:"recent,omitempty"`
}

// observation is what one first crimp says of the offset.
type observation struct {
	Piece  string  `json:"piece"`
	Offset float64 `json:"offset_nm"` // measured minus what its setting should give
	Stroke int     `json:"stroke"`    // the cage's count
}

// estimate is what is known now.
func (l *learned) estimate(m crimp.Model) crimp.Estimate {
	if l == nil {
		return crimp.Estimate{}
	}
	e := l.Base
	for _, o := range l.Recent {
		e = m.Update(e, o.Offset, o.Stroke)
	}
	return e
}

// add takes in a piece; the oldest recent one becomes final.
func (l *learned) add(m crimp.Model, o observation) {
	if len(l.Recent) >= keptPieces {
		first := l.Recent[0]
		l.Base = m.Update(l.Base, first.Offset, first.Stroke)
	}
	l.Recent = push(l.Recent, o, keptPieces)
}

// drop takes a piece out again, if it is in.
func (l *learned) drop(piece string) {
	if l == nil {
		return
	}
	for i, o := range l.Recent {
		if o.Piece == piece {
			l.Recent = append(l.Recent[:i], l.Recent[i+1:]...)
			return
		}
	}
}
