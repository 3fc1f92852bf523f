package station

import (
	"fmt"
	"time"

	"benchtally/agent/crimp"
	"benchtally/agent/record"
)

// take counts the stroke for the loaded cage and gives it to a piece of the
// order: to the piece that is to be crimped again, else to the next piece. A
// piece whose readings are still missing is left as not judged.
func (in Stroke) take(s *Station) {
	st := &s.state
	r := record.Record{At: in.At, Kind: record.Stroke, Cage: st.Cage, Setting: st.Setting}
	if in.Held > 0 {
		r.Held = record.Ptr(in.Held.Milliseconds())
	}
	if o := st.Order; o != nil {
		n, crimps := s.nextCrimp(o, in.At)
		r.Order, r.Piece, r.Crimp = o.ID, o.id(n), crimps
		if p := o.piece(n); p != nil {
			r.End, r.Assembly = p.End, p.Assembly
		} else {
			r.End, r.Assembly = o.opens()
		}
	}
	s.emit(r)
	s.checkCare(in.At)
}

// nextCrimp is the piece that a stroke belongs to and how many crimps it has
// then. Pieces that the stroke leaves behind unmeasured get their verdict.
func (s *Station) nextCrimp(o *order, at time.Time) (n, crimps int) {
	if p := o.at(); p != o.latest() {
		s.leave(o, p, at, "the next stroke")
	}
	if p := o.piece(o.Again); p != nil {
		return p.N, len(p.Shots) + 1
	}
	if p := o.latest(); p != nil {
		s.leave(o, p, at, "the next stroke")
	}
	return o.N + 1, 1
}

// leave says that a piece stays unjudged, if readings of it are missing, because
// something else came before them.
func (s *Station) leave(o *order, p *piece, at time.Time, before string) {
	hit := p.shot()
	if hit.Outcome != "" || p.Given != "" || !p.Due && len(hit.Readings) == 0 {
		return
	}
	s.emit(record.Record{
		At: at, Kind: record.Verdict, Order: o.ID, Piece: o.id(p.N), End: p.End, Assembly: p.Assembly, Spec: o.Spec.ID, Revision: o.Spec.Revision,
		Outcome: crimp.Unsure, Readings: len(hit.Readings), Crimp: len(p.Shots),
		Reason: fmt.Sprintf("not judged: %d of %d readings were taken before %s", len(hit.Readings), o.Spec.Places, before),
	})
}

// take keeps that the ring was fully retracted: the cage may be another one now.
func (in Retract) take(s *Station) {
	s.emit(record.Record{At: in.At, Kind: record.Retract, Cage: s.state.Cage})
}
