package study

import (
	"encoding/json"
	"math"
	"math/rand/v2"
	"os"
	"strings"
	"testing"

	"benchtally/agent/crimp"
	"gonum.org/v1/gonum/stat"
)

// reference reads a file of check values; each carries its source and how far
// its digits are to be trusted.
func reference(t *testing.T, name string, v any) {
	t.Helper()
	b, err := os.ReadFile("../../../testdata/references/" + name)
	if err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(b, v); err != nil {
		t.Fatalf("%s: %v", name, err)
	}
}

func near(t *testing.T, what string, got, want, within float64) {
	t.Helper()
	if !(math.Abs(got-want) <= within) {
		t.Errorf("%s is %.10g, want %.10g ± %.2g", what, got, want, within)
	}
}

// fine is a setting with a wide range and with counts of a nanometre, so that the
// rules are met without rounding; one is a unit of the draws.
var fine = crimp.Scale{Step: crimp.Nanometre, Lowest: math.MinInt32, Highest: math.MaxInt32}

const one = crimp.Millimetre

// back moves by the whole error, from the target's setting: rule 3.
func back(s crimp.Scale, _, _ int, deviation crimp.Length) int {
	return target + s.Counts(-float64(deviation))
}

// follow goes to where the latest piece came out: rule 4.
func follow(s crimp.Scale, _, _ int, deviation crimp.Length) int {
	return target + s.Counts(float64(deviation))
}

// integral moves by a share of the error.
func integral(share float64) func(crimp.Scale, int, int, crimp.Length) int {
	return func(s crimp.Scale, _, setting int, deviation crimp.Length) int {
		return setting + s.Counts(-share*float64(deviation))
	}
}

// drop gives the deviations, in ones, of pieces that chance throws so far from
// where they are aimed, under a rule of moving.
func drop(draws []float64, move func(crimp.Scale, int, int, crimp.Length) int) []float64 {
	r := rule{scale: fine, move: move}
	setting := r.begin()
	out := make([]float64, len(draws))
	for i, d := range draws {
		deviation := fine.Change(setting-target) + crimp.Length(math.Round(d*float64(one)))
		out[i] = float64(deviation) / float64(one)
		setting = r.next(setting, deviation, i+1)
	}
	return out
}

// TestFunnel drops the 100 public draws under the four rules of the funnel:
// funnel.json (Deming, Out of the Crisis, 1986; draws and printed results of
// rules 1 to 3 seen second-hand and recomputed, V1; rule 4 computed by another
// program, V3). The policies of the study are rules 1 and 2.
func TestFunnel(t *testing.T) {
	var file struct {
		Draws    []float64
		Expected []struct {
			Rule      int
			Mean      float64
			SDn       float64 `json:"sd_n"`
			SDnMinus1 float64 `json:"sd_n_minus_1"`
		}
		Published map[string][]json.Number `json:"published_n_minus_1"`
	}
	reference(t, "funnel.json", &file)
	if len(file.Draws) != 100 || len(file.Expected) != 4 || len(file.Published) != 3 {
		t.Fatalf("%d draws, %d results, %d printed", len(file.Draws), len(file.Expected), len(file.Published))
	}
	moves := []func(crimp.Scale, int, int, crimp.Length) int{alone, whole, back, follow}
	names := []string{"rule1", "rule2", "rule3", "rule4"}
	for _, want := range file.Expected {
		name := names[want.Rule-1]
		mean, sd := stat.MeanStdDev(drop(file.Draws, moves[want.Rule-1]), nil)
		n := float64(len(file.Draws))
		near(t, name+" mean", mean, want.Mean, 1e-9)
		near(t, name+" sd (n−1)", sd, want.SDnMinus1, 1e-9*sd)
		near(t, name+" sd (n)", sd*math.Sqrt((n-1)/n), want.SDn, 1e-9*sd)
		for i, printed := range file.Published[name] {
			digits := len(printed.String()) - 1 - strings.Index(printed.String(), ".")
			value, err := printed.Float64()
			if err != nil {
				t.Fatal(err)
			}
			near(t, name+" as printed", []float64{mean, sd}[i], value, 0.5000001*math.Pow10(-digits))
		}
	}
}

// TestFunnelVariances: on noise alone moving by the whole error doubles the
// variance, a share λ gives 2/(2−λ) times it, and rules 3 and 4 give n times
// it at the n-th piece (funnel.json and setup_adjustment.json, V3; identities).
// The standard errors come from independent runs.
func TestFunnelVariances(t *testing.T) {
	var file struct {
		Integral struct {
			VarRatio []struct{ Lambda, Value float64 } `json:"var_ratio"`
		} `json:"integral_on_white_noise"`
	}
	reference(t, "setup_adjustment.json", &file)
	var theory struct {
		Theory struct {
			Rule2 float64 `json:"rule2_var_ratio"`
		}
	}
	reference(t, "funnel.json", &theory)
	random := rand.New(rand.NewPCG(seed, 1))
	draws := func(n int) []float64 {
		out := make([]float64, n)
		for i := range out {
			out[i] = random.NormFloat64()
		}
		return out
	}
	// squares is the mean square of the pieces from the first counted one on.
	squares := func(name string, want float64, n, counted int, move func(crimp.Scale, int, int, crimp.Length) int) {
		t.Helper()
		runs := make([]float64, 400)
		for i := range runs {
			for _, y := range drop(draws(n), move)[counted:] {
				runs[i] += y * y / float64(n-counted)
			}
		}
		mean, sd := stat.MeanStdDev(runs, nil)
		near(t, name, mean, want, 3*sd/math.Sqrt(float64(len(runs))))
	}
	squares("rule 1", 1, 200, 1, alone)
	squares("rule 2", theory.Theory.Rule2, 200, 1, whole)
	squares("rule 3 at the 20th", 20, 20, 19, back)
	squares("rule 4 at the 20th", 20, 20, 19, follow)
	for _, r := range file.Integral.VarRatio {
		squares("a share of the error", r.Value, 400, 200, integral(r.Lambda))
	}
	same, d := integral(1), draws(50)
	for i, y := range drop(d, same) {
		if y != drop(d, whole)[i] {
			t.Fatal("the share 1 is not the whole error")
		}
	}
}
