package stats

import (
	"fmt"
	"math"
)

// EWMA is a chart of the exponentially weighted moving average
// z(i) = λ·x(i) + (1−λ)·z(i−1), which begins at the center (Roberts 1959;
// e-Handbook 6.3.2.4). It finds small shifts sooner than single values do.
type EWMA struct {
	Base          int // how many values the limits come from; 0: they were given
	Center, Sigma float64
	Upper, Lower  float64   // Center ± L·Sigma·√(λ/(2−λ)): what the limits come to in the end
	Uppers        []float64 // the limits of each value, if they are to be exact; else nil
	Lowers        []float64
	Values        []float64 // the average after each value
	Signals       []int     // the numbers, from 1, of the averages beyond their limits
}

// Weights is how an EWMA chart weighs and how wide its limits are.
type Weights struct {
	Lambda float64 // weight of the newest value, above 0 to 1
	Factor float64 // L: limits in standard deviations of the average
	// Exact limits are narrow at first, √(1−(1−λ)^2i) of the final ones for
	// value i, because a young average scatters less. Otherwise a shift that is
	// there from the beginning is found later, and false alarms are rarer.
	Exact bool
}

func (w Weights) check() error {
	switch {
	case !(w.Lambda > 0 && w.Lambda <= 1):
		return fmt.Errorf("a weight lambda of %g: want above 0 to 1, such as 0.2", w.Lambda)
	case !(w.Factor > 0 && finite(w.Factor)):
		return fmt.Errorf("limits at %g standard deviations: want above 0, such as 3", w.Factor)
	}
	return nil
}

// share is how far the limit of value i = 1, 2, 3 … has come to the final one.
func (w Weights) share(i int) float64 {
	if !w.Exact {
		return 1
	}
	// 1 − (1−λ)^2i without losing the digits of a small λ.
	return math.Sqrt(-math.Expm1(2 * float64(i) * math.Log1p(-w.Lambda)))
}

// EWMAOf charts the weighted average of the values.
func EWMAOf(values []float64, b Basis, w Weights) (EWMA, error) {
	if err := w.check(); err != nil {
		return EWMA{}, err
	}
	center, sigma, base, err := b.both(values)
	if err != nil {
		return EWMA{}, err
	}
	wide := w.Factor * sigma * math.Sqrt(w.Lambda/(2-w.Lambda))
	c := EWMA{
		Base: base, Center: center, Sigma: sigma,
		Upper: center + wide, Lower: center - wide, Signals: []int{},
	}
	z := center
	for i, v := range values {
		z += w.Lambda * (v - z)
		upper, lower := c.Upper, c.Lower
		if w.Exact {
			upper, lower = center+w.share(i+1)*wide, center-w.share(i+1)*wide
			c.Uppers, c.Lowers = append(c.Uppers, upper), append(c.Lowers, lower)
		}
		c.Values = append(c.Values, z)
		if z > upper || z < lower {
			c.Signals = append(c.Signals, i+1)
		}
	}
	return c, nil
}
