package stats

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"
)

// TestGlobalRisk is the example of JCGM 106:2012 clause 9.5, recomputed.
func TestGlobalRisk(t *testing.T) {
	var file struct {
		Cases []struct {
			ID                     string
			Y0, U0, UM             float64
			TL, TU, AL, AU         float64
			Process                float64 `json:"expected_process_pc"`
			ExpectedRC, ExpectedRP float64
			RC                     float64 `json:"expected_RC"`
			RP                     float64 `json:"expected_RP"`
		}
	}
	reference(t, "decision_rules.json", &file)
	var inputs struct{ mean, sd, u float64 }
	var limits Interval
	checked := 0
	for _, c := range file.Cases {
		acceptance := limits
		switch c.ID {
		case "jcgm106-resistor-guarded":
			inputs.mean, inputs.sd, inputs.u, limits = c.Y0, c.U0, c.UM, Interval{c.TL, c.TU}
			acceptance = Interval{c.AL, c.AU}
			if g := limits.Guarded(0.02); math.Abs(g.Lower-c.AL) > 1e-9 || math.Abs(g.Upper-c.AU) > 1e-9 {
				t.Errorf("guarded limits %v", g)
			}
		case "resistor-unguarded": // the same inputs
		default:
			continue
		}
		checked++
		r, err := GlobalRisk(inputs.mean, inputs.sd, inputs.u, limits, acceptance)
		if err != nil {
			t.Fatal(err)
		}
		near(t, c.ID+": passed though outside", r.WrongPass, c.RC, 1e-9)
		near(t, c.ID+": rejected though within", r.WrongReject, c.RP, 1e-9)
		if c.Process != 0 {
			near(t, "within", r.Conforming, c.Process, 1e-9)
		}
	}
	if checked != 2 {
		t.Errorf("%d cases", checked)
	}
}

// TestGlobalRiskAddsUp: pieces that pass are those within, less the ones wrongly
// rejected, and the ones wrongly passed; and as the measured values are normal
// themselves, with sd² + u², their share is known without an integral.
func TestGlobalRiskAddsUp(t *testing.T) {
	random := rand.New(rand.NewPCG(3, 4))
	for range 300 {
		mean, sd := random.NormFloat64(), math.Exp(2*random.NormFloat64())
		u := sd * math.Exp(3*random.NormFloat64())
		lower := mean + 3*sd*random.NormFloat64()
		limits := Interval{lower, lower + 5*sd*random.ExpFloat64()}
		acceptance := Interval{limits.Lower + u*random.NormFloat64(), 0}
		acceptance.Upper = acceptance.Lower + 5*(sd+u)*random.ExpFloat64()
		switch random.IntN(6) {
		case 0:
			limits.Lower, acceptance.Lower = math.Inf(-1), math.Inf(-1)
		case 1:
			limits.Upper, acceptance.Upper = math.Inf(1), math.Inf(1)
		}
		r, err := GlobalRisk(mean, sd, u, limits, acceptance)
		if err != nil {
			t.Fatal(err)
		}
		total := math.Hypot(sd, u)
		pass := normalBetween((acceptance.Lower-mean)/total, (acceptance.Upper-mean)/total)
		if got := r.Conforming - r.WrongReject + r.WrongPass; math.Abs(got-pass) > 1e-9 {
			t.Errorf("mean %g sd %g u %g %v %v: %g pass, want %g", mean, sd, u, limits, acceptance, got, pass)
		}
		if r.WrongPass < 0 || r.WrongReject < 0 {
			t.Errorf("%+v", r)
		}
	}
}

func TestGlobalRiskWrong(t *testing.T) {
	wide := Interval{-3, 3}
	for _, c := range []struct {
		mean, sd, u float64
		limits      Interval
		acceptance  Interval
		says        string
	}{
		{0, 0, 1, wide, wide, "standard deviation of 0"},
		{0, 1, 0, wide, wide, "uncertainty of 0"},
		{0, 1, math.NaN(), wide, wide, "uncertainty of NaN"},
		{math.Inf(1), 1, 1, wide, wide, "mean"},
		{0, 1, 1, Interval{3, -3}, wide, "lower one first"},
		{0, 1, 1, wide, wide.Guarded(3), "leave nothing"},
	} {
		r, err := GlobalRisk(c.mean, c.sd, c.u, c.limits, c.acceptance)
		if err == nil || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%+v, %v, want %q", r, err, c.says)
		}
	}
}
