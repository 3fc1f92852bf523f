package stats

import (
	"math"
	"slices"
	"testing"
)

// TestCUSUM: e-Handbook 6.3.2.3, with k and h in units of the data.
func TestCUSUM(t *testing.T) {
	h := handbookCharts(t).CUSUM
	c, err := CUSUMOf(h.X, Basis{Target: &h.Target}, Allowance{K: &h.K, H: &h.H})
	if err != nil {
		t.Fatal(err)
	}
	for i := range h.X {
		// A sum of exactly half a digit is printed rounded down, another up.
		if math.Abs(c.High[i]-h.Published.High[i]) > 0.00501 || math.Abs(c.Low[i]-h.Published.Low[i]) > 0.00501 {
			t.Errorf("sums %d: %.4f and %.4f, printed %.2f and %.2f", i+1, c.High[i], c.Low[i], h.Published.High[i], h.Published.Low[i])
		}
	}
	near(t, "high 13", c.High[12], h.Expected["high_13"], 1e-9)
	near(t, "high 14", c.High[13], h.Expected["high_14"], 1e-9)
	near(t, "high 20", c.High[19], h.Expected["high_20"], 1e-9)
	near(t, "plain sum", c.Sum[19], h.Expected["sum_20"], 1e-9)
	if !slices.Equal(c.Signals, []int{14, 15, 16, 17, 18, 19, 20}) || float64(c.Signals[0]) != h.Expected["first_signal"] || c.Since != 13 || c.Base != 0 {
		t.Errorf("signals %v since %d, base %d", c.Signals, c.Since, c.Base)
	}

	// With the standard deviation alone, k is half of it, as in the e-Handbook, and h 5 of it.
	if c, err = CUSUMOf(h.X, Basis{Target: &h.Target, Sigma: &h.Sigma}, Allowance{}); err != nil {
		t.Fatal(err)
	}
	near(t, "k", c.K, h.K, 1e-12)
	near(t, "h", c.H, 5*h.Sigma, 1e-12)
	if c.Base != 0 || c.Signals[0] != 14 {
		t.Errorf("%+v", c)
	}
}

// TestCUSUMOfTheOtherSide: mirrored values make the low sum what the high one was.
func TestCUSUMOfTheOtherSide(t *testing.T) {
	h := handbookCharts(t).CUSUM
	mirrored := make([]float64, len(h.X))
	for i, v := range h.X {
		mirrored[i] = -v
	}
	target := -h.Target
	up, err1 := CUSUMOf(h.X, Basis{Target: &h.Target}, Allowance{K: &h.K, H: &h.H})
	down, err2 := CUSUMOf(mirrored, Basis{Target: &target}, Allowance{K: &h.K, H: &h.H})
	if err1 != nil || err2 != nil {
		t.Fatal(err1, err2)
	}
	if !slices.Equal(up.High, down.Low) || !slices.Equal(up.Low, down.High) || !slices.Equal(up.Signals, down.Signals) || up.Since != down.Since {
		t.Errorf("%+v\n%+v", up, down)
	}
}
