package stats

import (
	"fmt"
	"math"
	"strings"
	"testing"
)

// coded are the rules of a code of we_rules_arl.csv, such as C124.
func coded(code string) (rules []Rule) {
	for _, digit := range strings.TrimPrefix(code, "C") {
		rules = append(rules, Rules()[digit-'1'])
	}
	return rules
}

// TestRunLengthOfRules: we_rules_arl.csv, another Markov chain, and the in-control
// figures of Champ and Woodall, Technometrics 29 (1987), Table 1 (from memory).
func TestRunLengthOfRules(t *testing.T) {
	published := 0
	for _, row := range records(t, "we_rules_arl.csv") {
		name := row["rules"] + " at " + row["shift_sigma"]
		got, err := RunLengthOfRules(coded(row["rules"]), number(t, row["shift_sigma"]))
		if err != nil {
			t.Errorf("%s: %v", name, err)
		}
		printed(t, name, got, row["arl"])
		if row["published"] != "" {
			digits := row["published"]
			if row["rules"] == "C1" {
				digits += "0" // 370.40
			}
			printed(t, name, got, digits)
			published++
		}
		other, err := RunLengthOfRules(coded(row["rules"]), -number(t, row["shift_sigma"]))
		if err != nil {
			t.Errorf("%s: %v", name, err)
		}
		near(t, name+" the other way", other, got, 1e-11)
	}
	if published != 8 {
		t.Errorf("%d published figures, want 8", published)
	}
}

// TestRunLengthOfRulesInClosedForm: single values beyond 3σ come every 1/p, and
// a run of eight on one of two sides takes 2⁸ − 1 values.
func TestRunLengthOfRulesInClosedForm(t *testing.T) {
	for _, shift := range []float64{0, 0.7, -2, 5, 30} {
		got, err := RunLengthOfRules([]Rule{Beyond}, shift)
		if err != nil {
			t.Fatal(err)
		}
		near(t, "beyond", got, 1/(normalBelow(-3-shift)+normalBelow(shift-3)), 1e-12)
	}
	got, err := RunLengthOfRules([]Rule{EightInARow}, 0)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "eight in a row", got, 255, 1e-12)
	if got, err = RunLengthOfRules([]Rule{EightInARow}, 30); err != nil || math.Abs(got-8) > 1e-12 {
		t.Errorf("eight in a row, all on one side: %v, %v", got, err)
	}
}

// TestRunLengthOfSums: arl_tables.csv, by package spc of R, and its published
// column: Montgomery's tables after Hawkins and after Lucas and Saccucci (1990),
// from memory.
func TestRunLengthOfSums(t *testing.T) {
	checked := map[string]int{}
	for _, row := range records(t, "arl_tables.csv") {
		shift := number(t, row["shift_sigma"])
		name := fmt.Sprintf("%s %s at %g", row["chart"], row["params"], shift)
		var k, h float64
		var w Weights
		var got float64
		var err error
		switch row["chart"] {
		case "cusum2":
			if _, err := fmt.Sscanf(row["params"], "k=%g h=%g", &k, &h); err != nil {
				t.Fatal(err)
			}
			got, err = RunLengthOfCUSUM(k, h, shift)
		case "ewma2":
			if _, err := fmt.Sscanf(row["params"], "lambda=%g L=%g asymptotic limits", &w.Lambda, &w.Factor); err != nil {
				t.Fatal(err)
			}
			got, err = RunLengthOfEWMA(w, shift)
		case "shewhart":
			got, err = RunLengthOfRules([]Rule{Beyond}, shift)
		default:
			t.Fatalf("unknown chart %q", row["chart"])
		}
		if err != nil {
			t.Errorf("%s: %v", name, err)
		}
		checked[row["chart"]]++
		printed(t, name, got, row["arl_R_spc"])
		if row["published"] == "" {
			continue
		}
		// A figure that differs from what R computes as well is the table's own
		// rounding, one of the last digit.
		_, decimals, _ := strings.Cut(row["published"], ".")
		last := math.Pow(10, -float64(len(decimals)))
		if want := number(t, row["published"]); math.Abs(got-want) > 1.001*last {
			t.Errorf("%s = %.5g, published %s", name, got, row["published"])
		}
	}
	if checked["cusum2"] != 20 || checked["ewma2"] != 70 || checked["shewhart"] != 6 {
		t.Errorf("checked %v", checked)
	}
}

// TestRunLengthsMeet: an EWMA chart of weight 1, with limits of either kind, and
// a CUSUM chart with a limit of hardly anything are charts of single values.
func TestRunLengthsMeet(t *testing.T) {
	for _, shift := range []float64{0, 1, -1.5} {
		single, err := RunLengthOfRules([]Rule{Beyond}, shift)
		if err != nil {
			t.Fatal(err)
		}
		for _, exact := range []bool{false, true} {
			got, err := RunLengthOfEWMA(Weights{Lambda: 1, Factor: 3, Exact: exact}, shift)
			if err != nil {
				t.Fatal(err)
			}
			near(t, "EWMA of weight 1", got, single, 1e-10)
		}
		got, err := RunLengthOfCUSUM(3, 1e-9, shift)
		if err != nil {
			t.Fatal(err)
		}
		near(t, "CUSUM of limit 0", got, single, 1e-8)
	}
}

// TestRunLengthsThatCannotBeTold are errors, never a number.
func TestRunLengthsThatCannotBeTold(t *testing.T) {
	nan, inf := math.NaN(), math.Inf(1)
	rules := func(shift float64, rules ...Rule) func() (float64, error) {
		return func() (float64, error) { return RunLengthOfRules(rules, shift) }
	}
	cusum := func(k, h, shift float64) func() (float64, error) {
		return func() (float64, error) { return RunLengthOfCUSUM(k, h, shift) }
	}
	ewma := func(lambda, factor, shift float64) func() (float64, error) {
		return func() (float64, error) { return RunLengthOfEWMA(Weights{Lambda: lambda, Factor: factor}, shift) }
	}
	for _, c := range []struct {
		name   string
		length func() (float64, error)
		says   string
	}{
		{"no rule", rules(0), "no rule"},
		{"a shift that is no number", rules(nan, Beyond), "shift of NaN"},
		{"an endless shift", cusum(0.5, 5, inf), "shift of +Inf"},
		{"a shift of 31", ewma(0.2, 3, 31), "shift of 31"},
		{"an allowance below 0", cusum(-0.1, 5, 0), "allowance"},
		{"an allowance that is no number", cusum(nan, 5, 0), "allowance"},
		{"no limit", cusum(0.5, 0, 0), "limit of 0"},
		{"a far limit", cusum(0.5, 201, 0), "limit of 201"},
		{"sums that hardly ever get there", cusum(0.5, 25, 0), "longer than 1e+09"},
		{"sums that never get there", cusum(0.5, 150, 0), "longer than 1e+09"},
		{"values that never get there", cusum(50, 1, 0), "longer than 1e+09"},
		{"an average that hardly ever gets there", ewma(0.2, 7, 0), "longer than 1e+09"},
		{"an average that never gets there", ewma(0.2, 15, 0), "longer than 1e+09"},
		{"an average far from anything", ewma(0.2, 21, 0), "longer than 1e+09"},
		{"a weight of nothing", ewma(0, 3, 0), "lambda"},
		{"a weight too small to compute with", ewma(0.001, 3, 0), "0.01 or more"},
		{"no factor", ewma(0.2, nan, 0), "NaN"},
	} {
		if got, err := c.length(); err == nil || got != 0 || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%s: %v, %v, want %q", c.name, got, err, c.says)
		}
	}
}
