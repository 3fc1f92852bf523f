package stats

import "fmt"

// CUSUM is the tabular chart of cumulative sums for both sides,
// high(i) = max(0, high(i−1) + x(i) − target − k) and
// low(i) = max(0, low(i−1) + target − k − x(i)), both from 0 (Page 1954;
// e-Handbook 6.3.2.3). It finds a shift of about 2·k soonest.
type CUSUM struct {
	Base    int // how many values the target and σ come from; 0: they were given, or not needed
	Center  float64
	K, H    float64   // allowance and limit, in units of the values
	High    []float64 // sum of the deviations above Center + K
	Low     []float64 // sum of the deviations below Center − K, counted positive
	Sum     []float64 // plain sum of the deviations; its slope shows where the mean lay
	Signals []int     // the numbers, from 1, of the values at which a sum is above H
	// Since is the number of the value from which the sum of the first alarm has
	// grown: about when the shift came. 0 without an alarm.
	Since int
}

// Allowance is k and h of a CUSUM chart in units of the values. What is nil
// follows from the standard deviation: k = 0.5σ for a shift of 1σ, and h = 5σ,
// which alarms falsely every 465 values (common practice, after Montgomery,
// Introduction to Statistical Quality Control, from memory).
type Allowance struct{ K, H *float64 }

// The usual allowance and limit in σ; see Allowance.
const (
	usualAllowance = 0.5
	usualLimit     = 5
)

// CUSUMOf charts the cumulative sums of the values. With k and h given, the
// standard deviation is not needed.
func CUSUMOf(values []float64, b Basis, a Allowance) (CUSUM, error) {
	center, base, err := b.center(values)
	if err != nil {
		return CUSUM{}, err
	}
	c := CUSUM{Base: base, Center: center, Signals: []int{}}
	if a.K == nil || a.H == nil {
		sigma, from, err := b.sigma(values)
		if err != nil {
			return CUSUM{}, err
		}
		c.Base = max(base, from)
		c.K, c.H = usualAllowance*sigma, usualLimit*sigma
	}
	if a.K != nil {
		c.K = *a.K
	}
	if a.H != nil {
		c.H = *a.H
	}
	switch {
	case !(c.K >= 0 && finite(c.K)):
		return CUSUM{}, fmt.Errorf("an allowance k of %g: want 0 or more, usual is half the standard deviation", c.K)
	case !(c.H > 0 && finite(c.H)):
		return CUSUM{}, fmt.Errorf("a limit h of %g: want above 0, usual is 4 to 5 standard deviations", c.H)
	}
	var high, low, sum float64
	fromHigh, fromLow := 1, 1
	for i, v := range values {
		deviation := v - center
		high, low = max(0, high+(deviation-c.K)), max(0, low+(-deviation-c.K))
		sum += deviation
		c.High, c.Low, c.Sum = append(c.High, high), append(c.Low, low), append(c.Sum, sum)
		if high > c.H || low > c.H {
			c.Signals = append(c.Signals, i+1)
		}
		switch {
		case c.Since != 0:
		case high > c.H:
			c.Since = fromHigh
		case low > c.H:
			c.Since = fromLow
		}
		if high == 0 {
			fromHigh = i + 2
		}
		if low == 0 {
			fromLow = i + 2
		}
	}
	return c, nil
}

// SigmaOf is the standard deviation that a chart on this basis works with, and
// of how many values it comes, 0 when it was given.
func SigmaOf(values []float64, b Basis) (sigma float64, from int, err error) { return b.sigma(values) }
