package stats

import (
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// TestCrossedR: sums of squares, tests and components agree with R's lm and
// anova to 1e-9, p values, which may be very small, to 1e-6.
func TestCrossedR(t *testing.T) {
	t.Parallel() // with another start of R
	random := rand.New(rand.NewPCG(9, 10))
	for name, rows := range map[string][]GaugeReading{
		"reference": studyA(t),
		"kept":      made(random, 8, 3, 2, 0.05, 0.01, 0.02, 0.003),
	} {
		file := filepath.Join(t.TempDir(), "study.csv")
		var text strings.Builder
		text.WriteString("part,appr,y\n")
		for _, r := range rows {
			_, _ = fmt.Fprintf(&text, "%s,%s,%s\n", r.Part, r.Appraiser, written(r.Value)[0]) // a builder does not fail
		}
		if err := os.WriteFile(file, []byte(text.String()), 0o600); err != nil {
			t.Fatal(err)
		}
		c, want := mustCross(t, rows), fromR(t, "gauge.R", "crossed", file)
		for _, source := range []string{"part", "appraiser", "interaction", "repeatability"} {
			row := c.row(t, source)
			near(t, name+": df of "+source, float64(row.DF), want[source+"_df"], 0)
			near(t, name+": ss of "+source, row.SS, want[source+"_ss"], 1e-9)
			near(t, name+": ms of "+source, *row.MS, want[source+"_ms"], 1e-9)
			if source != "repeatability" {
				near(t, name+": f of "+source, *row.F, want[source+"_f"], 1e-9)
				near(t, name+": p of "+source, *row.P, want[source+"_p"], 1e-6)
			}
		}
		if _, pooled := want["pooled_df"]; pooled != (c.Interaction == "pooled") {
			t.Errorf("%s: interaction %s", name, c.Interaction)
		} else if pooled {
			near(t, name+": pooled", *c.row(t, "pooled").MS, want["pooled_ms"], 1e-9)
		}
		for key, v := range map[string]float64{
			"repeatability_sd": c.Repeatability, "reproducibility_sd": c.Reproducibility, "gauge_sd": c.Gauge,
			"part_sd": c.Part, "total_sd": c.Total, "percent_study": c.PercentStudy,
		} {
			near(t, name+": "+key, v, want[key], 1e-9)
		}
	}
}

// TestFactorsR: the factors are those of the normal range's distribution, to the
// four digits that tables have.
func TestFactorsR(t *testing.T) {
	t.Parallel() // with another start of R
	want := fromR(t, "gauge.R", "factors")
	for n := 2; n <= 10; n++ {
		for kind, many := range map[string]bool{"k1": true, "k3": false} {
			exact := want[fmt.Sprintf("%s_%d", kind, n)]
			if got := factor(n, many); got < exact-0.5e-4 || got > exact+0.5e-4 {
				t.Errorf("%s of %d = %.4f, want %.6f", kind, n, got, exact)
			}
		}
	}
}

// TestType1R and TestLinearityR agree with R's t.test and lm to 1e-9; p values to
// 1e-6.
func TestType1R(t *testing.T) {
	t.Parallel() // with another start of R
	readings := []float64{17.004, 17.002, 17.001, 16.999, 17.005, 17.002, 16.998, 17.001}
	got, err := Type1Of(readings, 17, 0.2)
	if err != nil {
		t.Fatal(err)
	}
	want := fromR(t, "gauge.R", append([]string{"type1", "17", "0.2"}, written(readings...)...)...)
	for key, v := range map[string]float64{
		"mean": got.Mean, "sd": got.SD, "bias": got.Bias, "bias_t": got.BiasT, "bias_p": got.BiasP, "cg": got.Cg, "cgk": got.Cgk,
	} {
		near(t, key, v, want[key], 1e-9)
	}
}

func TestLinearityR(t *testing.T) {
	t.Parallel() // with another start of R
	references := []float64{10, 10, 10, 20, 20, 20, 40, 40, 40}
	readings := []float64{10.01, 10.02, 10.00, 20.01, 20.00, 20.03, 39.98, 40.01, 39.99}
	got, err := LinearityOf(references, readings)
	if err != nil {
		t.Fatal(err)
	}
	want := fromR(t, "gauge.R", "linearity", strings.Join(written(references...), ","), strings.Join(written(readings...), ","))
	for key, v := range map[string]float64{
		"slope": got.Slope, "intercept": got.Intercept, "slope_sd": got.SlopeSD, "intercept_sd": got.InterceptSD,
		"slope_t": *got.SlopeT, "intercept_t": *got.InterceptT, "slope_p": *got.SlopeP, "intercept_p": *got.InterceptP,
		"r2": *got.R2, "residual_sd": got.ResidualSD,
	} {
		near(t, key, v, want[key], 1e-9)
	}
	for _, b := range got.Biases {
		near(t, "bias", b.Bias, want[fmt.Sprintf("bias_%g", b.Reference)], 1e-9)
		near(t, "t of a bias", *b.T, want[fmt.Sprintf("t_%g", b.Reference)], 1e-9)
		near(t, "p of a bias", *b.P, want[fmt.Sprintf("p_%g", b.Reference)], 1e-9)
	}
}
