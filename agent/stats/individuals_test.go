package stats

import (
	"math"
	"slices"
	"strings"
	"testing"
)

// handbook are the charts of the NIST/SEMATECH e-Handbook.
type handbook struct {
	Imr struct {
		X         []float64
		Expected  map[string]float64
		Published map[string]float64
	}
	EWMA struct {
		Lambda, Start, Sigma, Factor float64
		X                            []float64
		Expected                     struct{ UCL, LCL float64 }
		Published                    struct {
			Series   []float64
			UCL, LCL float64
		}
	}
	CUSUM struct {
		Target, K, H, Sigma float64
		X                   []float64
		Expected            map[string]float64
		Published           struct{ High, Low []float64 }
	}
}

func handbookCharts(t *testing.T) handbook {
	t.Helper()
	var h handbook
	reference(t, "nist_control_charts.json", &h)
	return h
}

// TestIndividuals: e-Handbook 6.3.2.2.
func TestIndividuals(t *testing.T) {
	h := handbookCharts(t).Imr
	c, err := IndividualsOf(h.X, Basis{})
	if err != nil {
		t.Fatal(err)
	}
	for name, got := range map[string]float64{
		"xbar": c.Center, "mrbar": c.Moving.Center, "ucl": c.Upper, "lcl": c.Lower, "mr_ucl_D4_3.267": c.Moving.Upper,
	} {
		near(t, name, got, h.Expected[name], 1e-9)
		if print, ok := h.Published[name]; ok && !(math.Abs(got-print) <= 0.00005) {
			t.Errorf("%s = %.6f, printed %g", name, got, print)
		}
	}
	if c.Base != 10 || len(c.Signals(Beyond)) != 0 || len(c.Moving.Signals) != 0 || !slices.Equal(c.Values, h.X) {
		t.Errorf("%+v", c)
	}
	if got := c.Moving.Values; len(got) != 9 || math.Abs(got[0]-2) > 1e-12 || math.Abs(got[8]-1.5) > 1e-12 {
		t.Errorf("ranges %v", got)
	}
}

// TestBasePeriod: only the base period makes the limits, and what is known takes
// its place.
func TestBasePeriod(t *testing.T) {
	values := []float64{10, 12, 11, 10, 30, -5}
	c, err := IndividualsOf(values, Basis{First: 4})
	if err != nil {
		t.Fatal(err)
	}
	sigma := (2. + 1 + 1) / 3 / 1.128
	near(t, "center", c.Center, 10.75, 1e-12)
	near(t, "sigma", c.Sigma, sigma, 1e-12)
	if c.Base != 4 || !slices.Equal(c.Signals(Beyond), []int{5, 6}) || !slices.Equal(c.Moving.Signals, []int{5, 6}) {
		t.Errorf("%+v, signals %v", c, c.Signals(Beyond))
	}
	target, known := 11.0, 20.0
	if c, err = IndividualsOf(values, Basis{First: 4, Target: &target}); err != nil || c.Center != 11 || c.Base != 4 {
		t.Errorf("%+v, %v", c, err)
	}
	near(t, "sigma beside a target", c.Sigma, sigma, 1e-12)
	if c, err = IndividualsOf(values[:1], Basis{Target: &target, Sigma: &known}); err != nil || c.Base != 0 || c.Upper != 71 || c.Lower != -49 {
		t.Errorf("%+v, %v", c, err)
	}
}

