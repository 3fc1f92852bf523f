package stats

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"gonum.org/v1/gonum/stat"
	"gonum.org/v1/gonum/stat/distuv"
)

// withMoments are n values with just this mean and standard deviation.
func withMoments(n int, mean, sd float64) []float64 {
	values := make([]float64, n)
	for i := range values {
		values[i] = mean
		if i < n/2*2 { // in pairs about the mean
			values[i] += sd * math.Sqrt(float64(n-1)/float64(n/2*2)) * float64(1-2*(i%2))
		}
	}
	return values
}

// TestCapability is the e-Handbook's worked case 6.1.6 with the bounds for 50
// values, recomputed.
func TestCapability(t *testing.T) {
	var file struct {
		USL, LSL, Mean, S float64
		Expected          struct{ Cp, CPU, CPL, Cpk float64 }
		CI                struct {
			Cp  [2]float64
			Cpk [2]float64 `json:"Cpk_approx"`
		} `json:"ci95_n50"`
		PPM []struct{ Cpk, PPM float64 } `json:"one_side_ppm"`
	}
	reference(t, "capability.json", &file)
	limits := Interval{file.LSL, file.USL}
	c, err := CapabilityOf(withMoments(50, file.Mean, file.S), limits)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "mean", c.Mean, file.Mean, 1e-12)
	near(t, "sd", c.SD, file.S, 1e-12)
	near(t, "cp", c.Cp, file.Expected.Cp, 1e-9)
	near(t, "cpk", c.Cpk, file.Expected.Cpk, 1e-9)
	near(t, "cpu", c.CPU, file.Expected.CPU, 1e-9)
	near(t, "cpl", c.CPL, file.Expected.CPL, 1e-9)
	near(t, "cp low", c.CpLow, file.CI.Cp[0], 1e-9)
	near(t, "cp high", c.CpHigh, file.CI.Cp[1], 1e-9)
	near(t, "cpk low", c.CpkLow, file.CI.Cpk[0], 1e-9)
	near(t, "cpk high", c.CpkHigh, file.CI.Cpk[1], 1e-9)
	if c.N != 50 || c.Note != "" || c.Below != 0 || c.Above != 0 {
		t.Errorf("%+v", c)
	}
	for _, p := range file.PPM {
		c, err := CapabilityOf(withMoments(30, 0, 1), Interval{-3 * p.Cpk, 1e6})
		if err != nil {
			t.Fatal(err)
		}
		near(t, "ppm", c.PPMBelow, p.PPM, 1e-9)
		if c.PPMAbove != 0 {
			t.Errorf("above a far limit: %g ppm", c.PPMAbove)
		}
	}
}

// TestIndexBound: the exact bounds, recomputed by another program; and the
// library's series wherever that is exact itself.
func TestIndexBound(t *testing.T) {
	var file struct {
		Lower []struct {
			Hat   float64 `json:"Cpu_hat"`
			N     int
			Exact float64
		} `json:"lower95_one_sided"`
	}
	reference(t, "capability.json", &file)
	for _, c := range file.Lower {
		near(t, "bound", IndexBound(c.Hat, c.N), c.Exact, 1e-9)
	}
	for _, n := range []int{2, 3, 5, 10, 30, 80} {
		for _, index := range []float64{-1, -0.2, 0, 0.1, 0.7, 1.3} {
			bound := IndexBound(index, n)
			root := 3 * math.Sqrt(float64(n))
			p := distuv.NoncentralT{Nu: float64(n - 1), Mu: root * bound}.CDF(root * index)
			if math.Abs(p-0.95) > 1e-9 || bound >= index {
				t.Errorf("n = %d, index %g: bound %g has probability %.12f, want 0.95", n, index, bound, p)
			}
		}
	}
	// So large that only the scatter counts: index·√(χ²(0.05)/(n−1)).
	for _, n := range []int{2, 10, 100} {
		want := math.Sqrt(distuv.ChiSquared{K: float64(n - 1)}.Quantile(0.05) / float64(n-1))
		near(t, "bound of a very large index", IndexBound(1e9, n)/1e9, want, 1e-8)
	}
}

// TestIndexBoundHolds: of 4000 samples of a process whose index is 1, the bound
// exceeds 1 in 5 of 100, within four standard deviations of such a count.
func TestIndexBoundHolds(t *testing.T) {
	random := rand.New(rand.NewPCG(1, 2))
	const rounds, n = 4000, 12
	at := 0.0 // the index whose bound is 1
	for low, high := 1.0, 5.0; high-low > 1e-6; {
		if at = (low + high) / 2; IndexBound(at, n) < 1 {
			low = at
		} else {
			high = at
		}
	}
	over := 0
	for range rounds {
		values := make([]float64, n)
		for i := range values {
			values[i] = random.NormFloat64()
		}
		mean, sd := stat.MeanStdDev(values, nil)
		if (3-mean)/(3*sd) > at {
			over++
		}
	}
	if want, sd := 0.05*rounds, math.Sqrt(0.05*0.95*rounds); math.Abs(float64(over)-want) > 4*sd {
		t.Errorf("%d of %d bounds lie above the truth, want about %.0f", over, rounds, want)
	}
}

