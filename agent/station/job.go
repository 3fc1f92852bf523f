package station

import (
	"fmt"
	"slices"

	"benchtally/agent/crimp"
	"benchtally/agent/record"
)

// jobOf is the job card that a start takes: the card as it is now, else the one
// that the order was started with before. Lots that were told at the press stay.
// nil: there is no card, and the order is counted in single ends.
func (s *Station) jobOf(id string, before *order) *crimp.Job {
	var job *crimp.Job
	if s.rules.Jobs != nil {
		if card, ok := s.rules.Jobs(id); ok {
			job = &card
		}
	}
	if before == nil || before.Job == nil {
		return job
	}
	if job == nil {
		same := *before.Job
		return &same
	}
	if before.LotTold {
		job.Hose.Maker, job.Hose.Lot = before.Job.Hose.Maker, before.Job.Hose.Lot
		for i := range job.Ends {
			job.Ends[i].Fitting.Maker, job.Ends[i].Fitting.Lot = before.Job.Ends[i].Fitting.Maker, before.Job.Ends[i].Fitting.Lot
		}
	}
	return job
}

// endOf is the end of a job that a start goes on with: the one that is named, or
// that has the specification named; else one that is not yet complete, first one
// whose cage is loaded. refused says why there is none.
func (s *Station) endOf(in Action, job *crimp.Job, before *order) (end crimp.EndName, refused string) {
	ends := job.EndNames()
	if in.End != crimp.NoEnd {
		switch {
		case !slices.Contains(ends, in.End):
			return "", fmt.Sprintf("order %s has no end %q that is crimped here", job.Order, in.End)
		case in.Spec != "" && job.End(in.End).Spec != in.Spec:
			return "", fmt.Sprintf("the job card of %s wants %s at end %s, not %s", job.Order, job.End(in.End).Spec, in.End, in.Spec)
		}
		return in.End, ""
	}
	if in.Spec != "" {
		ends = slices.DeleteFunc(ends, func(e crimp.EndName) bool { return job.End(e).Spec != in.Spec })
		if len(ends) == 0 {
			return "", fmt.Sprintf("the job card of %s does not want %s: start it without a spec, or correct the card", job.Order, in.Spec)
		}
	}
	open := slices.DeleteFunc(slices.Clone(ends), func(e crimp.EndName) bool { return before != nil && before.full(e) })
	if len(open) == 0 {
		open = ends
	}
	for _, e := range open {
		if s.specs[job.End(e).Spec].Cage == s.state.Cage {
			return e, ""
		}
	}
	return open[0], ""
}

// jobRecord is a job card as a start keeps it, with the length to which the hose
// is cut and the tolerance by which an assembly's length is checked.
func (s *Station) jobRecord(job *crimp.Job) *record.Job {
	kept := *job
	if job.Length > 0 {
		scheme := s.rules.Lengths
		if scheme == "" {
			scheme = crimp.EN
		}
		if plus, minus, err := job.Tolerance(scheme); err == nil {
			kept.Plus, kept.Minus = plus, minus
		}
	}
	r := record.JobOf(kept)
	if cut, err := job.Cut(); err == nil {
		r.Cut = record.Ptr(cut)
	}
	return r
}

// applyJob takes over what a start says of the job.
func (o *order) applyJob(r record.Record) {
	o.End = r.End
	if o.Job, o.Cut = nil, 0; r.Job != nil && r.End != crimp.NoEnd {
		job := r.Job.Card(r.Order, r.Quantity)
		o.Job = &job
		if r.Cut != nil {
			o.Cut = *r.Cut
		}
	}
	o.firstOfSetUp()
}

// shelve puts the pieces of the end in work aside and takes up those of another.
func (o *order) shelve(next crimp.EndName) {
	if o.Shelf == nil {
		o.Shelf = map[crimp.EndName][]*piece{}
	}
	o.Shelf[o.End] = o.Pieces
	o.Pieces = o.Shelf[next]
	delete(o.Shelf, next)
	o.Measured, o.Again = 0, 0
}

// inTurn says whether both ends are crimped to one specification, so that they
// can be made in turn.
func (o *order) inTurn() bool {
	return o.Job != nil && len(o.Job.EndNames()) == 2 && o.Job.Ends[0].Spec == o.Job.Ends[1].Spec
}

// opens is the end and the assembly of the next new piece. Ends of one
// specification come in turn, the other end of an assembly before the next
// assembly, unless one was asked for; others as they were started.
func (o *order) opens() (crimp.EndName, int) {
	if o.Job == nil {
		return crimp.NoEnd, 0
	}
	end := o.End
	if o.inTurn() {
		switch {
		case o.Turn != crimp.NoEnd && (!o.full(o.Turn) || o.full(o.Turn.Other())):
			end = o.Turn
		case o.Turn != crimp.NoEnd:
			end = o.Turn.Other()
		default:
			end = crimp.EndA
			if k := o.half(crimp.EndB); k != 0 {
				return crimp.EndB, k
			}
		}
	}
	if k := o.half(end); k != 0 {
		return end, k
	}
	for k := 1; ; k++ {
		if !o.lost(k) && o.Marks.At(string(end), k) == MarkOpen {
			return end, k
		}
	}
}

