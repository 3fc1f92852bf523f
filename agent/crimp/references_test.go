package crimp

import (
	"encoding/json"
	"math"
	"os"
	"testing"

	"gonum.org/v1/gonum/stat/distuv"
)

// reference reads a file of check values; each carries its source and how far
// its digits are to be trusted.
func reference(t *testing.T, name string, v any) {
	t.Helper()
	b, err := os.ReadFile("../../testdata/references/" + name)
	if err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(b, v); err != nil {
		t.Fatalf("%s: %v", name, err)
	}
}

func near(t *testing.T, what string, got, want, relative float64) {
	t.Helper()
	if math.Abs(got-want) > relative*math.Max(math.Abs(want), 1e-300) {
		t.Errorf("%s = %.15g, want %.15g", what, got, want)
	}
}

// TestConformity checks the conformance probability against the worked examples
// of JCGM 106:2012 clause 7, to the digits recomputed and to those printed.
func TestConformity(t *testing.T) {
	var file struct {
		Cases []struct {
			ID              string
			Y, U            float64
			TL, TU          *float64
			ExpectedPC      float64 `json:"expected_pc"`
			PublishedPC     float64 `json:"published_pc"`
			ExpectedZ       json.RawMessage
			Expected        []map[string]float64
			ExpectedGOverU  float64   `json:"expected_g_over_u"`
			PublishedGOverU float64   `json:"published_g_over_u"`
			PublishedZ      []float64 `json:"published_z"`
		}
	}
	reference(t, "decision_rules.json", &file)
	checked := 0
	for _, c := range file.Cases {
		switch c.ID {
		case "jcgm106-zener", "jcgm106-oil":
			lower := math.Inf(-1)
			if c.TL != nil {
				lower = *c.TL
			}
			got := Conformity(c.Y, c.U, lower, *c.TU)
			near(t, c.ID, got, c.ExpectedPC, 1e-9)
			if math.Abs(got-c.PublishedPC) > 0.005 {
				t.Errorf("%s: %.4f, printed %.2f", c.ID, got, c.PublishedPC)
			}
		case "jcgm106-one-sided-z":
			for i, e := range c.Expected {
				near(t, c.ID, Z(e["pc"]), e["z"], 1e-9)
				if math.Abs(Z(e["pc"])-c.PublishedZ[i]) > 0.005 {
					t.Errorf("z(%g) = %.4f, printed %.2f", e["pc"], Z(e["pc"]), c.PublishedZ[i])
				}
			}
		case "iso14253-guard-factor":
			near(t, c.ID, Z(0.95), c.ExpectedGOverU, 1e-9)
			if math.Abs(Z(0.95)-c.PublishedGOverU) > 0.006 { // printed 1.65, rounded up
				t.Errorf("guard factor %.4f, printed %.2f", Z(0.95), c.PublishedGOverU)
			}
		case "ilac-g8-guard":
			// On the acceptance limit, w = r·2u inside the tolerance limit, the
			// risk of accepting wrongly is 1 − pc with one limit far away.
			for _, e := range c.Expected {
				near(t, c.ID, 1-Conformity(-e["r"]*2, 1, math.Inf(-1), 0), e["pfa"], 2e-7)
			}
		case "crimp-scale":
			for _, e := range c.Expected {
				near(t, c.ID, Conformity(e["y"], 1, -5, 5), e["pc"], 1e-9)
			}
		default:
			continue
		}
		checked++
	}
	if checked != 6 {
		t.Errorf("%d cases checked, want 6", checked)
	}
}

// TestNormalAgainstGonum: a general-purpose library agrees.
func TestNormalAgainstGonum(t *testing.T) {
	n := distuv.Normal{Sigma: 1}
	for _, p := range []float64{0.5, 0.8, 0.9, 0.95, 0.99, 0.9999} {
		near(t, "Z", Z(p), n.Quantile(p), 1e-12)
	}
	for z := -8.0; z <= 8; z += 0.25 {
		near(t, "normal", normal(z), n.CDF(z), 1e-11)
	}
}

// TestHarmonicRule: after part n the setting moves by −y/n. An identity, so no
// randomness is needed: after n parts the shift is −(offset + mean noise).
// Grubbs 1954, reprinted Journal of Quality Technology 15 (1983), not seen.
func TestHarmonicRule(t *testing.T) {
	var file struct {
		Harmonic struct {
			Offset float64
			Trace  []struct {
				N              int
				Noise, Y       float64
				SettingShift   float64 `json:"setting_shift"`
				SettingShiftOK bool    `json:"-"`
			}
		}
		Kalman struct {
			Table []struct {
				Ratio float64   `json:"ratio_s02_s2"`
				K     []float64 `json:"K"`
				P     []float64 `json:"P_over_s2"`
			}
		}
	}
	reference(t, "setup_adjustment.json", &file)
	m := Model{Noise: 1}
	var e Estimate
	shift := 0.0
	for _, step := range file.Harmonic.Trace {
		y := file.Harmonic.Offset + step.Noise + shift
		if math.Abs(y-step.Y) > 1e-8 {
			t.Errorf("part %d: y = %v, want %v", step.N, y, step.Y)
		}
		e = m.Update(e, y-shift, step.N) // what is learned is the offset, whatever was dialled
		shift = -e.Offset
		if math.Abs(shift-step.SettingShift) > 1e-8 {
			t.Errorf("part %d: shift %v, want %v", step.N, shift, step.SettingShift)
		}
	}
	for _, row := range file.Kalman.Table {
		m := Model{PriorKnown: true, Prior: math.Sqrt(row.Ratio), Noise: 1}
		var e Estimate
		for i, k := range row.K {
			before := e.Offset
			const surprise = 10
			e = m.Update(e, before+surprise, i)
			near(t, "gain", (e.Offset-before)/surprise, k, 1e-9)
			near(t, "gain identity", k, 1/(float64(i+1)+1/row.Ratio), 1e-12)
			near(t, "variance", e.Variance, row.P[i], 1e-9)
		}
	}
}

// TestDriftKeepsTheGainAlive: with drift the gain does not die to 1/n.
func TestDriftKeepsTheGainAlive(t *testing.T) {
	m := Model{Noise: 1, Drift: 0.5}
	var e Estimate
	for i := range 200 {
		e = m.Update(e, 0, i)
	}
	// Steady state of the scalar Riccati equation, P = (−q+√(q²+4q))/2 after the
	// update with σ = 1 and q = 0.25: worked by hand.
	q := 0.25
	near(t, "variance", e.Variance, (-q+math.Sqrt(q*q+4*q))/2, 1e-9)
}
