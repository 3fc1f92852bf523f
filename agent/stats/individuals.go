package stats

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/stat"
)

// Basis is what the limits of a chart are computed from: a target and a standard
// deviation that are known, or else the first values of the series.
type Basis struct {
	First  int      // how many values make the base period; 0: all of them
	Target *float64 // nil: the mean of the base period
	Sigma  *float64 // of single values, above 0; nil: from the moving range of the base period
}

// Rough is how many values limits need: with fewer they are rough (common
// practice, no source).
const Rough = 20

// rangeOfTwo is d2 and rangeLimit D4 for a moving range of two values, 2/√π and
// 1 + 3·√(π/2−1) of the half-normal distribution, rounded to the three decimals
// of the tables, 1.128 and 3.267 (older ones print 3.268). The e-Handbook and
// whoever charts by hand compute with these, and limits are to agree with theirs
// to the last digit; all digits would make them 0.03 % narrower.
var (
	rangeOfTwo = math.Round(2/math.Sqrt(math.Pi)*1000) / 1000
	rangeLimit = math.Round((1+3*math.Sqrt(math.Pi/2-1))*1000) / 1000
)

// period are the values of the base period.
func (b Basis) period(values []float64) ([]float64, error) {
	if len(values) == 0 {
		return nil, fmt.Errorf("no values: want one or more")
	}
	for i, v := range values {
		if !finite(v) {
			return nil, fmt.Errorf("value %d is %g: want a measured value", i+1, v)
		}
	}
	switch {
	case b.First == 0:
		return values, nil
	case b.First < 2:
		return nil, fmt.Errorf("a base period of %d: want 2 values or more", b.First)
	case b.First > len(values):
		return nil, fmt.Errorf("a base period of %d: want no more than there are, %s", b.First, counted(len(values), "value"))
	}
	return values[:b.First], nil
}

// center is the target, or the mean of the base period; from is then how many
// values that has.
func (b Basis) center(values []float64) (center float64, from int, err error) {
	base, err := b.period(values)
	switch {
	case err != nil:
		return 0, 0, err
	case b.Target == nil:
		return stat.Mean(base, nil), len(base), nil
	case !finite(*b.Target):
		return 0, 0, fmt.Errorf("a target of %g: want a number", *b.Target)
	}
	return *b.Target, 0, nil
}

// sigma is the standard deviation that is given, or that of the base period by
// its mean moving range over d2 = 1.128 (e-Handbook 6.3.2.2). A slow shift hardly
// inflates it, unlike the standard deviation of all values.
func (b Basis) sigma(values []float64) (sigma float64, from int, err error) {
	base, err := b.period(values)
	switch {
	case err != nil:
		return 0, 0, err
	case b.Sigma != nil && !(finite(*b.Sigma) && *b.Sigma > 0):
		return 0, 0, fmt.Errorf("a standard deviation of %g: want one above 0", *b.Sigma)
	case b.Sigma != nil:
		return *b.Sigma, 0, nil
	case len(base) < 2:
		return 0, 0, fmt.Errorf("1 value tells of no spread: want 2 or more, better %d, or a standard deviation that is known", Rough)
	}
	if sigma = movingRange(base) / rangeOfTwo; sigma == 0 {
		return 0, 0, fmt.Errorf("the %d values that the limits come from are all %g: their standard deviation is 0 and gives no limits, so read with a finer resolution, take more values, or give a standard deviation that is known", len(base), base[0])
	}
	return sigma, len(base), nil
}

// both is the center and the standard deviation.
func (b Basis) both(values []float64) (center, sigma float64, from int, err error) {
	center, n, err := b.center(values)
	if err != nil {
		return 0, 0, 0, err
	}
	sigma, from, err = b.sigma(values)
	return center, sigma, max(n, from), err
}

// Individuals is a chart of single values, and one of their moving range.
type Individuals struct {
	Base          int // how many values the limits come from; 0: they were given
	Center, Sigma float64
	Upper, Lower  float64   // Center ± 3·Sigma
	Values        []float64 // as given
	Moving        Moving
}

// Moving is the chart of the moving range: how far each value lies from the one
// before. It shows a spread that has grown. Its lower limit is 0.
type Moving struct {
	Center, Upper float64   // d2·σ and D4·d2·σ
	Values        []float64 // of the second value on: one fewer than there are values
	Signals       []int     // the number, from 1, of the second value of a range above Upper
}

// IndividualsOf charts single values (e-Handbook 6.3.2.2).
func IndividualsOf(values []float64, b Basis) (Individuals, error) {
	center, sigma, base, err := b.both(values)
	if err != nil {
		return Individuals{}, err
	}
	c := Individuals{
		Base: base, Center: center, Sigma: sigma,
		Upper: center + 3*sigma, Lower: center - 3*sigma, Values: values,
		Moving: Moving{Center: rangeOfTwo * sigma, Values: []float64{}, Signals: []int{}},
	}
	c.Moving.Upper = rangeLimit * c.Moving.Center
	for i, v := range values[1:] {
		r := math.Abs(v - values[i])
		c.Moving.Values = append(c.Moving.Values, r)
		if r > c.Moving.Upper {
			c.Moving.Signals = append(c.Moving.Signals, i+2)
		}
	}
	return c, nil
}

// Signals are the numbers, from 1, of the values at which the rule alarms.
func (c Individuals) Signals(r Rule) []int { return r.signals(c.Values, c.Center, c.Sigma) }
