package station

import (
	"fmt"
	"slices"

	"benchtally/agent/crimp"
	"benchtally/agent/record"
)

// What an operator takes back: a reading, a stroke that crimped nothing, a stroke
// that was on the piece before. Nothing is deleted; each is a record more, and
// the state follows it.

// withdraw takes the last reading back.
func (s *Station) withdraw(in Action) string {
	st := &s.state
	if len(st.Taken) == 0 {
		return "there is no reading to withdraw"
	}
	ref := st.Taken[len(st.Taken)-1]
	r := record.Record{At: in.At, Kind: record.Undo, Of: ref.Seq}
	o := st.Order
	if ref.N == 0 {
		s.emit(r)
		return ""
	}
	if o == nil || o.ID != ref.Order {
		return fmt.Sprintf("the last reading belongs to order %s, which is not in work: start it again first", ref.Order)
	}
	p := o.piece(ref.N)
	if p == nil || !slices.ContainsFunc(p.shot().Readings, func(t taken) bool { return t.Seq == ref.Seq }) {
		return fmt.Sprintf("the last reading is of a crimp of piece %s that was followed by another stroke, or is measured again", o.id(ref.N))
	}
	r.Order, r.Piece = o.ID, o.id(p.N)
	judged := p.shot().Outcome != ""
	s.emit(r)
	if judged && p != o.at() && p != o.latest() {
		s.emit(record.Record{
			At: in.At, Kind: record.Verdict, Order: o.ID, Piece: o.id(p.N), End: p.End, Assembly: p.Assembly,
			Spec: o.Spec.ID, Revision: o.Spec.Revision, Outcome: crimp.Unsure,
			Readings: len(p.shot().Readings), Crimp: len(p.Shots),
			Reason: "not judged: a reading was withdrawn after the next stroke; measure this piece again",
		})
	}
	return ""
}

// dry says that the last stroke crimped nothing.
func (s *Station) dry(in Action) string {
	ref, reason := s.lastStroke()
	if reason != "" {
		return reason
	}
	s.move(in, record.Dry, ref)
	return ""
}

// same says that the last stroke was on the piece before.
func (s *Station) same(in Action) string {
	ref, reason := s.lastStroke()
	if reason != "" {
		return reason
	}
	if ref.N == 0 {
		return "the last stroke belongs to no order"
	}
	o := s.state.Order
	if len(o.piece(ref.N).Shots) > 1 {
		return fmt.Sprintf("the last stroke already counts as a further crimp of piece %s", o.id(ref.N))
	}
	if len(o.Pieces) < 2 {
		return "there is no piece before that the last stroke could have been on"
	}
	s.move(in, record.Same, ref)
	return ""
}

// lastStroke is the latest stroke that was not called dry, if it can be moved.
func (s *Station) lastStroke() (ref strokeRef, refused string) {
	st := &s.state
	if len(st.Strokes) == 0 {
		return ref, "there is no stroke that this could be about"
	}
	ref = st.Strokes[len(st.Strokes)-1]
	if ref.N == 0 {
		return ref, ""
	}
	o := st.Order
	if o == nil || o.ID != ref.Order {
		return ref, fmt.Sprintf("the last stroke belongs to order %s, which is not in work: start it again first", ref.Order)
	}
	if p := o.piece(ref.N); p == nil || p.shot().Seq != ref.Seq {
		return ref, fmt.Sprintf("piece %s was crimped too long ago", o.id(ref.N))
	}
	return ref, ""
}

// move keeps that a stroke was dry or on the piece before, and judges the piece
// that has its readings now.
func (s *Station) move(in Action, kind record.Kind, ref strokeRef) {
	r := record.Record{At: in.At, Kind: kind, Of: ref.Seq}
	o := s.state.Order
	if ref.N == 0 {
		s.emit(r)
		return
	}
	r.Order = o.ID
	if kind == record.Same {
		to := o.Pieces[len(o.Pieces)-2]
		r.Piece, r.Crimp = o.id(to.N), len(to.Shots)+1
	}
	s.emit(r)
	if p := o.at(); p != nil && p.shot().Outcome == "" {
		s.judge(o, p, in.At)
	}
}

func (s *Station) applyUndo(r record.Record) {
	st := &s.state
	i := slices.IndexFunc(st.Taken, func(t takenRef) bool { return t.Seq == r.Of })
	if i < 0 {
		return
	}
	ref := st.Taken[i]
	st.Taken = slices.Delete(st.Taken, i, i+1)
	s.watch.withdraw(r.Of)
	if ref.N == 0 || st.Order == nil || st.Order.ID != ref.Order {
		return
	}
	p := st.Order.piece(ref.N)
	if p == nil {
		return
	}
	hit := p.shot()
	hit.Readings = slices.DeleteFunc(hit.Readings, func(t taken) bool { return t.Seq == r.Of })
	if hit.Outcome != "" {
		s.unjudge(st.Order, p)
	}
	if n := len(st.Strokes); p != st.Order.latest() && (n == 0 || st.Strokes[n-1].Seq < r.Of) {
		st.Order.Measured = p.N // it was being measured again, and still is
	}
}