// TestChartsFollowTheUnit: in another unit, and from another zero, limits and
// values go along and the same values alarm.
func TestChartsFollowTheUnit(t *testing.T) {
	h := handbookCharts(t)
	for _, series := range [][]float64{h.Imr.X, h.EWMA.X, h.CUSUM.X} {
		a, b := 25.4, -1000.0
		other := make([]float64, len(series))
		for i, v := range series {
			other[i] = a*v + b
		}
		same := func(what string, got, want float64) {
			t.Helper()
			if !(math.Abs(got-want) <= 1e-9*(math.Abs(want)+1000)) {
				t.Errorf("%s: %.12g, want %.12g", what, got, want)
			}
		}
		basis := Basis{First: 10}
		i1, err1 := IndividualsOf(series, basis)
		i2, err2 := IndividualsOf(other, basis)
		e1, err3 := EWMAOf(series, basis, Weights{Lambda: 0.3, Factor: 3, Exact: true})
		e2, err4 := EWMAOf(other, basis, Weights{Lambda: 0.3, Factor: 3, Exact: true})
		c1, err5 := CUSUMOf(series, basis, Allowance{})
		c2, err6 := CUSUMOf(other, basis, Allowance{})
		for _, err := range []error{err1, err2, err3, err4, err5, err6} {
			if err != nil {
				t.Fatal(err)
			}
		}
		same("center", i2.Center, a*i1.Center+b)
		same("upper", i2.Upper, a*i1.Upper+b)
		same("lower", i2.Lower, a*i1.Lower+b)
		same("range", i2.Moving.Upper, a*i1.Moving.Upper)
		same("average's upper", e2.Upper, a*e1.Upper+b)
		same("last average", e2.Values[len(other)-1], a*e1.Values[len(series)-1]+b)
		same("first exact limit", e2.Lowers[0], a*e1.Lowers[0]+b)
		same("h", c2.H, a*c1.H)
		same("last sum", c2.High[len(other)-1], a*c1.High[len(series)-1])
		for _, r := range Rules() {
			if !slices.Equal(i1.Signals(r), i2.Signals(r)) {
				t.Errorf("%s: %v and %v", r, i1.Signals(r), i2.Signals(r))
			}
		}
		if !slices.Equal(i1.Moving.Signals, i2.Moving.Signals) || !slices.Equal(e1.Signals, e2.Signals) || !slices.Equal(c1.Signals, c2.Signals) || c1.Since != c2.Since {
			t.Error("other values alarm in another unit")
		}
	}
}

// TestChartsRefuse: what cannot be charted is told with what would be right.
func TestChartsRefuse(t *testing.T) {
	nan, inf, zero, minus, one := math.NaN(), math.Inf(1), 0.0, -1.0, 1.0
	good := []float64{1, 2, 3}
	for _, c := range []struct {
		name   string
		values []float64
		basis  Basis
		says   string
	}{
		{"nothing", nil, Basis{}, "no values"},
		{"one value", []float64{1}, Basis{}, "2 or more"},
		{"one value and a target", []float64{1}, Basis{Target: &one}, "2 or more"},
		{"all the same", []float64{2, 2, 2}, Basis{}, "all 2"},
		{"all the same in the base period", []float64{2, 2, 3}, Basis{First: 2}, "the 2 values"},
		{"no number", []float64{1, nan, 2}, Basis{}, "value 2 is NaN"},
		{"infinite", []float64{1, 2, inf}, Basis{}, "value 3 is +Inf"},
		{"no number after the base period", []float64{1, 2, nan}, Basis{First: 2}, "value 3"},
		{"too large to square", []float64{1, 1e200}, Basis{}, "value 2"},
		{"base of one", good, Basis{First: 1}, "base period of 1"},
		{"base below nothing", good, Basis{First: -4}, "base period of -4"},
		{"base beyond the end", good, Basis{First: 4}, "3 values"},
		{"target no number", good, Basis{Target: &nan}, "target of NaN"},
		{"sigma of nothing", good, Basis{Sigma: &zero}, "above 0"},
		{"sigma below", good, Basis{Sigma: &minus}, "above 0"},
		{"sigma no number", good, Basis{Sigma: &nan}, "above 0"},
		{"sigma infinite", good, Basis{Sigma: &inf}, "above 0"},
	} {
		_, err1 := IndividualsOf(c.values, c.basis)
		_, err2 := EWMAOf(c.values, c.basis, Weights{Lambda: 0.2, Factor: 3})
		_, err3 := CUSUMOf(c.values, c.basis, Allowance{})
		for _, err := range []error{err1, err2, err3} {
			if err == nil || !strings.Contains(err.Error(), c.says) {
				t.Errorf("%s: %v, want %q in it", c.name, err, c.says)
			}
		}
	}
	for _, w := range []Weights{{0, 3, false}, {-0.1, 3, false}, {1.01, 3, false}, {nan, 3, true}, {0.2, 0, false}, {0.2, inf, false}, {0.2, nan, false}} {
		if _, err := EWMAOf(good, Basis{}, w); err == nil || !strings.Contains(err.Error(), "want above 0") {
			t.Errorf("%+v: %v", w, err)
		}
	}
	for _, a := range []Allowance{{K: &minus}, {K: &nan}, {K: &inf}, {H: &zero}, {H: &minus}, {H: &nan}, {K: &one, H: &inf}} {
		if _, err := CUSUMOf(good, Basis{}, a); err == nil || !strings.Contains(err.Error(), "usual is") {
			t.Errorf("%+v: %v", a, err)
		}
	}
}
