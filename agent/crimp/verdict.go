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

// Rules are the shop's rules of judging.
type Rules struct {
	Ovality    Length  // limit of largest minus smallest reading; 0: none set
	Confidence float64 // 0: simple acceptance; else the conformance probability to prove, 0.5 to below 1
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
	Reason     string  // one sentence for the technician
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
	guard := 0.0
	if u > 0 {
		v.Conformity = Conformity(mean, u, float64(s.Lower()), float64(s.Upper()))
		if rules.Confidence > 0 {
			guard = Z(rules.Confidence) * u
		}
	}
	over := exceeds(sum-s.Upper()*n, n, guard)
	under := exceeds(s.Lower()*n-sum, n, guard)
	within := !exceeds(sum-s.Upper()*n, n, -guard) && !exceeds(s.Lower()*n-sum, n, -guard)
	switch {
	case under:
		v.Outcome = Scrap
		v.Reason = fmt.Sprintf("%s under the lower limit: an undersize crimp cannot be undone", s.Text(s.Lower()-v.Mean))
	case over && crimp <= s.Recrimps:
		v.Outcome = Recrimp
		v.Reason = fmt.Sprintf("%s over the upper limit: the sheet allows %s", s.Text(v.Mean-s.Upper()), more(s.Recrimps-crimp+1))
	case over:
		v.Outcome = Scrap
		v.Reason = fmt.Sprintf("%s over the upper limit, and the sheet allows no further crimp", s.Text(v.Mean-s.Upper()))
	case rules.Ovality > 0 && v.Ovality > rules.Ovality:
		v.Outcome = Scrap
		v.Reason = fmt.Sprintf("out of round: the readings differ by %s, the limit is %s", s.Text(v.Ovality), s.Text(rules.Ovality))
	case !within:
		v.Outcome = Unsure
		v.Reason = fmt.Sprintf("nearer to a limit than the guard band of %s: the caliper cannot tell", s.Text(Length(math.Round(guard))))
	default:
		v.Outcome = Pass
		v.Reason = "within limits"
	}
	return v
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