// half is the first assembly that stands with its other end crimped and this
// one not; 0: there is none.
func (o *order) half(end crimp.EndName) int {
	if len(o.Job.EndNames()) < 2 {
		return 0
	}
	for k := 1; k <= len(o.Marks[string(end.Other())]); k++ {
		if !o.lost(k) && o.Marks.At(string(end), k) == MarkOpen && o.Marks.At(string(end.Other()), k) != MarkOpen {
			return k
		}
	}
	return 0
}

// lost says whether an assembly was given up, or has an end that is scrap.
func (o *order) lost(assembly int) bool { return o.Marks.lost(assembly) }

// full says whether as many of this end as ordered are crimped and stand.
func (o *order) full(end crimp.EndName) bool {
	n := 0
	for k := 1; k <= len(o.Marks[string(end)]); k++ {
		if !o.lost(k) && o.Marks.At(string(end), k) != MarkOpen {
			n++
		}
	}
	return o.Quantity > 0 && n >= o.Quantity
}

// waiting says why the order cannot go on with another end now; "": it can.
func (o *order) waiting() string {
	if o.Again == 0 {
		return ""
	}
	return fmt.Sprintf("piece %s is still to be crimped again: do that first, or give it up as scrap", o.id(o.Again))
}

// turn lets the next pieces be of one end, or of both in turn.
func (s *Station) turn(in Action) string {
	o := s.state.Order
	switch {
	case o == nil:
		return "no order is in work"
	case o.Job == nil || len(o.Job.EndNames()) < 2:
		return fmt.Sprintf("order %s has one end only", o.ID)
	case in.End != crimp.NoEnd && in.End != crimp.EndA && in.End != crimp.EndB:
		return fmt.Sprintf("end %q: want A or B", in.End)
	}
	if !o.inTurn() {
		if in.End == crimp.NoEnd {
			in.End = o.End.Other()
		}
		return s.start(Action{At: in.At, Do: DoStart, Order: o.ID, End: in.End, Operator: in.Operator})
	}
	s.emit(record.Record{At: in.At, Kind: record.Turn, Order: o.ID, End: in.End})
	return ""
}

// across is the end of the order in work whose specification needs a cage, if
// that is not the cage of the end in work.
func (s *Station) across(cage string) (crimp.EndName, bool) {
	o := s.state.Order
	if o == nil || o.Job == nil || o.Spec.Cage == cage {
		return crimp.NoEnd, false
	}
	for _, e := range o.Job.EndNames() {
		if s.specs[o.Job.End(e).Spec].Cage == cage {
			return e, true
		}
	}
	return crimp.NoEnd, false
}

// lot lets the order go on with another lot of hose, or of an end's fittings.
func (s *Station) lot(in Action) string {
	o := s.state.Order
	if o == nil {
		return "no order is in work"
	}
	if o.Job == nil {
		return fmt.Sprintf("order %s has no job card, so that no lots are kept with it", o.ID)
	}
	if reason := badName("lot", in.Lot); reason != "" {
		return reason
	}
	if in.Maker != "" {
		if reason := badName("maker", in.Maker); reason != "" {
			return reason
		}
	}
	job := *o.Job
	part := &job.Hose
	if in.End != crimp.NoEnd {
		if !slices.Contains(job.EndNames(), in.End) {
			return fmt.Sprintf("order %s has no end %q that is crimped here", o.ID, in.End)
		}
		part = &job.Ends[in.End.Index()].Fitting
	}
	part.Lot = in.Lot
	if in.Maker != "" {
		part.Maker = in.Maker
	}
	a, b := job.Ends[0].Fitting, job.Ends[1].Fitting
	s.emit(record.Record{
		At: in.At, Kind: record.Lot, Order: o.ID, Operator: s.who(in), Hint: job.Caution(),
		Job: &record.Job{
			HosePart: job.Hose.Name, HoseMaker: job.Hose.Maker, HoseLot: job.Hose.Lot,
			APart: a.Name, AMaker: a.Maker, ALot: a.Lot, BPart: b.Name, BMaker: b.Maker, BLot: b.Lot,
		},
	})
	return ""
}

func (s *Station) applyLot(r record.Record) {
	o := s.state.Order
	if o == nil || o.Job == nil || r.Job == nil {
		return
	}
	job := *o.Job
	job.Hose.Maker, job.Hose.Lot = r.HoseMaker, r.HoseLot
	job.Ends[0].Fitting.Maker, job.Ends[0].Fitting.Lot = r.AMaker, r.ALot
	job.Ends[1].Fitting.Maker, job.Ends[1].Fitting.Lot = r.BMaker, r.BLot
	o.Job, o.LotTold = &job, true
	s.state.fresh()
}
