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
		reason = s.outOfReach()
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
	m := l.model(s.rules.Model)
	e, known := l.estimate(m)
	if !known {
		return crimp.Advice{}, false
	}
	// The guard band of the aim is that of a piece measured as the shop measures.
	guard := s.rules.Judge.Guard(s.uncertainty(spec.Diameter, 0, spec.Places))
	aim := crimp.Length(math.Round(s.rules.Costs.Aim(spec, m.Predict(e), guard)))
	a := s.rules.Scale.Next(e, float64(aim), spec.Setting, dialled, s.rules.Hold)
	r.Offset = record.Ptr(crimp.Length(math.Round(e.Offset)))
	r.OffsetU = record.Ptr(crimp.Length(math.Round(math.Sqrt(e.Variance))))
	r.Crimps = e.N
	if e.Prior && l != nil {
		r.SetUps = l.Known.SetUps
	}
	if aim != 0 {
		r.Aim = record.Ptr(aim)
	}
	r.Reason = s.why(a, e, spec, r.SetUps, aim)
	return a, true
}

// why says in one sentence what an advice rests on and what it does.
func (s *Station) why(a crimp.Advice, e crimp.Estimate, spec crimp.Spec, setUps int, aim crimp.Length) string {
	text := size(spec, e) + " (" + basis(e, setUps) + ")"
	switch {
	case a.Clamped:
		return text + "; " + s.outOfReach()
	case a.Held:
		return text + "; the change would be within the dead band, leave it"
	}
	if a.Change == 0 {
		text += ", no count of the setting is nearer"
	}
	if aim != 0 {
		text += "; " + aimed(spec, aim, s.rules.Costs)
	}
	return text
}

// size says how far crimps of this set-up are off what their setting says, give
// or take two standard uncertainties.
func size(spec crimp.Spec, e crimp.Estimate) string {
	off, word := crimp.Length(math.Round(e.Offset)), "large"
	if off < 0 {
		word = "small"
	}
	give := spec.Text(crimp.Length(math.Round(2 * math.Sqrt(e.Variance))))
	if spec.Text(off) == spec.Text(0) {
		return "crimps come out as the setting says ± " + give
	}
	return fmt.Sprintf("crimps come out %s %s ± %s", spec.Text(off.Abs()), word, give)
}

// basis says what an estimate rests on.
func basis(e crimp.Estimate, setUps int) string {
	before := "what the shop expects"
	if setUps > 0 {
		before = fmt.Sprintf("the last %d set-ups of this cage", setUps)
	}
	crimps := fmt.Sprintf("%d first crimps", e.N)
	if e.N == 1 {
		crimps = "one first crimp"
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

// aimed explains an aim beside the target.
func aimed(spec crimp.Spec, aim crimp.Length, costs crimp.Costs) string {
	side, because := "high", "an undersize end is scrap"
	switch {
	case costs.Shape == crimp.AtLimits && spec.Recrimps == 0:
		because = "that is the middle of the limits"
	case aim < 0 && costs.Shape == crimp.AtLimits && spec.Plus < spec.Minus:
		because = "there is more room below the target"
	case aim < 0:
		because = "a second stroke costs more than scrap"
	}
	if aim < 0 {
		side = "low"
	}
	return fmt.Sprintf("aim %s %s: %s", spec.Text(aim.Abs()), side, because)
}

func (s *Station) outOfReach() string {
	return fmt.Sprintf("the target is out of reach: the setting goes from %s to %s", crimp.Dial(s.rules.Scale.Lowest), crimp.Dial(s.rules.Scale.Highest))
}

// dialled is the setting at the press, as far as it was told.
func (s *Station) dialled(o *order) int {
	if s.state.Setting != nil {
		return *s.state.Setting
	}
	return o.Spec.Setting
}
