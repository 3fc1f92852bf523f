package main

import (
	"encoding/json"
	"math"
	"os"
	"strings"
	"testing"
)

// referenceValues reads a file of check values.
func referenceValues(t *testing.T, name string, v any) {
	t.Helper()
	b, err := os.ReadFile("../testdata/references/" + name)
	if err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(b, v); err != nil {
		t.Fatalf("%s: %v", name, err)
	}
}

// asked runs a command that must do, and gives its JSON.
func asked(t *testing.T, stdin string, args ...string) map[string]any {
	t.Helper()
	code, out, errs := command(t, stdin, args...)
	if code != exitDone || errs != "" {
		t.Fatalf("%v: exit %d, %s", args, code, errs)
	}
	var got map[string]any
	if err := json.Unmarshal([]byte(out), &got); err != nil {
		t.Fatalf("%v: %v in %s", args, err, out)
	}
	return got
}

// numbersNear wants these keys with these numbers, to 1e-9 of themselves.
func numbersNear(t *testing.T, got map[string]any, want map[string]float64) {
	t.Helper()
	for key, w := range want {
		x, ok := got[key].(float64)
		if !ok || math.Abs(x-w) > 1e-9*math.Abs(w) {
			t.Errorf("%s = %v, want %.12g", key, got[key], w)
		}
	}
}

// twice are 25 pairs about a mean, with a standard deviation (n − 1) of sd.
func twice(mean, sd float64) string {
	var text strings.Builder
	text.WriteString("# made up\n\n")
	half := sd * math.Sqrt(49./50)
	for range 25 {
		for _, x := range []float64{mean - half, mean + half} {
			b, _ := json.Marshal(x) // a number always can
			text.Write(append(b, "  # mm\n"...))
		}
	}
	return text.String()
}

// TestCapabilityCommand is the e-Handbook's case 6.1.6 with 50 values.
func TestCapabilityCommand(t *testing.T) {
	var file struct {
		USL, LSL, Mean, S float64
		Expected          struct{ Cp, CPU, CPL, Cpk float64 }
		CI                struct {
			Cp  [2]float64
			Cpk [2]float64 `json:"Cpk_approx"`
		} `json:"ci95_n50"`
		Lower []struct{ Exact float64 } `json:"lower95_one_sided"`
	}
	referenceValues(t, "capability.json", &file)
	got := asked(t, twice(file.Mean, file.S), "capability", "--lower", "8", "--upper", "20", "--json", "-")
	numbersNear(t, got, map[string]float64{
		"n": 50, "mean": file.Mean, "sd": file.S, "cp": file.Expected.Cp, "cpk": file.Expected.Cpk,
		"cp_low": file.CI.Cp[0], "cp_high": file.CI.Cp[1], "cpk_low": file.CI.Cpk[0], "cpk_high": file.CI.Cpk[1],
		"cpl": file.Expected.CPL, "cpu": file.Expected.CPU, "below": 0, "above": 0,
	})
	// The reference's estimate has ten digits.
	if bound, ok := got["cpu_bound"].(float64); !ok || math.Abs(bound-file.Lower[0].Exact) > 1e-9 {
		t.Errorf("cpu_bound = %v, want %g", got["cpu_bound"], file.Lower[0].Exact)
	}
	if got["note"] != nil || got["risk"] != nil {
		t.Errorf("%v", got)
	}
}

