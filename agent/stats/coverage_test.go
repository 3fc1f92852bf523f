package stats

import (
	"encoding/csv"
	"math"
	"os"
	"strconv"
	"strings"
	"testing"
)

// TestCoverageTable is JCGM 100:2008 Table G.2, recomputed; six digits.
func TestCoverageTable(t *testing.T) {
	file, err := os.Open(references + "t_factors.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = file.Close() }()
	r := csv.NewReader(file)
	r.Comment = '#'
	rows, err := r.ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	for _, row := range rows[1:] {
		dof := number(t, row[0])
		for i, cell := range row[1:] {
			level := number(t, strings.TrimPrefix(rows[0][i+1], "p")) / 100
			got, err := Coverage(level, dof)
			if want := number(t, cell); err != nil || math.Abs(got-want) > 0.5e-6 {
				t.Errorf("Coverage(%g, %g) = %.6f, %v, want %.6f", level, dof, got, err, want)
			}
		}
	}
	if len(rows) < 20 {
		t.Errorf("%d rows", len(rows))
	}
}

func number(t *testing.T, s string) float64 {
	t.Helper()
	x, err := strconv.ParseFloat(s, 64)
	if err != nil {
		t.Fatal(err)
	}
	return x
}

// TestCoverageEndGauge is JCGM 100:2008 H.1.6: 16.76 degrees count as 16, and the
// factor printed is 2.92.
func TestCoverageEndGauge(t *testing.T) {
	var file struct {
		Expected struct {
			NuEff    float64 `json:"nu_eff"`
			T99, T95 float64
		}
		Published struct{ T99 float64 }
	}
	reference(t, "gum_h1_end_gauge.json", &file)
	for level, want := range map[float64]float64{0.99: file.Expected.T99, 0.95: file.Expected.T95} {
		got, err := Coverage(level, file.Expected.NuEff)
		if err != nil {
			t.Fatal(err)
		}
		near(t, "t", got, want, 1e-9)
		if whole, _ := Coverage(level, 16); whole != got {
			t.Errorf("%g degrees give %v, 16 give %v: want them truncated", file.Expected.NuEff, got, whole)
		}
	}
	if got, _ := Coverage(0.99, file.Expected.NuEff); math.Abs(got-file.Published.T99) > 0.005 {
		t.Errorf("%.4f, printed %.2f", got, file.Published.T99)
	}
}

// TestCoverageEnds: it falls with the degrees, without a step where the method
// changes, and down to the normal factor.
func TestCoverageEnds(t *testing.T) {
	before := math.Inf(1)
	for _, dof := range []float64{1, 2, 5, 100, 1e4, 1e5, 0.9e6, 1.1e6, 1e8, math.Inf(1)} {
		k, err := Coverage(0.95, dof)
		if err != nil || k >= before {
			t.Errorf("%g degrees: %.12f, %v, before it was %.12f", dof, k, err, before)
		}
		before = k
	}
	near(t, "normal", before, 1.959963984540054, 1e-12) // Φ⁻¹(0.975)
	for _, c := range []struct{ level, dof float64 }{
		{0.95, 0.99}, {0.95, 0}, {0.95, -3}, {0.95, math.NaN()}, {0, 5}, {1, 5}, {95, 5}, {math.NaN(), 5},
	} {
		if k, err := Coverage(c.level, c.dof); err == nil {
			t.Errorf("Coverage(%g, %g) = %g, want an error", c.level, c.dof, k)
		}
	}
}