// crimps are made up: diameters in mm, as read with a caliper of 0.01 mm.
var crimps = []float64{
	30.48, 30.50, 30.47, 30.49, 30.52, 30.46, 30.48, 30.51, 30.49, 30.47, 30.50, 30.48,
	30.49, 30.45, 30.51, 30.50, 30.48, 30.47, 30.53, 30.49, 30.48, 30.50, 30.46, 30.49,
}

// TestCapabilityUnits: inches in place of millimetres, and another zero, leave
// the indices as they are.
func TestCapabilityUnits(t *testing.T) {
	limits := Interval{30.40, 30.55}
	want, err := CapabilityOf(crimps, limits)
	if err != nil {
		t.Fatal(err)
	}
	if !strings.Contains(want.Note, "24 values") {
		t.Errorf("note %q", want.Note)
	}
	for _, c := range []struct {
		name        string
		scale, zero float64
		relative    float64
	}{
		{"inches", 1 / 25.4, 0, 1e-11},
		{"far zero", 1, 1e6, 1e-6},
		{"deviations", 1, -30.48, 1e-11},
	} {
		moved := make([]float64, len(crimps))
		for i, v := range crimps {
			moved[i] = v*c.scale + c.zero
		}
		got, err := CapabilityOf(moved, Interval{limits.Lower*c.scale + c.zero, limits.Upper*c.scale + c.zero})
		if err != nil {
			t.Fatal(err)
		}
		for name, pair := range map[string][2]float64{
			"cp": {got.Cp, want.Cp}, "cpk": {got.Cpk, want.Cpk}, "cpl": {got.CPL, want.CPL}, "cpu": {got.CPU, want.CPU},
			"cp low": {got.CpLow, want.CpLow}, "cpk high": {got.CpkHigh, want.CpkHigh}, "cpl bound": {got.CPLBound, want.CPLBound},
			"within cpk": {got.WithinCpk, want.WithinCpk}, "sd": {got.SD, want.SD * c.scale}, "within sd": {got.WithinSD, want.WithinSD * c.scale},
		} {
			near(t, c.name+", "+name, pair[0], pair[1], c.relative)
		}
		near(t, c.name+", ppm", got.PPMAbove, want.PPMAbove, 100*c.relative)
	}
}

// TestCapabilityCounts: a value on a limit is within.
func TestCapabilityCounts(t *testing.T) {
	c, err := CapabilityOf([]float64{1, 2, 3, 4, 5, 6, 0}, Interval{2, 5})
	if err != nil || c.Below != 2 || c.Above != 1 {
		t.Errorf("%d below, %d above, %v", c.Below, c.Above, err)
	}
	// Ranges 1 1 1 1 1 6: mean 11/6, worked by hand.
	near(t, "within sd", c.WithinSD, 11./6/(2/math.Sqrt(math.Pi)), 1e-12)
	near(t, "within cp", c.WithinCp, 3/(6*c.WithinSD), 1e-12)
	near(t, "within cpk", c.WithinCpk, 1/(3*c.WithinSD), 1e-12)
}

func TestCapabilityWrong(t *testing.T) {
	for _, c := range []struct {
		name   string
		values []float64
		limits Interval
		says   string
	}{
		{"nothing", nil, Interval{0, 1}, "two or more"},
		{"one value", []float64{1}, Interval{0, 1}, "two or more"},
		{"all the same", []float64{2.5, 2.5, 2.5}, Interval{0, 1}, "all 3 values are 2.5"},
		{"not a number", []float64{1, math.NaN()}, Interval{0, 1}, "value 2"},
		{"infinite", []float64{math.Inf(-1), 1}, Interval{0, 1}, "value 1"},
		{"beyond all measure", []float64{1e200, -1e200}, Interval{0, 1}, "value 1"},
		{"too near each other", []float64{1e-200, 2e-200}, Interval{0, 1}, "hardly differ"},
		{"swapped", []float64{1, 2}, Interval{1, 0}, "lower one first"},
		{"equal limits", []float64{1, 2}, Interval{1, 1}, "lower one first"},
		{"limit is no number", []float64{1, 2}, Interval{0, math.NaN()}, "want two numbers"},
	} {
		got, err := CapabilityOf(c.values, c.limits)
		if err == nil || !strings.Contains(err.Error(), c.says) || got != (Capability{}) {
			t.Errorf("%s: %+v, %v, want %q", c.name, got, err, c.says)
		}
	}
}