// TestCapabilityRisk is the example of JCGM 106:2012 clause 9.5: guard bands of
// half the uncertainty, which a confidence of Φ(0.5) has.
func TestCapabilityRisk(t *testing.T) {
	var file struct {
		Cases []struct {
			ID string
			RC float64 `json:"expected_RC"`
			RP float64 `json:"expected_RP"`
			PC float64 `json:"expected_process_pc"`
		}
	}
	referenceValues(t, "decision_rules.json", &file)
	checked := 0
	for _, c := range file.Cases {
		args := []string{"capability", "--lower", "-0.2", "--upper", "0.2", "--u", "0.04", "-"}
		switch c.ID {
		case "jcgm106-resistor-guarded":
			args = append(args, "--confidence", "0.69146246127401312")
		case "resistor-unguarded":
		default:
			continue
		}
		checked++
		risk, ok := asked(t, twice(0, 0.12), args...)["risk"].(map[string]any)
		if !ok {
			t.Fatalf("%s: no risk", c.ID)
		}
		numbersNear(t, risk, map[string]float64{"wrong_pass": c.RC, "wrong_reject": c.RP})
		if c.PC != 0 {
			numbersNear(t, risk, map[string]float64{"conforming": c.PC})
		}
	}
	if checked != 2 {
		t.Errorf("%d cases", checked)
	}
}

func TestCapabilityFew(t *testing.T) {
	got := asked(t, "1\n2\n-3\n9\n", "capability", "--lower", "-2.5", "--upper", "5", "-")
	numbersNear(t, got, map[string]float64{"n": 4, "below": 1, "above": 1, "mean": 2.25})
	if note, _ := got["note"].(string); !strings.Contains(note, "4 values say little") {
		t.Errorf("note %q", note)
	}
}

func TestCapabilityWrongInput(t *testing.T) {
	for _, c := range []struct {
		name, stdin string
		args        []string
		says        []string
	}{
		{"limits missing", "1\n2\n", []string{"-"}, []string{"--lower", "--upper"}},
		{"swapped limits", "1\n2\n", []string{"--lower", "5", "--upper", "2", "-"}, []string{"--lower 5 and --upper 2", "below"}},
		{"equal limits", "1\n2\n", []string{"--lower", "5", "--upper", "5", "-"}, []string{"below"}},
		{"limit with a unit", "1\n2\n", []string{"--lower", "30.4mm", "--upper", "5", "-"}, []string{"--lower", "30.4mm", "12.7"}},
		{"limit is no number", "1\n2\n", []string{"--lower", "NaN", "--upper", "5", "-"}, []string{"--lower", "NaN"}},
		{"limit left out", "1\n2\n", []string{"-", "--upper", "5", "--lower"}, []string{"--lower", "number"}},
		{"all flags wrong", "1\n2\n", []string{"--lower", "5", "--upper", "2", "--u", "0", "--confidence", "95", "-"}, []string{"--lower", "--u 0", "--confidence 95"}},
		{"confidence alone", "1\n2\n", []string{"--lower", "0", "--upper", "5", "--confidence", "0.95", "-"}, []string{"--confidence needs --u"}},
		{"nothing can pass", "1\n2\n", []string{"--lower", "0", "--upper", "2", "--u", "1", "--confidence", "0.95", "-"}, []string{"--u 1", "1.64485", "nothing between"}},
		{"one value", "1\n", []string{"--lower", "0", "--upper", "5", "-"}, []string{"standard input: 1 value: want two"}},
		{"constant", "1\n1\n1\n", []string{"--lower", "0", "--upper", "5", "-"}, []string{"all 3 values are 1"}},
		{"no values", "# none\n", []string{"--lower", "0", "--upper", "5", "-"}, []string{"standard input"}},
		{"not numbers", "1\nx\n2\ninf\n", []string{"--lower", "0", "--upper", "5", "-"}, []string{"standard input:2", "standard input:4"}},
		{"no file", "", []string{"--lower", "0", "--upper", "5", "none.txt"}, []string{"none.txt"}},
	} {
		wrongInput(t, c.name, c.stdin, append([]string{"capability"}, c.args...), c.says)
	}
}

// wrongInput wants exit code 2, nothing printed and a message with these words.
func wrongInput(t *testing.T, name, stdin string, args, says []string) {
	t.Helper()
	code, out, errs := command(t, stdin, args...)
	if code != exitUsage || out != "" {
		t.Errorf("%s: exit %d, printed %q", name, code, out)
	}
	for _, s := range says {
		if !strings.Contains(errs, s) {
			t.Errorf("%s: says %q, want %q in it", name, errs, s)
		}
	}
}
