package crimp

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
)

func mustPressure(t *testing.T, s string) Pressure {
	t.Helper()
	p, err := ParsePressure(s)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// TestProofReference checks figures of ISO 6605 and SAE J517 in proof_angle.json.
func TestProofReference(t *testing.T) {
	var file struct {
		Proof struct {
			Factor   int
			Shortest int `json:"shortest_s"`
			Longest  int `json:"longest_s"`
			Rows     []struct {
				Working int `json:"working_psi"`
				Proof   int `json:"proof_psi"`
				Burst   int `json:"burst_psi"`
			}
		}
	}
	reference(t, "proof_angle.json", &file)
	ref := file.Proof
	if ref.Factor != proofFactor || ref.Shortest != shortestHold || ref.Longest != longestHold || len(ref.Rows) < 2 {
		t.Errorf("%+v in the file", ref)
	}
	for _, row := range ref.Rows {
		p := Proof{
			Working:  mustPressure(t, fmt.Sprint(row.Working, "psi")),
			Pressure: mustPressure(t, fmt.Sprint(row.Proof, "psi")),
		}
		for _, p.Hold = range []int{ref.Shortest, 45, ref.Longest} {
			if ok, reason := p.Check(); !ok || reason != "" {
				t.Errorf("%d psi of %d psi, %d s: %v, %q", row.Proof, row.Working, p.Hold, ok, reason)
			}
		}
		p.Hold = ref.Shortest - 1
		if ok, _ := p.Check(); ok {
			t.Errorf("%d s are a test", p.Hold)
		}
		p.Hold = ref.Longest + 1
		if ok, reason := p.Check(); !ok || reason == "" {
			t.Errorf("%d s: %v, %q, want a remark", p.Hold, ok, reason)
		}
		p.Hold = ref.Longest
		p.Pressure = mustPressure(t, fmt.Sprint(row.Burst, "psi"))
		if ok, reason := p.Check(); !ok || !strings.Contains(reason, "more than 2.2 times") {
			t.Errorf("tested at the burst pressure: %v, %q", ok, reason)
		}
	}
}

// TestProofOfEveryPSI: rounding of pounds per square inch never decides. Twice as
// many are enough and one less is too little, for each whole number up to 20,000.
func TestProofOfEveryPSI(t *testing.T) {
	most := Pressure(0)
	for n := 1; n <= 20_000; n++ {
		working := mustPressure(t, fmt.Sprint(n, "psi"))
		twice := mustPressure(t, fmt.Sprint(2*n, "psi"))
		most = max(most, 2*working-twice)
		if faults := (Proof{working, twice, 30}).Faults(); faults != nil {
			t.Fatalf("twice %d psi: %v", n, faults)
		}
		if n == 1 {
			continue // one less than two is not even more than the working pressure
		}
		faults := (Proof{working, mustPressure(t, fmt.Sprint(2*n-1, "psi")), 30}).Faults()
		if len(faults) != 1 {
			t.Fatalf("%d psi for %d psi: %v, want one fault", 2*n-1, n, faults)
		}
	}
	if most != proofSlack {
		t.Errorf("rounding takes off up to %d Pa, %d are allowed for", most, proofSlack)
	}
}

func TestProof(t *testing.T) {
	const working = 350 * Bar
	for _, c := range []struct {
		name            string
		p               Proof
		faults, remarks []string
		ok              bool
	}{
		{name: "as asked", p: Proof{working, 700 * Bar, 30}, ok: true},
		{name: "as long as asked", p: Proof{working, 700 * Bar, 60}, ok: true},
		{name: "a pascal less", p: Proof{working, 700*Bar - 1, 30}, ok: true},
		{name: "two pascals less", p: Proof{working, 700*Bar - 2, 30}, faults: []string{"699.99998 bar is less than twice the working pressure of 350 bar (700 bar)"}},
		{name: "too low", p: Proof{working, 690 * Bar, 30}, faults: []string{"690 bar is less than twice the working pressure of 350 bar (700 bar)"}},
		{name: "none", p: Proof{working, 0, 30}, faults: []string{"0 bar is less than twice the working pressure of 350 bar (700 bar)"}},
		{name: "too short", p: Proof{working, 700 * Bar, 29}, faults: []string{"held 29 s: want 30 s to 60 s"}},
		{name: "not held", p: Proof{working, 700 * Bar, 0}, faults: []string{"held 0 s: want 30 s to 60 s"}},
		{name: "both", p: Proof{working, 690 * Bar, 20}, faults: []string{"690 bar is less than twice the working pressure of 350 bar (700 bar)", "held 20 s: want 30 s to 60 s"}},
		{name: "too long", p: Proof{working, 700 * Bar, 61}, ok: true, remarks: []string{"held 61 s: want 30 s to 60 s"}},
		{name: "as high as may be", p: Proof{working, 770 * Bar, 30}, ok: true},
		{name: "a pascal higher", p: Proof{working, 770*Bar + 1, 30}, ok: true, remarks: []string{"770.00001 bar is more than 2.2 times the working pressure of 350 bar (770 bar)"}},
		{name: "much higher", p: Proof{working, 800 * Bar, 30}, ok: true, remarks: []string{"800 bar is more than 2.2 times the working pressure of 350 bar (770 bar)"}},
		{name: "higher and longer", p: Proof{working, 800 * Bar, 90}, ok: true, remarks: []string{"800 bar is more than 2.2 times the working pressure of 350 bar (770 bar)", "held 90 s: want 30 s to 60 s"}},
		{name: "low and longer", p: Proof{working, 690 * Bar, 90}, faults: []string{"690 bar is less than twice the working pressure of 350 bar (700 bar)"}, remarks: []string{"held 90 s: want 30 s to 60 s"}},
		{name: "in psi", p: Proof{mustPressure(t, "5000psi"), mustPressure(t, "9999psi"), 30}, faults: []string{"9999 psi is less than twice the working pressure of 5000 psi (10000 psi)"}},
		{name: "nothing to compare with", p: Proof{0, 700 * Bar, 30}, faults: []string{"no working pressure is given"}},
		{name: "less than nothing", p: Proof{-1, 700 * Bar, 30}, faults: []string{"no working pressure is given"}},
		{name: "the smallest", p: Proof{1, 1, 30}, ok: true},
		{name: "three of the smallest", p: Proof{1, 3, 30}, ok: true, remarks: []string{"0.00003 bar is more than 2.2 times the working pressure of 0 bar (0.00002 bar)"}},
		{name: "the largest", p: Proof{MostPressure, MostPressure, 30}, faults: []string{"10000 bar is less than twice the working pressure of 10000 bar (20000 bar)"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			if got := c.p.Faults(); !slices.Equal(got, c.faults) {
				t.Errorf("faults %q, want %q", got, c.faults)
			}
			if got := c.p.Remarks(); !slices.Equal(got, c.remarks) {
				t.Errorf("remarks %q, want %q", got, c.remarks)
			}
			ok, reason := c.p.Check()
			if want := strings.Join(slices.Concat(c.faults, c.remarks), "; "); ok != c.ok || reason != want {
				t.Errorf("%v, %q, want %v, %q", ok, reason, c.ok, want)
			}
		})
	}
}

// TestProofRises: more pressure never adds a fault nor takes a remark away, and the
// two never go together; whoever reads a sentence sees two different pressures.
func TestProofRises(t *testing.T) {
	random := rand.New(rand.NewPCG(66, 5))
	for range 20_000 {
		working := 1 + Pressure(random.Int64N(int64(MostPressure)))
		p := Proof{Working: working, Hold: 45}
		edge := []Pressure{2 * working, 22 * working / 10}[random.IntN(2)]
		p.Pressure = max(1, edge+Pressure(random.Int64N(41)-20))
		higher := p
		higher.Pressure++
		if len(higher.Faults()) > len(p.Faults()) || len(higher.Remarks()) < len(p.Remarks()) {
			t.Fatalf("%+v: %q %q, a pascal more: %q %q", p, p.Faults(), p.Remarks(), higher.Faults(), higher.Remarks())
		}
		if _, reason := p.Check(); reason != "" {
			test, rest, _ := strings.Cut(reason, " is ")
			if least := rest[strings.Index(rest, "(")+1 : len(rest)-1]; least == test || strings.Contains(reason, "; ") {
				t.Fatalf("%+v: %q", p, reason)
			}
		}
	}
}
