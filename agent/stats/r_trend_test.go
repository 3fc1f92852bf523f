package stats

import (
	"strings"
	"testing"
)

// TestTrendR: the lines agree with R to 1e-9. The bounds of the crossing, which R
// searches for where its own prediction interval meets the limit, to 1e-7.
func TestTrendR(t *testing.T) {
	t.Parallel() // with another start of R
	d := driftOf(t)
	for name, c := range map[string]struct {
		x, y  []float64
		limit float64
	}{
		"reference":          {d.Strokes, d.Offset, d.Limit},
		"falling, with ties": {[]float64{40, 10, 20, 30, 0, 50, 50, 20}, []float64{29.9, 30.35, 30.2, 30.1, 30.4, 29.8, 29.8, 30.2}, 29},
	} {
		got := mustTrend(t, c.x, c.y)
		f := mustForecast(t, got, c.limit)
		if f.Crossing == nil {
			t.Fatalf("%s: %s", name, f.Reason)
		}
		want := fromR(t, "trend.R", strings.Join(written(c.x...), ","), strings.Join(written(c.y...), ","), written(c.limit)[0])
		for key, v := range map[string]float64{
			"slope": got.Slope, "intercept": got.Intercept, "slope_sd": *got.SlopeSD, "intercept_sd": *got.InterceptSD,
			"residual_sd": *got.ResidualSD, "r2": *got.R2,
			"median_slope": got.MedianSlope, "median_intercept": got.MedianIntercept, "kendall_tau": *got.Tau, "crossing": *f.Crossing,
		} {
			near(t, name+": "+key, v, want[key], 1e-9)
		}
		near(t, name+": low", *f.CrossingLow, want["crossing_low"], 1e-7)
		near(t, name+": high", *f.CrossingHigh, want["crossing_high"], 1e-7)
		near(t, name+": remaining", *f.Remaining, max(0, want["remaining"]), 1e-9)
	}
}