// unjudge takes back the judgement of a piece's latest crimp.
func (s *Station) unjudge(o *order, p *piece) {
	p.shot().Outcome = ""
	p.Due = true
	if o.Again == p.N {
		o.Again = 0
	}
	s.reopen(o, p)
}

// reopen gives a piece the outcome of its crimp before the latest one, or none,
// and takes a first crimp out of the offset's estimate.
func (s *Station) reopen(o *order, p *piece) {
	st := &s.state
	s.watch.reopen(o, p)
	if l := st.Last; l != nil && l.Verdict.Piece == o.id(p.N) && l.Verdict.Crimp == len(p.Shots) {
		st.Last = nil // what was withdrawn is not shown any more; that of the crimp before stands
	}
	if n := len(p.Shots); n > 1 {
		o.settle(p, p.Shots[n-2].Outcome)
		return
	}
	o.settle(p, "")
	if st.Learned[o.Spec.ID].drop(o.id(p.N)) {
		p.shot().Taught = false // else it is too long ago, and stays in
	}
}

// applyMove takes a stroke off its piece, together with the readings made since,
// and gives them to the piece before. A dry stroke crimped nothing, so only the
// readings move; of a stroke on the same piece the crimp moves too.
func (s *Station) applyMove(r record.Record) {
	st := &s.state
	i := slices.IndexFunc(st.Strokes, func(ref strokeRef) bool { return ref.Seq == r.Of })
	if i < 0 {
		return
	}
	ref := st.Strokes[i]
	st.Strokes = slices.Delete(st.Strokes, i, i+1)
	o := st.Order
	if ref.N == 0 || o == nil || o.ID != ref.Order {
		return
	}
	p := o.piece(ref.N)
	if p == nil || p.shot().Seq != r.Of {
		return
	}
	hit := s.takeShot(o, p)
	to := o.latest()
	if len(o.Pieces) > 0 && ref.N != o.N+1 {
		to = o.piece(ref.N) // a re-crimp was taken off: the piece itself stays
	}
	n, given := 0, 0 // the piece that has the readings now, and how many of them
	switch {
	case to == nil:
	case r.Kind == record.Same:
		to.Shots = append(to.Shots, hit)
		s.watch.count(o, to)
		s.watch.give(o, to, hit.Readings, 1)
		to.Due = true
		hit.Outcome = ""
		o.Again = 0
		st.Strokes = slices.Insert(st.Strokes, i, strokeRef{Seq: r.Of, Order: ref.Order, N: to.N})
		n, given = to.N, len(hit.Readings)
	default:
		n, given = to.N, s.giveReadings(o, to, hit.Readings)
	}
	for i, m := range hit.Readings {
		for j := range st.Taken {
			if st.Taken[j].Seq != m.Seq {
				continue
			}
			if st.Taken[j].N = n; i >= given {
				st.Taken[j].N = 0
			}
		}
		if i >= given {
			s.watch.withdraw(m.Seq)
		}
	}
}

// takeShot takes the latest crimp off a piece, and the piece out of the order if
// it had no other.
func (s *Station) takeShot(o *order, p *piece) *shot {
	hit := p.shot()
	s.reopen(o, p)
	if o.Again == p.N {
		o.Again = 0
	}
	if o.Measured == p.N {
		o.Measured = 0
	}
	if len(p.Shots) > 1 {
		p.Shots = p.Shots[:len(p.Shots)-1]
		s.watch.count(o, p)
		if p.shot().Outcome == crimp.Recrimp {
			o.Again = p.N
		}
		return hit
	}
	o.forget(p)
	s.clerk.forget(o, p)
	o.Pieces = slices.DeleteFunc(o.Pieces, func(q *piece) bool { return q == p })
	o.N = p.N - 1
	o.Fresh = o.Fresh || p.Fresh
	o.Skipped = p.Skipped
	if before := o.latest(); before != nil && before.shot().Outcome == crimp.Recrimp {
		o.Again = before.N
	}
	return hit
}

// forget takes the marks of a piece that was none.
func (o *order) forget(p *piece) {
	p.Given = ""
	o.settle(p, "")
	o.mark(string(p.End), p.Assembly, MarkOpen)
	for point := range p.Looked {
		o.mark(endPoint(p.End, point), p.Assembly, MarkOpen)
	}
	if o.Sign == p.N {
		o.Sign, o.Unsaid = 0, true
	}
}

// giveReadings lets a piece that still wants readings have the first of them; it
// returns how many it took.
func (s *Station) giveReadings(o *order, p *piece, readings []taken) int {
	hit := p.shot()
	wanted := o.Spec.Places - len(hit.Readings)
	if wanted <= 0 || hit.Outcome != "" && hit.Outcome != crimp.Unsure {
		return 0
	}
	if hit.Outcome == crimp.Unsure { // it had been left with readings missing
		s.unjudge(o, p)
	}
	took := min(wanted, len(readings))
	s.watch.give(o, p, readings[:took], len(hit.Readings)+1)
	hit.Readings = append(hit.Readings, readings[:took]...)
	return took
}
