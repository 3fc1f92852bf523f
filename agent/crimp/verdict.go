package crimp

import (
	"fmt"
	"math"
)

// Outcome is what the readings of one crimp say.
type Outcome string

// The outcomes. None of them says that an assembly may be pressurised.
const (
	Pass    Outcome = "pass"    // within the limits
	Recrimp Outcome = "recrimp" // too large, and the sheet allows another crimp
	Scrap   Outcome = "scrap"   // too small, too large with no crimp left, or out of round
	Unsure  Outcome = "unsure"  // too near a limit to tell, or not measured
)

// Zone is where a mean lies between what a measurement can tell and what it
// cannot: the four answers of a decision rule that is not binary (ILAC-G8:09/2019
// clause 4.2; its wording second-hand).
type Zone string

// The zones. The guard band is z·u wide on both sides of a limit.
const (
	Inside      Zone = "inside"       // within the limits for sure
	NearInside  Zone = "near-inside"  // within them, nearer to one than the guard band
	NearOutside Zone = "near-outside" // beyond one, by less than the guard band
	Outside     Zone = "outside"      // beyond one for sure
)

// ZoneConfidence is the conformance probability of the zones where the shop's
// rules name none: the default of ISO 14253-1:2017.
const ZoneConfidence = 0.95

// Rules are the shop's rules of judging.
type Rules struct {
	Ovality    Length  // limit of largest minus smallest reading; 0: none set
	Confidence float64 // 0: simple acceptance; else the conformance probability to prove, 0.5 to below 1
	Caliper    Length  // its permissible error, for the hint; 0: no hint
}

// Guard is the width of the guard band z·u in nanometres; 0 with simple
// acceptance (ISO 14253-1:2017, JCGM 106:2012 clause 8.3).
func (r Rules) Guard(u float64) float64 {
	if r.Confidence == 0 {
		return 0
	}
	return Z(r.Confidence) * u
}

// Verdict is the judgement of one crimp.
type Verdict struct {
	Outcome    Outcome
	Mean       Length // rounded to the nanometre
	Deviation  Length // mean minus target
	Ovality    Length // largest minus smallest reading
	Readings   int
	Crimp      int     // 1 the first on this piece, 2 a re-crimp …
	U          float64 // standard uncertainty of the mean, nanometres; 0: not known
	Conformity float64 // probability that the true diameter is within the limits; NaN when U is 0
	Zone       Zone    // "" when U is 0
	Guard      float64 // width of the guard band at each limit, nanometres; 0: none
	Reason     string  // one sentence for the technician
	Hint       string  // what the readings themselves give to think of; "": nothing
}

