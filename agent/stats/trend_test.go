package stats

import (
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
)

func mustTrend(t *testing.T, x, y []float64) Trend {
	t.Helper()
	trend, err := TrendOf(x, y)
	if err != nil {
		t.Fatal(err)
	}
	return trend
}

func mustForecast(t *testing.T, trend Trend, limit float64) Forecast {
	t.Helper()
	f, err := trend.Forecast(limit)
	if err != nil {
		t.Fatal(err)
	}
	return f
}

// drift are the made-up strokes and offsets of the reference file.
type drift struct {
	Strokes, Offset []float64
	Limit           float64 `json:"action_limit"`
	Expected        struct {
		Slope, Intercept, S, Cross float64
		Remaining                  float64    `json:"remaining_from_900"`
		Single                     [2]float64 `json:"fieller_single_part"`
		Theil                      float64    `json:"theil_slope"`
	}
}

func driftOf(t *testing.T) drift {
	t.Helper()
	var file struct {
		D drift `json:"remaining_strokes"`
	}
	reference(t, "trend.json", &file)
	return file.D
}

// TestSevenPoints is the teaching case of Helsel and Hirsch, chapter 10, one wild
// point among seven, recomputed.
func TestSevenPoints(t *testing.T) {
	var file struct {
		S struct {
			X, Y     []float64
			Expected struct {
				Theil      float64 `json:"theil_slope"`
				Intercept  float64
				Slope      float64 `json:"ols_slope"`
				OIntercept float64 `json:"ols_intercept"`
				Tau        float64 `json:"kendall_tau"`
			}
		} `json:"seven_points"`
	}
	reference(t, "trend.json", &file)
	trend := mustTrend(t, file.S.X, file.S.Y)
	want := file.S.Expected
	near(t, "slope", trend.Slope, want.Slope, 1e-12)
	near(t, "intercept", trend.Intercept, want.OIntercept, 1e-12)
	near(t, "median slope", trend.MedianSlope, want.Theil, 0)
	near(t, "median intercept", trend.MedianIntercept, want.Intercept, 0)
	near(t, "τ", *trend.Tau, want.Tau, 1e-12)
}

// TestRemainingStrokes: computed by another program; the bounds are where the
// 95 % prediction interval for a single value meets the limit.
func TestRemainingStrokes(t *testing.T) {
	d := driftOf(t)
	trend := mustTrend(t, d.Strokes, d.Offset)
	f := mustForecast(t, trend, d.Limit)
	near(t, "slope", trend.Slope, d.Expected.Slope, 1e-9)
	near(t, "intercept", trend.Intercept, d.Expected.Intercept, 1e-9)
	near(t, "s", *trend.ResidualSD, d.Expected.S, 1e-9)
	near(t, "median slope", trend.MedianSlope, d.Expected.Theil, 1e-9)
	near(t, "crossing", *f.Crossing, d.Expected.Cross, 1e-9)
	near(t, "low", *f.CrossingLow, d.Expected.Single[0], 1e-9)
	near(t, "high", *f.CrossingHigh, d.Expected.Single[1], 1e-9)
	near(t, "remaining", *f.Remaining, d.Expected.Remaining, 1e-9)
	near(t, "remaining low", *f.RemainingLow, d.Expected.Single[0]-900, 1e-9)
	near(t, "remaining high", *f.RemainingHigh, d.Expected.Single[1]-900, 1e-9)
	if f.Forecast != "" || f.Reason != "" || f.Note != "" {
		t.Errorf("%+v", f)
	}
}

