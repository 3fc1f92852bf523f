package rehearsal

import (
	"math"
	"math/rand/v2"
	"testing"

	"benchtally/agent/crimp"
)

// mean is the mean diameter of n new fittings, in thousandths above the target.
func mean(m *metal, s crimp.Spec, setting, n int) float64 {
	sum := 0.0
	for range n {
		f := m.fitting()
		m.close(f, s, setting)
		sum += (f.size - float64(s.Diameter)) / perUnit
	}
	return sum / float64(n)
}

func TestMetal(t *testing.T) {
	m := newMetal(rand.New(rand.NewPCG(1, 1)))
	small, large := spec("hs-04"), spec("hs-08")
	// Of 400 pieces that scatter by half a thousandth the mean lies within
	// 0.1 thousandths, four standard deviations.
	for _, tt := range []struct {
		name    string
		setting int
		want    float64
	}{{"as the sheet says", 120, 35}, {"thirty-five counts less", 85, 0}, {"one count more", 86, 1}} {
		if got := mean(m, large, tt.setting, 400); math.Abs(got-tt.want) > 0.1 {
			t.Errorf("%s: %.2f thousandths above the target, want %g", tt.name, got, tt.want)
		}
	}

	f := m.fitting()
	m.close(f, large, 85)
	size := f.size
	if m.close(f, large, 120); f.size != size {
		t.Error("opening the dies made a crimp larger")
	}
	if m.close(f, large, 60); f.size > size-20*perUnit {
		t.Error("closing the dies further did not make it smaller")
	}
	if m.close(nil, small, 0); m.cages["C-16"].strokes != 1 {
		t.Error("a dry stroke does not wear the cage")
	}

	drifting := spec("hs-12")
	fresh := mean(m, drifting, drifting.Setting, 100)
	if worn := mean(m, drifting, drifting.Setting, 100); worn-fresh < 11 || worn-fresh > 13 {
		t.Errorf("a hundred strokes make %.2f thousandths, want 12", worn-fresh)
	}
	m.grease("C-30")
	m.grease("C-99")
	if again := mean(m, drifting, drifting.Setting, 100); math.Abs(again-fresh) > 0.3 {
		t.Errorf("after greasing it is %.2f thousandths, was %.2f", again, fresh)
	}
}

// Three places around a crimp give its mean diameter.
func TestFittingIsMeasuredAllAround(t *testing.T) {
	for phase := 0.0; phase < math.Pi; phase += 0.1 {
		f := &fitting{size: 30e6, phase: phase}
		sum := f.diameter(0) + f.diameter(1) + f.diameter(2)
		if d := sum - 90e6; d < -2 || d > 2 {
			t.Errorf("phase %.1f: the mean is off by %d nm", phase, d/3)
		}
		for place := range 3 {
			if d := math.Abs(float64(f.diameter(place)) - f.size); d > lobing+1 {
				t.Errorf("phase %.1f, place %d: off by %.0f nm", phase, place, d)
			}
		}
	}
}