// Judge judges the readings of one crimp, of which there must be at least one.
// Crimp counts the crimps on this piece so far, from 1; u is the standard
// uncertainty of the mean in nanometres, 0 when unknown.
//
// The mean is compared exactly; a limit itself is within. With a confidence the
// limits move inwards by the guard band z·u, z the one-sided normal quantile
// (ISO 14253-1:2017, JCGM 106:2012 clause 8.3), and a mean within z·u of a limit
// on either side is unsure. That an oversize crimp can be closed further and an
// undersize one never is a fact of the trade (common practice, no source).
func Judge(s Spec, readings []Length, crimp int, u float64, rules Rules) Verdict {
	n := Length(len(readings))
	sum, smallest, largest := Length(0), readings[0], readings[0]
	for _, r := range readings {
		sum += r
		smallest, largest = min(smallest, r), max(largest, r)
	}
	v := Verdict{
		Mean:       Length(roundDiv(int64(sum), int64(n))),
		Ovality:    largest - smallest,
		Readings:   len(readings),
		Crimp:      crimp,
		U:          u,
		Conformity: math.NaN(),
	}
	v.Deviation = v.Mean - s.Diameter
	mean := float64(sum) / float64(n)
	above, below := sum-s.Upper()*n, s.Lower()*n-sum // n times how far beyond the limits
	guard := rules.Guard(u)
	v.Guard = guard
	if u > 0 {
		v.Conformity = Conformity(mean, u, float64(s.Lower()), float64(s.Upper()))
		band := guard
		if rules.Confidence == 0 {
			band = Z(ZoneConfidence) * u
		}
		v.Zone = zone(max(above, below), n, band)
	}
	if rules.Caliper > 0 {
		v.Hint = hint(s, readings, rules.Caliper)
	}
	over := exceeds(above, n, guard)
	under := exceeds(below, n, guard)
	within := !exceeds(max(above, below), n, -guard)
	switch {
	case under:
		v.Outcome = Scrap
		v.Reason = fmt.Sprintf("%s under the lower limit: an undersize crimp cannot be undone", s.Gap(s.Lower()-v.Mean))
	case over && crimp <= s.Recrimps:
		v.Outcome = Recrimp
		v.Reason = fmt.Sprintf("%s over the upper limit: the sheet allows %s", s.Gap(v.Mean-s.Upper()), more(s.Recrimps-crimp+1))
	case over:
		v.Outcome = Scrap
		v.Reason = fmt.Sprintf("%s over the upper limit, and the sheet allows no further crimp", s.Gap(v.Mean-s.Upper()))
	case rules.Ovality > 0 && v.Ovality > rules.Ovality && !(above > 0 && crimp <= s.Recrimps):
		// One that is over the limit, if not for sure, may still be closed further.
		v.Outcome = Scrap
		v.Reason = fmt.Sprintf("out of round: the readings differ by %s, the limit is %s", s.Text(v.Ovality), s.Text(rules.Ovality))
	case !within:
		v.Outcome = Unsure
		v.Reason = fmt.Sprintf("%s, nearer than the guard band of %s: the caliper cannot tell", s.beside(v.Mean), s.Text(Nearest(guard)))
	default:
		v.Outcome = Pass
		v.Reason = "within limits"
	}
	return v
}

// zone is where a mean lies that is beyond/n past the nearer limit.
func zone(beyond, n Length, guard float64) Zone {
	switch {
	case exceeds(beyond, n, guard):
		return Outside
	case beyond > 0:
		return NearOutside
	case exceeds(beyond, n, -guard):
		return NearInside
	default:
		return Inside
	}
}

// beside says how far a mean is from the nearer limit, and on which side.
func (s Spec) beside(mean Length) string {
	limit, name := s.Upper(), "upper"
	if mean-s.Lower() < s.Upper()-mean {
		limit, name = s.Lower(), "lower"
	}
	switch {
	case mean < limit:
		return fmt.Sprintf("%s under the %s limit", s.Gap(limit-mean), name)
	case mean > limit:
		return fmt.Sprintf("%s over the %s limit", s.Gap(mean-limit), name)
	default:
		return "on the " + name + " limit"
	}
}

// exceeds says whether beyond/n, exact, is more than guard. Guard 0 stays exact.
func exceeds(beyond, n Length, guard float64) bool {
	if guard == 0 {
		return beyond > 0
	}
	return float64(beyond) > guard*float64(n)
}

func more(n int) string {
	if n == 1 {
		return "one more crimp"
	}
	return fmt.Sprintf("%d more crimps", n)
}

// Conformity is the probability that the true value lies within lower..upper
// when the measured value is y with standard uncertainty u:
// Φ((upper−y)/u) − Φ((lower−y)/u). JCGM 106:2012, clause 7.
func Conformity(y, u, lower, upper float64) float64 {
	a, b := (lower-y)/u, (upper-y)/u
	if a > 0 { // both in the upper tail: use the symmetry, which keeps the digits
		a, b = -b, -a
	}
	return normal(b) - normal(a)
}

// normal is the standard normal distribution function Φ.
func normal(z float64) float64 { return math.Erfc(-z/math.Sqrt2) / 2 }

// Z is the one-sided standard normal quantile of probability p, 0 < p < 1:
// 1.644854 for 0.95 (ISO 14253-1:2017 default conformance probability).
func Z(p float64) float64 { return -math.Sqrt2 * math.Erfcinv(2*p) }
