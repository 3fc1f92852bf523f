package crimp

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/integrate/quad"
	"gonum.org/v1/gonum/optimize"
	"gonum.org/v1/gonum/stat/distuv"
)

// wide is a specification whose limits are far from any aim.
var wide = Spec{Diameter: Inch, Plus: 100 * Thousandth, Minus: 100 * Thousandth, Recrimps: 1}

// TestAimFormulas checks the aims for costs that grow with the deviation
// against setup_adjustment.json (V3: computed by another program; the linear
// one is the quantile of the newsvendor's problem, an identity).
func TestAimFormulas(t *testing.T) {
	var file struct {
		Linear struct {
			Rows []struct {
				Under float64 `json:"cu"`
				Over  float64 `json:"co"`
				Aim   float64 `json:"aim_over_sigma"`
			}
		} `json:"asymmetric_linear_cost"`
		Quadratic struct {
			Rows []struct {
				Under float64 `json:"cu"`
				Over  float64 `json:"co"`
				Aim   float64 `json:"aim_over_sigma"`
			}
		} `json:"asymmetric_quadratic_cost"`
	}
	reference(t, "setup_adjustment.json", &file)
	const sd = 25_400
	normal := distuv.Normal{Sigma: 1}
	for _, r := range file.Linear.Rows {
		got := Costs{Linear, r.Under, r.Over}.Aim(wide, sd, 0) / sd
		near(t, "linear", got, r.Aim, 1e-9)
		if want := normal.Quantile(r.Under / (r.Under + r.Over)); math.Abs(got-want) > 1e-12 {
			t.Errorf("linear %g:%g is %g, Φ⁻¹ gives %g", r.Under, r.Over, got, want)
		}
	}
	for _, r := range file.Quadratic.Rows {
		near(t, "quadratic", Costs{Quadratic, r.Under, r.Over}.Aim(wide, sd, 0)/sd, r.Aim, 1e-9)
		near(t, "quadratic, other side", Costs{Quadratic, r.Over, r.Under}.Aim(wide, sd, 0)/sd, -r.Aim, 1e-9)
	}
	if len(file.Linear.Rows) != 5 || len(file.Quadratic.Rows) != 4 {
		t.Errorf("%d and %d rows, want 5 and 4", len(file.Linear.Rows), len(file.Quadratic.Rows))
	}
}

// TestAimAtLimitsCostsLeast: no other aim costs less, as gonum's minimizer finds
// it; and the closed form for a known case, worked by hand: limits ±5, 3:1.
func TestAimAtLimitsCostsLeast(t *testing.T) {
	near(t, "3:1 in ±5", Costs{AtLimits, 3, 1}.Aim(Spec{Plus: 5e6, Minus: 5e6, Recrimps: 1}, 1e6, 0)/1e6, math.Log(3)/10, 1e-12)
	for _, c := range []struct {
		plus, minus Length
		sd, scrap   float64
	}{{5, 5, 1, 10}, {5, 2, 1, 10}, {2, 5, 1.5, 3}, {3, 3, 2, 1.5}, {4, 4, 1, 1}, {5, 5, 1, 0.4}} {
		s := Spec{Plus: c.plus * Thousandth, Minus: c.minus * Thousandth, Recrimps: 1}
		sd := c.sd * float64(Thousandth)
		cost := func(aim float64) float64 {
			return c.scrap*normal((-float64(s.Minus)-aim)/sd) + normal((aim-float64(s.Plus))/sd)
		}
		got := Costs{AtLimits, c.scrap, 1}.Aim(s, sd, 0)
		if inside := min(max(got, -float64(s.Minus)), float64(s.Plus)); got != inside {
			t.Errorf("%+v: aim %g is outside of the limits", c, got)
		}
		best, err := optimize.Minimize(optimize.Problem{Func: func(x []float64) float64 { return math.Log(cost(x[0] * sd)) }},
			[]float64{got / sd}, nil, &optimize.NelderMead{})
		if err != nil {
			t.Fatal(err)
		}
		if math.Abs(best.X[0]*sd-got) > 0.01*sd && best.F < math.Log(cost(got))-1e-9 {
			t.Errorf("%+v: aim %.1f costs %g, %.1f costs %g", c, got, cost(got), best.X[0]*sd, math.Exp(best.F))
		}
	}
}

// TestQuadraticAimCostsLeast integrates the loss itself by quadrature.
func TestQuadraticAimCostsLeast(t *testing.T) {
	const under, over = 4, 1
	loss := func(aim float64) float64 {
		return quad.Fixed(func(z float64) float64 {
			y, cost := aim+z, float64(over)
			if y < 0 {
				cost = under
			}
			return cost * y * y * math.Exp(-z*z/2) / math.Sqrt(2*math.Pi)
		}, -10, 10, 4000, nil, 0)
	}
	aim := Costs{Quadratic, under, over}.Aim(wide, 1e5, 0) / 1e5
	for _, beside := range []float64{-0.05, 0.05} {
		if loss(aim+beside) <= loss(aim) {
			t.Errorf("an aim of %g costs %g, one of %g costs %g", aim, loss(aim), aim+beside, loss(aim+beside))
		}
	}
}

func TestAimKeepsInside(t *testing.T) {
	s := Spec{Plus: 5 * Thousandth, Minus: 5 * Thousandth, Recrimps: 1}
	sd, guard := float64(10*Thousandth), float64(2*Thousandth)
	for name, c := range map[string]struct {
		costs Costs
		spec  Spec
		guard float64
		want  Length
	}{
		"no costs told":                {Costs{}, s, guard, 0},
		"one cost alone says nothing":  {Costs{Shape: Linear, Scrap: 3}, s, guard, 0},
		"inside the guarded limit":     {Costs{Linear, 20, 1}, s, guard, 3 * Thousandth},
		"inside the lower one":         {Costs{Linear, 1, 20}, s, guard, -3 * Thousandth},
		"no room: the middle":          {Costs{Linear, 20, 1}, s, 6e5, 0},
		"no second stroke allowed":     {Costs{Linear, 20, 1}, Spec{Plus: s.Plus, Minus: s.Minus}, guard, 0},
		"the same at the limits":       {Costs{AtLimits, 20, 1}, Spec{Plus: 6 * Thousandth, Minus: 2 * Thousandth}, 0, 2 * Thousandth},
		"limits that leave one length": {Costs{AtLimits, 20, 1}, Spec{Recrimps: 1}, 0, 0},
	} {
		t.Run(name, func(t *testing.T) {
			if got := c.costs.Aim(c.spec, sd, c.guard); math.Abs(got-float64(c.want)) > 1e-6 {
				t.Errorf("aim %g, want %d", got, c.want)
			}
		})
	}
}

// TestNextAims: the advice follows the aim, and the dead band is about it.
func TestNextAims(t *testing.T) {
	scale := Scale{Step: Thousandth, Highest: 999}
	e := Estimate{Offset: float64(3 * Thousandth), N: 4}
	if a := scale.Next(e, float64(Thousandth), 120, 120, 0); a.Setting != 118 {
		t.Errorf("setting %d, want 118: three too large, one of it wanted", a.Setting)
	}
	if a := scale.Next(e, float64(3*Thousandth), 120, 120, Thousandth); !a.Held || a.Change != 0 {
		t.Errorf("%+v, want the dead band about the aim to hold", a)
	}
	if a := (Scale{Step: Thousandth, Smaller: true, Highest: 999}).Next(e, float64(Thousandth), 120, 120, 0); a.Setting != 122 {
		t.Errorf("setting %d, want 122 where larger settings crimp smaller", a.Setting)
	}
}
