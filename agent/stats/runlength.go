package stats

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/integrate/quad"
	"gonum.org/v1/gonum/mat"
)

// The average run length of a chart is how many values it takes to an alarm on
// average, from a fresh start. All figures are for independent normal values
// whose mean and standard deviation are known; with limits of few values they
// are rough. A shift is that of the mean in standard deviations, there from the
// first value; 0 is the run length to a false alarm.

// longest is the longest run length that is told. Beyond it, rounding is felt,
// and nobody waits that long.
const longest = 1e9

// errLongest is instead of a run length beyond longest.
var errLongest = fmt.Errorf("the average run length is longer than %.0e values", float64(longest))

// mostShift is in σ: each value then lies beyond any limit.
const mostShift = 30

func checkShift(shift float64) error {
	if !(math.Abs(shift) <= mostShift) {
		return fmt.Errorf("a shift of %g standard deviations: want -%d to %d", shift, mostShift, mostShift)
	}
	return nil
}

// told is the run length, if it is one that can be told.
func told(length float64, err error) (float64, error) {
	switch {
	case err != nil:
		return 0, err
	case !(length >= 1-1e-9 && length <= longest):
		return 0, errLongest
	}
	return length, nil
}

// RunLengthOfRules is the average run length of a chart of single values with
// any of the rules, exact by an absorbing Markov chain as in Champ and Woodall,
// Technometrics 29 (1987), 393-399 (from memory).
func RunLengthOfRules(rules []Rule, shift float64) (float64, error) {
	if err := checkShift(shift); err != nil {
		return 0, err
	}
	if len(rules) == 0 {
		return 0, errors.New("no rule: a chart without one never alarms")
	}
	c := chainOf(rules)
	p := zones(shift)
	// With Q the probabilities of going from state to state without an alarm,
	// the run lengths of all states solve (I − Q)·length = 1.
	n := len(c)
	m := mat.NewDense(n, n, nil)
	for from, to := range c {
		m.Set(from, from, 1)
		for zone, next := range to {
			if next >= 0 {
				m.Set(from, next, m.At(from, next)-p[zone])
			}
		}
	}
	return told(solve(m, 0))
}

// A zone is where a value lies: its side, and how many lines it is beyond
// besides the center. 0 to 3 are above the center, 4 to 7 below.
const sideZones = 4

// zones are the probabilities of the zones when the mean is shifted.
func zones(shift float64) (p [2 * sideZones]float64) {
	for i := range sideZones {
		near, far := float64(i), float64(i+1)
		if i == sideZones-1 {
			far = math.Inf(1)
		}
		p[i] = normalBetween(near-shift, far-shift)
		p[sideZones+i] = normalBetween(-far-shift, -near-shift)
	}
	return p
}

// memory is what the rules still need of the past: for each rule and side one
// bit for each earlier value, the latest lowest, set where it was beyond the line.
type memory [4][2]uint8

// chain are the states that can be reached without an alarm, the first of them
// the fresh start, and where each zone of the next value leads; -1 is an alarm.
type chain [][2 * sideZones]int

// chainOf builds the states of a set of rules by following every zone from the
// fresh start.
func chainOf(rules []Rule) chain {
	var c chain
	number := map[memory]int{{}: 0}
	for states := []memory{{}}; len(c) < len(states); {
		var to [2 * sideZones]int
		for zone := range to {
			next, alarm := states[len(c)].after(zone, rules)
			at, known := number[next]
			switch {
			case alarm:
				at = -1
			case !known:
				at = len(states)
				number[next] = at
				states = append(states, next)
			}
			to[zone] = at
		}
		c = append(c, to)
	}
	return c
}

// after is what is remembered when a value in the zone has come, and whether it
// makes any rule alarm.
func (m memory) after(zone int, rules []Rule) (next memory, alarm bool) {
	for i, r := range rules {
		f := r.form()
		for side := range 2 {
			past := m[i][side]
			if zone/sideZones == side && zone%sideZones >= f.line {
				alarm = alarm || 1+ones(past, f.of-1) >= f.need
				past = past<<1 | 1
			} else {
				past <<= 1
			}
			next[i][side] = f.useful(past)
		}
	}
	return next, alarm
}

// ones counts the bits of the latest n values.
func ones(past uint8, n int) int {
	count := 0
	for i := range n {
		count += int(past >> i & 1)
	}
	return count
}

// useful clears the bits that can take part in no alarm any more, even if every
// value from now on is beyond the line: that keeps the states few.
func (f form) useful(past uint8) uint8 {
	for age := f.of - 1; age >= 1; age-- {
		helps := false
		for to := 1; to <= f.of-age; to++ { // so many values from now on
			helps = helps || to+ones(past, f.of-to) >= f.need
		}
		if helps {
			return past & (1<<age - 1)
		}
	}
	return 0
}

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

// solve gives one of the run lengths of m·lengths = 1.
func solve(m *mat.Dense, which int) (float64, error) {
	lengths, err := solveAll(m)
	if err != nil {
		return 0, err
	}
	return lengths[which], nil
}

// solveAll solves m·lengths = 1. Lengths that are too long make m singular to
// rounding: they come out as infinite.
func solveAll(m *mat.Dense) ([]float64, error) {
	n, _ := m.Dims()
	one := mat.NewVecDense(n, nil)
	for i := range n {
		one.SetVec(i, 1)
	}
	var lengths mat.VecDense
	var singular mat.Condition
	switch err := lengths.SolveVec(m, one); {
	case errors.As(err, &singular):
		return slices.Repeat([]float64{math.Inf(1)}, n), nil
	case err != nil:
		return nil, err
	}
	return lengths.RawVector().Data, nil
}
