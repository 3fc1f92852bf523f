package panel

import (
	"benchtally/agent/crimp"
	"benchtally/agent/record"
)

// value is the newest reading, or the mean.
type value struct{ Number, Unit, Other, Name, Off, Side string }

// target is what the crimp in hand must become.
type target struct {
	Number, Unit         string
	Other                string
	Lower, Middle, Upper string // with unit
	Strip                strip
}

// judged is a verdict for eyes: each outcome has a word, a shape and a side of its own.
type judged struct {
	Shape string // within, large, scrap or unsure
	Word  string
	Side  string // low, mid or high: where against the limits
}

func (s scene) newValue(spec crimp.Spec, l crimp.Length, name string) *value {
	v := &value{Name: name, Other: s.other(spec.Unit, l)}
	v.Number, v.Unit = s.split(spec.Unit, l)
	switch off := l - spec.Diameter; {
	case off > 0:
		v.Off, v.Side = s.length(spec.Unit, off), s.t.Say("above target")
	case off < 0:
		v.Off, v.Side = s.length(spec.Unit, -off), s.t.Say("below target")
	default:
		v.Side = s.t.Say("on target")
	}
	return v
}

func (s scene) newTarget(spec crimp.Spec, readings []crimp.Length, mean *crimp.Length) *target {
	t := &target{
		Lower: s.length(spec.Unit, spec.Lower()), Middle: s.length(spec.Unit, spec.Diameter), Upper: s.length(spec.Unit, spec.Upper()),
		Other: s.other(spec.Unit, spec.Diameter), Strip: newStrip(spec, readings, mean),
	}
	t.Number, t.Unit = s.split(spec.Unit, spec.Diameter)
	return t
}

func (s scene) newJudged(spec crimp.Spec, r *record.Record) *judged {
	j := &judged{Side: "mid"}
	switch {
	case r.Mean != nil && *r.Mean > spec.Upper():
		j.Side = "high"
	case r.Mean != nil && *r.Mean < spec.Lower():
		j.Side = "low"
	}
	switch r.Outcome {
	case crimp.Pass:
		j.Word, j.Shape = s.t.Say("Within limits"), "within"
	case crimp.Recrimp:
		j.Word, j.Shape = s.t.Say("Too large"), "large"
	case crimp.Scrap:
		j.Word, j.Shape = s.t.Say("Scrap"), "scrap"
	case crimp.Unsure:
		j.Word, j.Shape = s.t.Say("Unsure"), "unsure"
		if r.Mean == nil {
			j.Word = s.t.Say("Not judged")
		}
	}
	return j
}

// note is the one line of what else is worth knowing now.
func (s scene) note() string {
	v := s.View
	r := verdictInHand(v)
	switch {
	case v.Retract:
		return s.t.Say("The ring was fully retracted. If the cage was changed, load it under More.")
	case r != nil && r.Hint != "":
		return upper(s.t.Sentence(r.Hint))
	case r != nil && r.Outcome != crimp.Pass:
		return upper(s.t.Sentence(r.Reason))
	case r == nil && v.Order != nil && v.Verdict != nil && v.Verdict.Order == v.Order.ID && v.Verdict.Mean == nil:
		return s.t.Say("Piece %d %s", pieceNumber(v.Verdict.Piece), s.t.Sentence(v.Verdict.Reason))
	}
	if n := overdue(v); n > 0 {
		return s.t.Say("Lubrication of cage %s is %d strokes over", v.Cage, n)
	}
	switch {
	case r != nil && v.Next != nil && v.Next.Reason != "":
		return upper(s.t.Sentence(v.Next.Reason))
	case r == nil && v.Opening != nil && v.Order.Pieces == 0:
		return upper(s.t.Sentence(v.Opening.Reason))
	case v.Order != nil && len(v.Order.Readings) > 0:
		spec := v.Order.Spec
		return s.t.Say("Target %s, limits %s to %s", s.both(spec.Unit, spec.Diameter), s.length(spec.Unit, spec.Lower()), s.length(spec.Unit, spec.Upper()))
	}
	return ""
}