// TestForecastInverts: at both bounds the prediction limit has the limit's
// height, for rising and for falling lines, far and near.
func TestForecastInverts(t *testing.T) {
	random := rand.New(rand.NewPCG(5, 6))
	made := 0
	for range 300 {
		n := 3 + random.IntN(20)
		x, y := make([]float64, n), make([]float64, n)
		slope := random.NormFloat64()
		for i := range x {
			x[i] = 10 * random.Float64()
			y[i] = 30.48 + slope*x[i] + 0.3*random.NormFloat64()
		}
		trend := mustTrend(t, x, y)
		limit := 30.48 + slope*random.Float64()*30
		f := mustForecast(t, trend, limit)
		if f.Forecast == "none" {
			continue
		}
		made++
		l := trend.line
		k, err := Coverage(0.95, float64(n-2))
		if err != nil {
			t.Fatal(err)
		}
		for _, x := range []float64{*f.CrossingLow, *f.CrossingHigh} {
			half := k * math.Hypot(l.residual, l.atSD(x))
			near(t, "distance of the line from the limit at a bound", math.Abs(l.at(x)-limit), half, 1e-6)
		}
		if !(*f.CrossingLow <= *f.Crossing && *f.Crossing <= *f.CrossingHigh) {
			t.Errorf("%g to %g does not hold %g", *f.CrossingLow, *f.CrossingHigh, *f.Crossing)
		}
	}
	if made < 100 {
		t.Errorf("only %d forecasts", made)
	}
}

// TestForecastNone: there is a reason for each forecast that cannot be made.
func TestForecastNone(t *testing.T) {
	for _, c := range []struct {
		name  string
		x, y  []float64
		limit float64
		says  string
	}{
		{"two points", []float64{0, 1}, []float64{0, 1}, 5, "three or more"},
		{"no slope to be seen", []float64{0, 1, 2, 3, 4}, []float64{0.1, -0.2, 0.2, -0.1, 0.06}, 5, "not proved"},
		{"three points that scatter", []float64{0, 1, 2}, []float64{0, 2, 1}, 5, "not proved"},
		{"all of one height", []float64{0, 1, 2, 3}, []float64{2.1, 2.1, 2.1, 2.1}, 5, "level"},
		{"level by chance", []float64{0, 1, 2}, []float64{0, 1, 0}, 5, "level"},
		{"away from an upper limit", []float64{0, 1, 2, 3}, []float64{0, -1.01, -2, -3}, 5, "leads away"},
		{"away from a lower limit", []float64{0, 1, 2, 3}, []float64{0, 1.01, 2, 3}, -5, "leads away"},
	} {
		f := mustForecast(t, mustTrend(t, c.x, c.y), c.limit)
		if f.Forecast != "none" || !strings.Contains(f.Reason, c.says) || f.Crossing != nil || f.Remaining != nil {
			t.Errorf("%s: %+v, want %q", c.name, f, c.says)
		}
	}
}

// TestForecastBehind: a limit that the line met among the points leaves nothing
// remaining, and says so.
func TestForecastBehind(t *testing.T) {
	d := driftOf(t)
	f := mustForecast(t, mustTrend(t, d.Strokes, d.Offset), 1)
	if f.Crossing == nil || *f.Crossing > 900 || *f.Crossing < 0 {
		t.Fatalf("%+v", f)
	}
	if *f.Remaining != 0 || *f.RemainingLow != 0 || !strings.Contains(f.Note, "already") {
		t.Errorf("%+v", f)
	}
	near(t, "crossing", *f.Crossing, (1-d.Expected.Intercept)/d.Expected.Slope, 1e-9)
}

// TestExactLine: without scatter the interval is the crossing itself.
func TestExactLine(t *testing.T) {
	trend := mustTrend(t, []float64{3, 1, 2, 4}, []float64{6, 2, 4, 8})
	f := mustForecast(t, trend, 20)
	if trend.Slope != 2 || trend.Intercept != 0 || *trend.ResidualSD != 0 || *trend.SlopeSD != 0 || *trend.R2 != 1 || *trend.Tau != 1 {
		t.Errorf("%+v", trend)
	}
	if *f.Crossing != 10 || *f.CrossingLow != 10 || *f.CrossingHigh != 10 || *f.Remaining != 6 || *f.RemainingLow != 6 || *f.RemainingHigh != 6 {
		t.Errorf("crossing %g, %g to %g, remaining %g", *f.Crossing, *f.CrossingLow, *f.CrossingHigh, *f.Remaining)
	}
}

