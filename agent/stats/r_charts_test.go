package stats

import (
	"fmt"
	"maps"
	"slices"
	"strings"
	"testing"
)

// TestChartsR: the same charts by R, where they can in another way; see
// testdata/references/r/charts.R. Own formulas agree to 1e-9, integrals and run
// lengths to what R's own tolerances leave.
func TestChartsR(t *testing.T) {
	r := fromR(t, "charts.R")
	seen := map[string]bool{}
	check := func(name string, got, relative float64) {
		t.Helper()
		want, ok := r[name]
		if !ok || seen[name] {
			t.Errorf("%s: not printed by R, or checked twice", name)
			return
		}
		seen[name] = true
		if got != 0 || want != 0 { // a sum of 0 is 0
			near(t, name, got, want, relative)
		}
	}
	must := func(got float64, err error) float64 {
		t.Helper()
		if err != nil {
			t.Error(err)
		}
		return got
	}
	each := func(name string, got []float64) {
		t.Helper()
		for i, v := range got {
			check(fmt.Sprintf("%s_%d", name, i+1), v, 1e-9)
		}
	}

	for n := SmallestSubgroup; n <= LargestSubgroup; n++ {
		c, err := ConstantsOf(n)
		if err != nil {
			t.Fatal(err)
		}
		check(fmt.Sprintf("d2_%d", n), c.RangeMean, 1e-7) // ptukey has some eight digits
		check(fmt.Sprintf("d3_%d", n), c.RangeSD, 1e-7)
		check(fmt.Sprintf("c4_%d", n), c.SDMean, 1e-9)
	}

	h := handbookCharts(t)
	i, err := IndividualsOf(h.Imr.X, Basis{})
	if err != nil {
		t.Fatal(err)
	}
	check("individuals_center", i.Center, 1e-9)
	check("individuals_sigma", i.Sigma, 1e-9)
	check("individuals_upper", i.Upper, 1e-9)
	check("individuals_lower", i.Lower, 1e-9)
	check("moving_center", i.Moving.Center, 1e-9)
	check("moving_upper", i.Moving.Upper, 1e-9)
	if i, err = IndividualsOf(h.Imr.X, Basis{First: 6}); err != nil {
		t.Fatal(err)
	}
	check("base_center", i.Center, 1e-9)
	check("base_sigma", i.Sigma, 1e-9)

	e, err := EWMAOf(h.EWMA.X, Basis{Target: &h.EWMA.Start, Sigma: &h.EWMA.Sigma}, Weights{Lambda: h.EWMA.Lambda, Factor: h.EWMA.Factor, Exact: true})
	if err != nil {
		t.Fatal(err)
	}
	each("ewma", e.Values)
	check("ewma_upper", e.Upper, 1e-9)
	check("ewma_lower", e.Lower, 1e-9)
	each("ewma_exact_upper", e.Uppers)

	c, err := CUSUMOf(h.CUSUM.X, Basis{Target: &h.CUSUM.Target}, Allowance{K: &h.CUSUM.K, H: &h.CUSUM.H})
	if err != nil {
		t.Fatal(err)
	}
	each("high", c.High)
	each("low", c.Low)
	each("sum", c.Sum)
	for n, at := range c.Signals {
		check(fmt.Sprintf("cusum_signal_%d", n+1), float64(at), 0)
	}

	for _, name := range slices.Sorted(maps.Keys(r)) {
		var a, b, shift float64
		parts := strings.Split(name, "_")
		if seen[name] || len(parts) < 2 {
			continue
		}
		if _, err := fmt.Sscan(strings.Join(parts[1:], " "), &a, &b, &shift); err == nil {
			switch parts[0] {
			case "cusum":
				check(name, must(RunLengthOfCUSUM(a, b, shift)), 1e-9)
			case "ewma":
				check(name, must(RunLengthOfEWMA(Weights{Lambda: a, Factor: b}, shift)), 1e-9)
			case "exact": // R sums until the sixth digit or so rests
				check(name, must(RunLengthOfEWMA(Weights{Lambda: a, Factor: b, Exact: true}, shift)), 1e-6)
			}
		} else if code, ok := strings.CutPrefix(parts[0], "rules"); ok {
			if _, err := fmt.Sscan(parts[1], &shift); err != nil {
				t.Fatal(err)
			}
			check(name, must(RunLengthOfRules(coded(code), shift)), 1e-9)
		}
	}
	for name := range r {
		if !seen[name] {
			t.Errorf("R prints %s, which nothing is compared with", name)
		}
	}
	if len(seen) < 250 {
		t.Errorf("%d figures compared, want some 280", len(seen))
	}
}
