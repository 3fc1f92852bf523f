package station

import (
	"benchtally/agent/crimp"
	"benchtally/agent/record"
)

// apply is the only writer of the state. It reads nothing but the record, the
// state and the rules, so that folding kept records gives the same state again.
func (s *Station) apply(r record.Record) {
	st := &s.state
	s.tellTime(r)
	switch r.Kind {
	case record.Start:
		s.applyStart(r)
	case record.Finish:
		if st.Order != nil {
			st.setAside(r.Seq)
			st.Order = nil
		}
	case record.Set:
		st.Setting = r.Setting
		st.fresh()
	case record.Load:
		s.endSetUp()
		st.Cage = r.Cage
		st.cage(r)
		st.Retract = false
		st.fresh()
		if st.Order != nil {
			st.Order.firstOfSetUp()
		}
		s.openSetUp()
	case record.Retract:
		st.Retract = true
	case record.Measure:
		s.applyMeasure(r)
	case record.Stroke:
		s.applyStroke(r)
	case record.Reading:
		s.applyReading(r)
	case record.Verdict:
		s.applyVerdict(r)
	case record.Correction:
		if st.Last != nil && r.For == record.ForRecrimp {
			st.Last.Recrimp = &r
		} else if st.Last != nil {
			st.Last.Next = &r
		}
	case record.Care:
		s.applyCare(r)
	case record.Zero:
		st.Zero = &fact{At: r.At, Value: *r.Value, OK: *r.OK}
		st.ZeroAt = st.moment(r)
		st.Caliper.Doubt = r.Doubt
		if *r.OK {
			st.Caliper.Zero = r.Seq
		}
		s.doubt(r)
	case record.Undo:
		s.applyUndo(r)
	case record.Dry, record.Same:
		s.applyMove(r)
	case record.Fault:
		s.noteClock(r)
		if r.State == record.On {
			st.Faults[r.Source] = fact{At: r.At, Reason: r.Reason, Seq: st.moment(r).Seq}
		} else {
			delete(st.Faults, r.Source)
		}
	case record.Operator:
		st.Operator, st.Named = r.Operator, r.Operator != ""
	case record.Turn:
		if st.Order != nil {
			st.Order.Turn = r.End
		}
	case record.Lot:
		s.applyLot(r)
	case record.Check:
		s.applyCheck(r)
	case record.Proof:
		if o := st.Order; o != nil {
			o.mark(PointProof, r.Assembly, checked(r))
		}
	case record.Scrap:
		s.applyScrap(r)
	case record.Standard:
		s.applyStandard(r)
	case record.Refused:
	}
}

// fresh makes the next piece one that is always judged.
func (st *state) fresh() {
	if st.Order != nil {
		st.Order.Fresh = true
	}
}

// firstOfSetUp makes the next piece one that is signed off.
func (o *order) firstOfSetUp() { o.Unsaid, o.Sign = o.Job != nil, 0 }

// openSetUp recalls what the loaded cage taught about the order in work.
func (s *Station) openSetUp() {
	if o := s.state.Order; o != nil && o.Spec.Cage == s.state.Cage {
		s.learnedOf(o.Spec)
	}
}

// next is the standing advice for the next piece; nil: there is none.
func (st *state) next() *record.Record {
	if st.Last == nil {
		return nil
	}
	return st.Last.Next
}

// outdate takes the standing advice back: it was for other work.
func (st *state) outdate() {
	if st.Last != nil {
		st.Last.Next, st.Last.Recrimp = nil, nil
	}
}

// setAside keeps the order in work beside what comes next.
func (st *state) setAside(seq uint64) {
	st.Order.Last = seq
	st.Aside[st.Order.ID] = st.Order
}

func (s *Station) applyStart(r record.Record) {
	st := &s.state
	if st.Order == nil || st.Order.ID != r.Order {
		if st.Order != nil {
			st.setAside(r.Seq)
		}
		if st.Order = s.recall(r.Order); st.Order == nil {
			st.Order = &order{ID: r.Order, First: r.Seq}
		}
		delete(st.Aside, r.Order)
	}
	o := st.Order
	switch {
	case r.End != o.End:
		o.shelve(r.End)
	case o.Spec.ID != r.Spec: // pieces of another spec are not gone on with
		o.Pieces, o.Measured, o.Again = nil, 0, 0
	}
	o.applyJob(r)
	o.Quantity = r.Quantity
	o.Fresh = true
	o.Spec = crimp.Spec{
		ID: r.Spec, Cage: r.Cage, Revision: r.Revision, Unit: r.Unit,
		Diameter: *r.Target, Plus: *r.Plus, Minus: *r.Minus,
		Setting: *r.Nominal, Recrimps: r.Recrimps, Places: r.Places,
		Hose: r.Hose, Fitting: r.Fitting, Size: r.Size,
	}
	if r.Skive != nil {
		o.Spec.Skive = *r.Skive
	}
	if r.Insertion != nil {
		o.Spec.Insertion = *r.Insertion
	}
	st.Setting = r.Setting
	st.Operator = r.Operator
	st.outdate()
	if st.Cage == "" {
		s.endSetUp()
		st.Cage = r.Cage
	}
	st.cage(r)
	s.openSetUp()
}

