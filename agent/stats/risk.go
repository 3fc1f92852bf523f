package stats

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/integrate/quad"
)

// Risk says how often measuring leads to the wrong decision, as probabilities
// of 0 to 1 for a piece picked at random.
type Risk struct {
	Conforming  float64 `json:"conforming"`   // the piece is within the limits
	WrongPass   float64 `json:"wrong_pass"`   // it passes though it is outside
	WrongReject float64 `json:"wrong_reject"` // it is rejected though it is within
}

// Interval is from Lower to Upper, both within.
type Interval struct{ Lower, Upper float64 }

// Guarded are the limits moved inwards by guard.
func (i Interval) Guarded(guard float64) Interval { return Interval{i.Lower + guard, i.Upper - guard} }

// GlobalRisk is the risk of the consumer and of the producer by JCGM 106:2012,
// clause 9: true values are normal with mean and sd, a measured value is normal
// about the true one with standard uncertainty u, and a piece passes when the
// measured value lies within the acceptance limits. All are in one unit; sd and
// u are above 0, and a limit may be infinite. Good to 1e-9.
func GlobalRisk(mean, sd, u float64, limits, acceptance Interval) (Risk, error) {
	switch {
	case !finite(mean):
		return Risk{}, fmt.Errorf("a mean of %g: want a number", mean)
	case !(sd > 0) || !finite(sd):
		return Risk{}, fmt.Errorf("a standard deviation of %g: want more than 0", sd)
	case !(u > 0) || !finite(u):
		return Risk{}, fmt.Errorf("an uncertainty of %g: want more than 0", u)
	case !(limits.Lower < limits.Upper):
		return Risk{}, fmt.Errorf("limits %g and %g: want the lower one first", limits.Lower, limits.Upper)
	case !(acceptance.Lower < acceptance.Upper):
		return Risk{}, errors.New("the guard bands leave nothing between the limits, so no piece could pass: " +
			"measure with less uncertainty or ask for less confidence")
	}
	// In units of sd about the mean, and cut where nothing is left of the process.
	const far = 9.5 // 2e-21 lies beyond
	scale := func(x float64) float64 { return (x - mean) / sd }
	lower, upper := scale(limits.Lower), scale(limits.Upper)
	from, to := scale(acceptance.Lower), scale(acceptance.Upper)
	blur := u / sd
	pass := func(z float64) float64 { return normalBetween((from-z)/blur, (to-z)/blur) }
	reject := func(z float64) float64 { return normalBelow((from-z)/blur) + normalBelow((z-to)/blur) }
	part := func(a, b float64, decide func(float64) float64) float64 {
		a, b = max(a, -far), min(b, far)
		if !(a < b) {
			return 0
		}
		return integrate(func(z float64) float64 {
			return math.Exp(-z*z/2) / math.Sqrt(2*math.Pi) * decide(z)
		}, a, b, edge{from, blur}, edge{to, blur})
	}
	return Risk{
		Conforming:  normalBetween(lower, upper),
		WrongPass:   part(-far, lower, pass) + part(upper, far, pass),
		WrongReject: part(lower, upper, reject),
	}, nil
}

// normalBetween is Φ(b) − Φ(a), from the tail that keeps the digits.
func normalBetween(a, b float64) float64 {
	if a > 0 {
		a, b = -b, -a
	}
	return normalBelow(b) - normalBelow(a)
}

// edge is where a function steps from one level to another, and the standard
// deviation of the normal distribution that it steps by.
type edge struct{ at, width float64 }

// integrate is the integral of f from a to b by Gauss and Legendre's rule in
// panels of at most 1, finer about the edges. Apart from those f is to be as
// smooth as a normal density with standard deviation 1.
func integrate(f func(float64) float64, a, b float64, edges ...edge) float64 {
	cuts := []float64{a, b}
	for x := a + 1; x < b; x++ {
		cuts = append(cuts, x)
	}
	for _, e := range edges {
		for k := -8.0; k <= 8; k += 2 {
			if x := e.at + k*e.width; a < x && x < b && e.width < 1 {
				cuts = append(cuts, x)
			}
		}
	}
	slices.Sort(cuts)
	sum := 0.0
	for i := range len(cuts) - 1 {
		sum += quad.Fixed(f, cuts[i], cuts[i+1], 20, quad.Legendre{}, 0)
	}
	return sum
}

// finite says whether x is a number that can be worked with.
func finite(x float64) bool { return math.Abs(x) <= largest }

// largest is more than any measured value, and small enough for its powers.
const largest = 1e60