// TestTrendFlatAndShort: what does not apply is left out, and no NaN is made.
func TestTrendFlatAndShort(t *testing.T) {
	flat := mustTrend(t, []float64{0, 100, 250, 300, 1e6}, []float64{0.1, 0.1, 0.1, 0.1, 0.1})
	if flat.Slope != 0 || flat.Intercept != 0.1 || flat.MedianSlope != 0 || flat.MedianIntercept != 0.1 ||
		*flat.ResidualSD != 0 || flat.R2 != nil || flat.Tau != nil {
		t.Errorf("%+v", flat)
	}
	two := mustTrend(t, []float64{2, 1}, []float64{5, 3})
	if two.Slope != 2 || two.Intercept != 1 || two.MedianSlope != 2 || two.MedianIntercept != 1 ||
		two.SlopeSD != nil || two.InterceptSD != nil || two.ResidualSD != nil || *two.R2 != 1 {
		t.Errorf("%+v", two)
	}
}

// TestTrendUnits: the order of the points, the unit of y and the zeros of both
// axes do not change what they should not.
func TestTrendUnits(t *testing.T) {
	d := driftOf(t)
	want := mustTrend(t, d.Strokes, d.Offset)
	crossing := mustForecast(t, want, d.Limit)
	random := rand.New(rand.NewPCG(7, 8))
	for _, c := range []struct {
		name              string
		scale, zeroX, upY float64
		relative          float64
	}{
		{"inches", 1 / 25.4, 0, 0, 1e-9},
		{"falling", -1, 0, 0, 1e-9},
		{"a later count", 1, 123456, 0, 1e-9},
		{"another height", 1, 0, 1e6, 1e-6},
	} {
		x, y := slices.Clone(d.Strokes), slices.Clone(d.Offset)
		random.Shuffle(len(x), func(i, j int) { x[i], x[j], y[i], y[j] = x[j], x[i], y[j], y[i] })
		for i := range x {
			x[i], y[i] = x[i]+c.zeroX, y[i]*c.scale+c.upY
		}
		got := mustTrend(t, x, y)
		near(t, c.name+": slope", got.Slope, want.Slope*c.scale, c.relative)
		near(t, c.name+": slope sd", *got.SlopeSD, *want.SlopeSD*math.Abs(c.scale), c.relative)
		near(t, c.name+": residual sd", *got.ResidualSD, *want.ResidualSD*math.Abs(c.scale), c.relative)
		near(t, c.name+": r2", *got.R2, *want.R2, c.relative)
		near(t, c.name+": median slope", got.MedianSlope, want.MedianSlope*c.scale, c.relative)
		near(t, c.name+": τ", math.Abs(*got.Tau), *want.Tau, c.relative)
		f := mustForecast(t, got, d.Limit*c.scale+c.upY)
		near(t, c.name+": crossing", *f.Crossing-c.zeroX, *crossing.Crossing, c.relative)
		near(t, c.name+": low", *f.CrossingLow-c.zeroX, *crossing.CrossingLow, c.relative)
		near(t, c.name+": high", *f.CrossingHigh-c.zeroX, *crossing.CrossingHigh, c.relative)
		near(t, c.name+": remaining", *f.Remaining, *crossing.Remaining, 10*c.relative)
	}
}

func TestTrendWrong(t *testing.T) {
	many := make([]float64, MostPoints+1)
	for i := range many {
		many[i] = float64(i)
	}
	for _, c := range []struct {
		name string
		x, y []float64
		says string
	}{
		{"nothing", nil, nil, "two or more"},
		{"one point", []float64{1}, []float64{2}, "1 point: want two"},
		{"an x without y", []float64{1, 2}, []float64{2}, "a y for each x"},
		{"all at one x", []float64{5, 5, 5}, []float64{1, 2, 3}, "all 3 points have x = 5"},
		{"no number", []float64{1, 2}, []float64{2, math.NaN()}, "point 2"},
		{"infinite", []float64{1, math.Inf(1)}, []float64{2, 3}, "point 2"},
		{"too near each other", []float64{1e-300, 2e-300}, []float64{0, 1}, "hardly differ"},
		{"too many", many, many, "5000 at most"},
	} {
		if got, err := TrendOf(c.x, c.y); err == nil || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%s: %+v, %v, want %q", c.name, got, err, c.says)
		}
	}
	trend := mustTrend(t, []float64{1, 2, 3}, []float64{1, 2, 3})
	if f, err := trend.Forecast(math.NaN()); err == nil {
		t.Errorf("%+v for a limit that is no number", f)
	}
}