func (s *Station) applyStroke(r record.Record) {
	st := &s.state
	st.Retract = false
	count := 0
	if r.Cage != "" {
		c := st.cage(r)
		c.Stroke(st.Clock.Now)
		count = c.Strokes
	}
	st.Oil.Strokes++
	if st.Oil.At.IsZero() {
		st.Oil.Moment = st.moment(r)
	}
	ref := strokeRef{Seq: r.Seq}
	if o := st.Order; o != nil && r.Piece != "" {
		ref.Order, ref.N = r.Order, pieceNumber(r.Piece)
		hit := &shot{Seq: r.Seq, SetUp: st.SetUp, Stroke: count}
		if r.Setting != nil {
			hit.Setting = *r.Setting
		}
		o.Measured, o.Again = 0, 0
		s.clerk.stroke(s, r, hit)
		if p := o.piece(ref.N); p != nil {
			p.Shots = append(p.Shots, hit)
			s.watch.count(o, p)
			p.Due = true // a piece that was crimped again is judged again
			if p != o.latest() {
				o.Measured = p.N
			}
		} else {
			s.openPiece(o, r, ref.N, hit)
		}
	}
	st.Strokes = push(st.Strokes, ref, keptStrokes)
}

// openPiece begins a piece with its first crimp.
func (s *Station) openPiece(o *order, r record.Record, n int, hit *shot) {
	p := &piece{N: n, End: r.End, Assembly: r.Assembly, Shots: []*shot{hit}, Fresh: o.Fresh, Skipped: o.Skipped}
	p.Due = o.Fresh || o.Skipped+1 >= s.rules.Every
	o.Fresh = false
	if o.Skipped++; p.Due {
		o.Skipped = 0
	}
	o.N = n
	o.Pieces = push(o.Pieces, p, keptPieces)
	o.settle(p, "")
	s.clerk.open(s, o, p)
	if o.Unsaid {
		o.Unsaid, o.Sign = false, n
	}
}

func (s *Station) applyReading(r record.Record) {
	st := &s.state
	ref := takenRef{Seq: r.Seq, At: r.At}
	if st.Order != nil && r.Piece != "" {
		ref.Order, ref.N = st.Order.ID, pieceNumber(r.Piece)
		if p := st.Order.piece(ref.N); p != nil {
			hit := p.shot()
			t := taken{Seq: r.Seq, Value: *r.Diameter}
			if r.Step != nil {
				t.Step = *r.Step
			}
			hit.Readings = append(hit.Readings, t)
			s.watch.read(s, r, st.Order, p)
		}
	}
	st.Taken = push(st.Taken, ref, keptReadings)
}

func (s *Station) applyVerdict(r record.Record) {
	st := &s.state
	// What was advised for the next piece holds through the further crimps of this one.
	st.Last = &last{Verdict: r, Next: st.next()}
	o := st.Order
	if o == nil || o.ID != r.Order { // of an order that is left behind
		return
	}
	n := pieceNumber(r.Piece)
	p := o.piece(n)
	if p == nil {
		return
	}
	hit := p.shot()
	hit.Outcome = r.Outcome
	s.clerk.verdict(s, r, o, hit)
	o.settle(p, r.Outcome)
	if o.Measured == n {
		o.Measured = 0
	}
	switch {
	case r.Outcome == crimp.Recrimp:
		o.Again = n
	case o.Again == n: // a piece that waits for its next crimp waits on while others are judged
		o.Again = 0
	}
	if r.Mean == nil { // left unmeasured
		return
	}
	s.watch.judge(s, r, o, hit)
	if p == o.latest() {
		o.Skipped = 0
	}
	if r.Crimp == 1 && hit.SetUp == st.SetUp && !hit.Taught {
		hit.Taught = true
		l := s.learnedOf(o.Spec)
		l.add(s.model(l), observation{Piece: r.Piece, Offset: s.offset(o, hit, &r), Stroke: hit.Stroke})
	}
}

// offset is what one first crimp says of the offset, in nanometres: the mean of
// its readings, not rounded, minus what its setting should give. Where readings were
// lost, the mean of its verdict stands for them.
func (s *Station) offset(o *order, hit *shot, verdict *record.Record) float64 {
	if n := len(hit.Readings); n == 0 || verdict.Readings > 0 && n != verdict.Readings {
		return float64(*verdict.Mean - o.Spec.Diameter - s.rules.Scale.Change(hit.Setting-o.Spec.Setting))
	}
	sum := crimp.Length(0)
	for _, t := range hit.Readings {
		sum += t.Value
	}
	should := o.Spec.Diameter + s.rules.Scale.Change(hit.Setting-o.Spec.Setting)
	n := crimp.Length(len(hit.Readings))
	return float64(sum-n*should) / float64(n)
}

// applyMeasure lets the next readings go to an older piece; what was read of it
// before is superseded.
func (s *Station) applyMeasure(r record.Record) {
	o := s.state.Order
	if o == nil { // its start is not among the records any more
		return
	}
	n := pieceNumber(r.Piece)
	p := o.piece(n)
	if p == nil {
		return
	}
	if p == o.latest() {
		n = 0
	}
	o.Measured = n
	s.unjudge(o, p)
	p.shot().Readings = nil
}
