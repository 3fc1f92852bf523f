package study

import (
	"math"
	"math/rand/v2"
	"testing"

	"benchtally/agent/crimp"
	"gonum.org/v1/gonum/integrate/quad"
	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat"
	"gonum.org/v1/gonum/stat/distuv"
)

// bounded is what a dead band does when the offset is a random walk under
// noise: the forecast moves by a normal step of λσ from piece to piece, and is
// taken out when it is as large as the band. Band is in λσ.
type bounded struct {
	Band     float64 `json:"L_over_lambda_sigma"`
	Interval float64 `json:"AAI"`                                  // mean number of pieces from change to change
	Square   float64 `json:"mean_sq_forecast_over_lambda2_sigma2"` // mean square of the forecast that is left in
}

func boundedTable(t *testing.T) []bounded {
	t.Helper()
	var file struct {
		Bounded struct{ Rows []bounded } `json:"bounded_adjustment"`
	}
	reference(t, "setup_adjustment.json", &file)
	if len(file.Bounded.Rows) != 8 {
		t.Fatalf("%d rows, want 8", len(file.Bounded.Rows))
	}
	return file.Bounded.Rows
}

// TestBoundedAdjustmentExactly solves the integral equations of the dead band,
// f(x) = g(x) + ∫ f(y)φ(y−x)dy over the band, with g = 1 for the pieces and
// g = x² for the squares until a change, by Gauss and Legendre's nodes. The
// table was computed in the same way by another program (V3); Box and Luceño
// (1997; not seen) give approximations of it.
func TestBoundedAdjustmentExactly(t *testing.T) {
	const n = 80
	normal := distuv.UnitNormal
	for _, want := range boundedTable(t) {
		nodes, weights := make([]float64, n), make([]float64, n)
		quad.Legendre{}.FixedLocations(nodes, weights, -want.Band, want.Band)
		left, right := mat.NewDense(n, n, nil), mat.NewDense(n, 2, nil)
		for i, x := range nodes {
			for j, y := range nodes {
				left.Set(i, j, -weights[j]*normal.Prob(y-x))
			}
			left.Set(i, i, 1+left.At(i, i))
			right.Set(i, 0, 1)
			right.Set(i, 1, x*x)
		}
		var f mat.Dense
		if err := f.Solve(left, right); err != nil {
			t.Fatal(err)
		}
		interval, squares := 1.0, 0.0 // from 0, where a change puts it
		for j, y := range nodes {
			interval += weights[j] * normal.Prob(y) * f.At(j, 0)
			squares += weights[j] * normal.Prob(y) * f.At(j, 1)
		}
		near(t, "interval", interval, want.Interval, 1e-9*want.Interval)
		near(t, "mean square", squares/interval, want.Square, 1e-9*want.Square)
	}
}

// TestHoldIsBoundedAdjustment: the product's filter with a drift, and its dead
// band, behave as that table says, within three standard errors.
func TestHoldIsBoundedAdjustment(t *testing.T) {
	const lambda = 0.3 // gain of the filter
	// The table's σ is that of the forecast's errors, P⁻ + noise². The gain is λ
	// from the first piece on when P⁻ = λσ² before each piece, which is
	// λ(1−λ)σ² after it.
	sigma := float64(one)
	model := crimp.Model{
		PriorKnown: true, Prior: sigma * math.Sqrt(lambda),
		Noise: sigma * math.Sqrt(1-lambda), Drift: sigma * lambda,
	}
	for _, want := range boundedTable(t) {
		random := rand.New(rand.NewPCG(seed, uint64(want.Band*10)))
		o := ours{scale: fine, model: model, hold: crimp.Length(math.Round(want.Band * lambda * sigma))}
		offset := model.Prior * random.NormFloat64()
		setting, pieces, squares := o.begin(), 0.0, 0.0
		var intervals, sums []float64
		for stroke := range 60_000 {
			deviation := fine.Change(setting-target) + crimp.Length(math.Round(offset+model.Noise*random.NormFloat64()))
			next := o.next(setting, deviation, stroke)
			left := (o.estimate.Offset + float64(fine.Change(next-target))) / (lambda * sigma)
			pieces++
			squares += left * left
			if next != setting {
				intervals, sums = append(intervals, pieces), append(sums, squares)
				pieces, squares = 0, 0
			}
			setting = next
			offset += model.Drift * random.NormFloat64()
		}
		n := float64(len(intervals))
		mean, sd := stat.MeanStdDev(intervals, nil)
		near(t, "interval", mean, want.Interval, 3*sd/math.Sqrt(n))
		square := stat.Mean(sums, nil) / mean
		for i := range sums {
			sums[i] -= square * intervals[i]
		}
		near(t, "mean square", square, want.Square, 3*stat.StdDev(sums, nil)/mean/math.Sqrt(n))
	}
}
