package stats

import (
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
)

// TestRules: each rule on values in standard deviations from the center, worked
// by hand.
func TestRules(t *testing.T) {
	for _, c := range []struct {
		rule   Rule
		values []float64
		want   []int
	}{
		{Beyond, []float64{3, 3.01, -3, -3.01, 0}, []int{2, 4}},
		{TwoOfThree, []float64{2.1, 0, 2.1}, []int{3}},
		{TwoOfThree, []float64{2.1, 2.1}, []int{2}},
		{TwoOfThree, []float64{2.1, 0, 0, 2.1}, nil},
		{TwoOfThree, []float64{2.1, -2.1, 2}, nil},             // two sides; on the line
		{TwoOfThree, []float64{2.1, 2.1, 0, 2.1}, []int{2, 4}}, // the newest must be beyond: not at 3
		{TwoOfThree, []float64{-5, 1, -2.5}, []int{3}},         // beyond 3 counts too
		{FourOfFive, []float64{1.1, 1.1, 1.1, 1.1}, []int{4}},
		{FourOfFive, []float64{1.1, 1.1, 0, 1.1, 1.1}, []int{5}},
		{FourOfFive, []float64{1.1, 1.1, 1.1, 0, 0, 1.1}, nil},
		{FourOfFive, []float64{1.1, 1.1, 1.1, 1.1, 0.5, 1.1}, []int{4, 6}},
		{FourOfFive, []float64{-4, -1.1, 1.5, -1.1, -2.5}, []int{5}},
		{EightInARow, []float64{1, 1, 1, 1, 1, 1, 1, 0.1, 0.1}, []int{8, 9}},
		{EightInARow, []float64{1, 1, 1, 1, 1, 1, 1, 0, 1, 1}, nil}, // on the center is on no side
		{EightInARow, []float64{1, -1, -1, -1, -1, -1, -1, -1, -4}, []int{9}},
	} {
		for _, side := range []float64{1, -1} {
			values := make([]float64, len(c.values))
			for i, v := range c.values {
				values[i] = 8 + side*0.5*v
			}
			if got := c.rule.signals(values, 8, 0.5); !slices.Equal(got, c.want) {
				t.Errorf("%s, side %+g, %v: %v, want %v", c.rule, side, c.values, got, c.want)
			}
		}
	}
}

// TestRulesAndChainAgree: the states that run lengths are computed with alarm
// first where the rules do on values, for every set of rules.
func TestRulesAndChainAgree(t *testing.T) {
	middle := [2 * sideZones]float64{0.5, 1.5, 2.5, 3.5, -0.5, -1.5, -2.5, -3.5} // of each zone
	random := rand.New(rand.NewPCG(1, 2))
	alarms := 0
	for set := 1; set < 16; set++ {
		var rules []Rule
		for i, r := range Rules() {
			if set>>i&1 == 1 {
				rules = append(rules, r)
			}
		}
		c := chainOf(rules)
		for range 2000 {
			values := make([]float64, 0, 30)
			first, state := 0, 0
			for first == 0 && len(values) < 30 {
				// Few beyond 3σ, many on one side: the rules with a history matter.
				zone := []int{0, 0, 1, 1, 2, 4, 5, 6, 3, 7}[random.IntN(3+len(values)%8)]
				values = append(values, middle[zone])
				if state = c[state][zone]; state < 0 {
					first = len(values)
				}
			}
			want := 0
			for _, r := range rules {
				if s := r.signals(values, 0, 1); len(s) > 0 && (want == 0 || s[0] < want) {
					want = s[0]
				}
			}
			if first != want {
				t.Fatalf("%v, %v: the chain alarms at %d, the rules at %d", rules, values, first, want)
			}
			if first > 0 {
				alarms++
			}
		}
	}
	if alarms < 10000 {
		t.Errorf("%d alarms only: this proves little", alarms)
	}
}

func TestParseRules(t *testing.T) {
	got, err := ParseRules([]string{"eight-in-a-row", " beyond", "beyond"})
	if err != nil || !slices.Equal(got, []Rule{Beyond, EightInARow}) {
		t.Errorf("%v, %v", got, err)
	}
	for _, names := range [][]string{nil, {}, {""}, {"Beyond"}, {"beyond", "nine-in-a-row"}} {
		if got, err := ParseRules(names); err == nil || got != nil || !strings.Contains(err.Error(), "no rule") {
			t.Errorf("%q: %v, %v", names, got, err)
		}
	}
	for _, r := range Rules() {
		if s := r.Says(); s == string(r) || !strings.Contains(s, " ") {
			t.Errorf("%s says %q", r, s)
		}
	}
}
