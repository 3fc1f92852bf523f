package station

import (
	"fmt"
	"math"
	"time"

	"benchtally/agent/crimp"
	"benchtally/agent/record"
)

func (s *Station) adviseRecrimp(o *order, p *piece, v crimp.Verdict, at time.Time) {
	hit := p.shot()
	a := s.rules.Scale.Again(v.Deviation, hit.Setting, s.dialled(o))
	should := o.Spec.Diameter + s.rules.Scale.Change(hit.Setting-o.Spec.Setting)
	reason := fmt.Sprintf("this piece's own mean is %s over the target", o.Spec.Text(v.Deviation))
	if a.Clamped {
		reason = s.rules.Scale.OutOfReach()
	}
	s.emit(record.Record{
		At: at, Kind: record.Correction, Order: o.ID, Piece: o.id(p.N), For: record.ForRecrimp,
		Setting: record.Ptr(a.Setting), Change: record.Ptr(a.Change), Offset: record.Ptr(v.Mean - should),
		Reason: reason,
	})
}

func (s *Station) adviseNext(o *order, p *piece, at time.Time) {
	r := record.Record{At: at, Kind: record.Correction, Order: o.ID, Piece: o.id(p.N), For: record.ForNext}
	l := s.state.Learned[o.Spec.ID]
	dialled := s.dialled(o)
	a, known := s.advise(&r, o.Spec, l, dialled)
	if !known { // the piece is of an earlier set-up
		a = crimp.Advice{Setting: dialled}
		r.Reason = "nothing was measured since the cage was changed or taken apart"
	}
	r.Setting, r.Change = record.Ptr(a.Setting), record.Ptr(a.Change)
	s.emit(r)
}

// opening is the advice for the first piece of an order, before one was judged;
// nil: there is none, or one was judged.
func (s *Station) opening() *record.Record {
	o := s.state.Order
	if o == nil || s.state.next() != nil || o.Spec.Cage != s.state.Cage {
		return nil
	}
	r := record.Record{Kind: record.Correction, Order: o.ID, For: record.ForNext}
	a, known := s.advise(&r, o.Spec, s.state.Learned[o.Spec.ID], s.dialled(o))
	if !known {
		return nil
	}
	r.Setting, r.Change = record.Ptr(a.Setting), record.Ptr(a.Change)
	return &r
}

// advise is the setting advised for the next piece of a specification, as this
// set-up stands. It puts into the record what the advice rests on, and why it
// is what it is; false: nothing is known of the offset.
func (s *Station) advise(r *record.Record, spec crimp.Spec, l *learned, dialled int) (crimp.Advice, bool) {
	m := s.model(l)
	e, known := l.estimate(m)
	if !known || e.N == 0 && 2*math.Sqrt(e.Variance) > float64(spec.Plus+spec.Minus) {
		return crimp.Advice{}, false // nothing, or too little for the tolerance
	}
	// The guard band of the aim is that of a piece measured as the shop measures.
	guard := s.rules.Judge.Guard(s.uncertainty(spec.Diameter, 0, spec.Places))
	aim := crimp.Nearest(s.rules.Costs.Aim(spec, m.Predict(e), guard))
	a := s.rules.Scale.Next(e, float64(aim), spec.Setting, dialled, s.rules.Hold)
	r.Offset = record.Ptr(crimp.Nearest(e.Offset))
	r.OffsetU = record.Ptr(crimp.Nearest(math.Sqrt(e.Variance)))
	r.Crimps = e.N
	if e.Prior && m.Learned {
		r.SetUps = l.Known.SetUps
	}
	if aim != 0 {
		r.Aim = record.Ptr(aim)
	}
	r.Reason = s.why(a, e, spec, r.SetUps, aim)
	return a, true
}

// why says in one sentence what an advice rests on and what it does: how far
// crimps are expected to be off the target at the setting dialled now, give or
// take two standard uncertainties, and what is done about it.
func (s *Station) why(a crimp.Advice, e crimp.Estimate, spec crimp.Spec, setUps int, aim crimp.Length) string {
	dialled := a.Setting - a.Change
	off := crimp.Nearest(e.Offset) + s.rules.Scale.Change(dialled-spec.Setting)
	text := crimp.Dial(dialled) + " comes out " + size(spec, off) +
		" ± " + spec.Text(crimp.Nearest(2*math.Sqrt(e.Variance))) + " (" + basis(e, setUps) + ")"
	told := spec.Text(aim) != spec.Text(0) // an aim that can be seen
	switch {
	case a.Clamped:
		return text + "; " + s.rules.Scale.OutOfReach()
	case a.Held:
		return text + "; within the dead band, leave it"
	case a.Change == 0 && !told && size(spec, off) == onTarget:
		return text
	case a.Change == 0 && !told:
		return text + ", no count is nearer"
	case told:
		return text + "; aim " + aimed(spec, aim, s.rules.Costs)
	default:
		return text
	}
}

const onTarget = "on target"

// size says how far off something is.
func size(spec crimp.Spec, off crimp.Length) string {
	switch {
	case spec.Text(off) == spec.Text(0):
		return onTarget
	case off < 0:
		return spec.Text(-off) + " small"
	default:
		return spec.Text(off) + " large"
	}
}

// basis says what an estimate rests on.
func basis(e crimp.Estimate, setUps int) string {
	before := "what the shop expects"
	if setUps > 0 {
		before = fmt.Sprintf("%d earlier set-ups", setUps)
	}
	crimps := fmt.Sprintf("%d first crimps", e.N)
	if e.N == 1 {
		crimps = "1 first crimp"
	}
	switch {
	case e.N == 0:
		return before
	case e.Prior:
		return crimps + " and " + before
	default:
		return crimps
	}
}

// aimed explains an aim beside the target by what moves it most.
func aimed(spec crimp.Spec, aim crimp.Length, costs crimp.Costs) string {
	side, because := "high", "an undersize end is scrap"
	if aim < 0 {
		side, because = "low", "a second stroke costs more than scrap"
	}
	if middle := (spec.Plus - spec.Minus) / 2; costs.Shape == crimp.AtLimits && middle != 0 && (aim-middle).Abs() < middle.Abs() {
		because = "that is about the middle of the limits"
	}
	return fmt.Sprintf("%s %s: %s", spec.Text(aim.Abs()), side, because)
}

// dialled is the setting at the press, as far as it was told.
func (s *Station) dialled(o *order) int {
	if s.state.Setting != nil {
		return *s.state.Setting
	}
	return o.Spec.Setting
}
