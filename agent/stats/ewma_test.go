package stats

import (
	"math"
	"slices"
	"testing"
)

// TestEWMA: e-Handbook 6.3.2.4. Its lower limit is printed cut off, not rounded.
func TestEWMA(t *testing.T) {
	h := handbookCharts(t).EWMA
	w := Weights{Lambda: h.Lambda, Factor: h.Factor}
	c, err := EWMAOf(h.X, Basis{Target: &h.Start, Sigma: &h.Sigma}, w)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "upper", c.Upper, h.Expected.UCL, 1e-8)
	near(t, "lower", c.Lower, h.Expected.LCL, 1e-8)
	if math.Abs(c.Upper-h.Published.UCL) > 0.00005 || math.Abs(math.Floor(c.Lower*1e4)/1e4-h.Published.LCL) > 1e-9 {
		t.Errorf("limits %.6f and %.6f, printed %g and %g", c.Upper, c.Lower, h.Published.UCL, h.Published.LCL)
	}
	for i, print := range h.Published.Series {
		if math.Abs(c.Values[i]-print) > 0.005001 {
			t.Errorf("average %d: %.4f, printed %.2f", i+1, c.Values[i], print)
		}
	}
	if c.Base != 0 || c.Center != h.Start || len(c.Values) != 20 || len(c.Signals) != 0 || c.Uppers != nil {
		t.Errorf("%+v", c)
	}

	// The variance of the average of i values is Σ (λ(1−λ)^j)², j = 0 to i−1.
	w.Exact = true
	if c, err = EWMAOf(h.X, Basis{Target: &h.Start, Sigma: &h.Sigma}, w); err != nil {
		t.Fatal(err)
	}
	variance := 0.0
	for i := range h.X {
		variance += math.Pow(w.Lambda*math.Pow(1-w.Lambda, float64(i)), 2)
		near(t, "exact upper", c.Uppers[i], h.Start+3*h.Sigma*math.Sqrt(variance), 1e-12)
		near(t, "exact lower", c.Lowers[i], h.Start-3*h.Sigma*math.Sqrt(variance), 1e-12)
	}
}

// TestEWMAOfWeightOne is a chart of single values.
func TestEWMAOfWeightOne(t *testing.T) {
	values := []float64{10, 12, 11, 10, 30, -5}
	single, err := IndividualsOf(values, Basis{First: 4})
	if err != nil {
		t.Fatal(err)
	}
	for _, exact := range []bool{false, true} {
		c, err := EWMAOf(values, Basis{First: 4}, Weights{Lambda: 1, Factor: 3, Exact: exact})
		if err != nil {
			t.Fatal(err)
		}
		near(t, "upper", c.Upper, single.Upper, 1e-14)
		if !slices.Equal(c.Values, values) || !slices.Equal(c.Signals, single.Signals(Beyond)) {
			t.Errorf("%+v", c)
		}
	}
}
