package station

import (
	"fmt"
	"math"
	"time"

	"benchtally/agent/crimp"
	"benchtally/agent/record"
)

// closedJaws is the largest reading that is taken for closed jaws.
const closedJaws = 250 * crimp.Micrometre

// take keeps a reading: of the closed jaws, of the piece in work, or of no
// piece. With the last of the places it brings the verdict.
func (in Reading) take(s *Station) {
	st := &s.state
	if in.Value.Abs() <= closedJaws {
		r := record.Record{
			At: in.At, Kind: record.Zero, Value: record.Ptr(in.Value),
			OK: record.Ptr(in.Value.Abs() <= s.rules.Gauge.Zero.Allowed), Raw: in.Raw,
		}
		if !*r.OK {
			r.Doubt = st.Caliper.Zero + 1
		}
		s.emit(r)
		return
	}
	if st.Caliper.Awaited != "" {
		s.compare(in)
		return
	}
	o := st.Order
	if reason := implausible(o, in.Value); reason != "" {
		s.emit(record.Record{At: in.At, Kind: record.Refused, Source: record.Caliper, Reason: reason, Raw: in.Raw})
		return
	}
	r := record.Record{At: in.At, Kind: record.Reading, Diameter: record.Ptr(in.Value), Raw: in.Raw}
	if in.Step > 0 {
		r.Step = record.Ptr(in.Step)
	}
	var p *piece
	if o != nil {
		if p = o.at(); p != nil && (p.shot().Outcome != "" || p.Given != "") {
			p = nil
		}
	}
	if p != nil {
		r.Order, r.Piece, r.Place = o.ID, o.id(p.N), len(p.shot().Readings)+1
	}
	s.emit(r)
	if p != nil {
		s.judge(o, p, in.At)
	}
}

// implausible says why a reading cannot be of a crimp of this order; "": it can.
func implausible(o *order, v crimp.Length) string {
	if v < 0 {
		return "below zero: close the jaws, zero the caliper and measure again"
	}
	if o == nil || fits(o.Spec, v) {
		return ""
	}
	spec := o.Spec
	switch {
	case fits(spec, v*254/10):
		return fmt.Sprintf("25.4 times too small for %s: a reading in inches was taken for millimetres; switch the caliper's unit or set the unit in the configuration", spec.ID)
	case fits(spec, v*10/254):
		return fmt.Sprintf("25.4 times too large for %s: a reading in millimetres was taken for inches; switch the caliper's unit or set the unit in the configuration", spec.ID)
	default:
		return fmt.Sprintf("%s cannot be a crimp of %s, whose target is %s: measure again", spec.Text(v), spec.ID, spec.Text(spec.Diameter))
	}
}

// fits says whether a value may be a crimp to a specification: between half and
// twice its target. What a dropped digit or the other unit gives lies outside.
func fits(spec crimp.Spec, v crimp.Length) bool {
	return v >= spec.Diameter/2 && v <= spec.Diameter*2
}

// judge brings the verdict and the corrections once all places are measured.
func (s *Station) judge(o *order, p *piece, at time.Time) {
	hit := p.shot()
	if len(hit.Readings) < o.Spec.Places {
		return
	}
	values := make([]crimp.Length, len(hit.Readings))
	step := crimp.Length(0)
	for i, t := range hit.Readings {
		values[i] = t.Value
		step = max(step, t.Step)
	}
	v := crimp.Judge(o.Spec, values, len(p.Shots), s.uncertainty(o.Spec.Diameter, step, len(values)), s.rules.Judge)
	r := verdictRecord(v)
	r.At, r.Order, r.Piece, r.End, r.Assembly = at, o.ID, o.id(p.N), p.End, p.Assembly
	r.Spec, r.Revision = o.Spec.ID, o.Spec.Revision
	if z := s.zero(); r.Hint == "" && z != nil && !z.OK {
		r.Hint = fmt.Sprintf("the closed jaws showed %s: wipe them, zero the caliper and send the closed jaws again", o.Spec.Text(z.Value))
	}
	s.emit(r)
	if v.Outcome == crimp.Recrimp {
		s.adviseRecrimp(o, p, v, at)
	}
	if v.Crimp == 1 {
		s.adviseNext(o, p, at)
	}
}

// uncertainty is the standard uncertainty of a mean of n readings, nanometres.
// Step is their last digit, 0 where they do not tell.
func (s *Station) uncertainty(diameter, step crimp.Length, n int) float64 {
	if s.rules.U > 0 {
		return float64(s.rules.U)
	}
	g := s.rules.Gauge
	if step > 0 {
		g.Step = step
	}
	if z := s.zero(); z != nil {
		g.Zero.Checked, g.Zero.Value = true, z.Value
	}
	u, _ := crimp.Combine(g.Budget(diameter, n))
	return u
}

// zeroHolds is how long a check of the closed jaws is taken to hold: longer than
// a shift, shorter than a day (no source).
const zeroHolds = 12 * time.Hour

// zero is the latest check of the closed jaws, if it still holds; nil: it does not.
func (s *Station) zero() *fact {
	z := s.state.Zero
	if z == nil || s.state.Clock.Now.Sub(counted(s.state.ZeroAt, z.At)) > zeroHolds {
		return nil
	}
	return z
}

// verdictRecord is a verdict in the form of a record, without its time and piece.
func verdictRecord(v crimp.Verdict) record.Record {
	r := record.Record{
		Kind: record.Verdict, Outcome: v.Outcome, Mean: record.Ptr(v.Mean), Deviation: record.Ptr(v.Deviation),
		Ovality: record.Ptr(v.Ovality), Readings: v.Readings, Crimp: v.Crimp, Reason: v.Reason,
		Zone: v.Zone, Hint: v.Hint,
	}
	if v.U > 0 {
		r.U = record.Ptr(crimp.Nearest(v.U))
		r.Conformity = record.Ptr(math.Round(v.Conformity*1e12) / 1e12)
	}
	if v.Guard > 0 {
		r.Guard = record.Ptr(crimp.Nearest(v.Guard))
	}
	return r
}
