package stats

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/integrate/quad"
	"gonum.org/v1/gonum/mat"
)

// RunLengthOfCUSUM is the average run length of the two-sided tabular chart with
// allowance k and limit h in standard deviations. One side's by the integral
// equation of Page (1954), both by 1/both = 1/high + 1/low (Kemp 1961), which is
// exact for equal sides; from memory.
func RunLengthOfCUSUM(k, h, shift float64) (float64, error) {
	const most = 200
	switch err := checkShift(shift); {
	case err != nil:
		return 0, err
	case !(k >= 0 && k <= most):
		return 0, fmt.Errorf("an allowance of %g standard deviations: want 0 to %d", k, most)
	case !(h > 0 && h <= most):
		return 0, fmt.Errorf("a limit of %g standard deviations: want above 0 to %d", h, most)
	}
	high, err := oneSided(k, h, shift)
	if err != nil {
		return 0, err
	}
	low, err := oneSided(k, h, -shift)
	if err != nil {
		return 0, err
	}
	return told(1/(1/high+1/low), nil)
}

// oneSided is the run length L(0) of the high sum: L(u) = 1 + L(0)·Φ(k−u−shift)
// + ∫₀ʰ L(x)·φ(x+k−u−shift) dx, for sums u from 0 to h. It is infinite where
// rounding would be felt.
func oneSided(k, h, shift float64) (float64, error) {
	x, w := nodes(0, h, h)
	n := len(x)
	m := mat.NewDense(n+1, n+1, nil) // row and column 0 are the sum 0
	for i := range n + 1 {
		u := 0.0
		if i > 0 {
			u = x[i-1]
		}
		m.Set(i, 0, -normalBelow(k-u-shift))
		for j := range n {
			m.Set(i, j+1, -w[j]*density(x[j]+k-u-shift))
		}
		m.Set(i, i, 1+m.At(i, i))
	}
	length, err := solve(m, 0)
	if !(length >= 1-1e-9 && length <= 1000*longest) {
		return math.Inf(1), err
	}
	return length, err
}

// RunLengthOfEWMA is the average run length of the chart of the weighted average:
// by the integral equation of Crowder, Technometrics 29 (1987), 401-407, L(u) =
// 1 + 1/λ·∫ L(x)·φ((x−(1−λ)u)/λ − shift) dx between the limits (from memory).
// While exact limits still move, the density of the average is carried from value
// to value. Lambda is to be 0.01 or more.
func RunLengthOfEWMA(w Weights, shift float64) (float64, error) {
	const least, widest = 0.01, 20
	if err := errors.Join(w.check(), checkShift(shift)); err != nil {
		return 0, err
	}
	switch {
	case w.Lambda < least:
		return 0, fmt.Errorf("a weight lambda of %g: want %g or more for a run length", w.Lambda, least)
	case w.Factor > widest:
		return 0, errLongest
	}
	wide := w.Factor * math.Sqrt(w.Lambda/(2-w.Lambda))
	step := func(from, to float64) float64 { return density((to-(1-w.Lambda)*from)/w.Lambda-shift) / w.Lambda }

	x, weight := nodes(-wide, wide, 2*wide/w.Lambda)
	n := len(x)
	m := mat.NewDense(n+1, n+1, nil) // row and column 0 are the start at the center
	for i := range n + 1 {
		u := 0.0
		if i > 0 {
			u = x[i-1]
		}
		for j := range n {
			m.Set(i, j+1, -weight[j]*step(u, x[j]))
		}
		m.Set(i, i, 1+m.At(i, i))
	}
	lengths, err := solveAll(m)
	if err != nil {
		return 0, err
	}
	length, err := told(lengths[0], nil)
	if err != nil || !w.Exact {
		return length, err
	}
	return told(exactRunLength(w, wide, step, lengths[1:]), nil)
}

// exactRunLength sums the probabilities of no alarm up to value i while the
// limits move, and then takes the run lengths that are left with limits at rest,
// which are those at the nodes from -wide to wide.
func exactRunLength(w Weights, wide float64, step func(from, to float64) float64, left []float64) float64 {
	const atRest = 1 - 1e-9
	length := 1.0 // the first value is always taken
	at, mass := []float64{0}, []float64{1}
	for i := 1; ; i++ {
		limit := wide * w.share(i)
		rest := w.share(i) >= atRest
		if rest {
			limit = wide
		}
		x, weight := nodes(-limit, limit, 2*limit/w.Lambda)
		next := make([]float64, len(x))
		kept, rests := 0.0, 0.0
		for j := range x {
			for k := range at {
				next[j] += mass[k] * step(at[k], x[j])
			}
			next[j] *= weight[j]
			kept += next[j]
			if rest {
				rests += next[j] * left[j]
			}
		}
		if rest {
			return length + rests
		}
		length += kept
		at, mass = x, next
	}
}

// nodes are Gauss and Legendre's nodes and weights from a to b, enough for a
// normal density whose standard deviation goes spans times into that.
func nodes(a, b, spans float64) (x, weight []float64) {
	n := 32 + int(math.Ceil(3*spans))
	x, weight = make([]float64, n), make([]float64, n)
	quad.Legendre{}.FixedLocations(x, weight, a, b)
	return x, weight
}

// density is the standard normal density φ, and 0 where it is below 1e-22: most
// of a wide interval, so that it is not worth an exponential.
func density(z float64) float64 {
	if z < -10 || z > 10 {
		return 0
	}
	return math.Exp(-z*z/2) / math.Sqrt(2*math.Pi)
}
