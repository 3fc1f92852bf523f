package main

import (
	"fmt"
	"path/filepath"
	"strings"
	"testing"
)

// TestTrendCommand is the made-up wear of the check values, computed by another
// program.
func TestTrendCommand(t *testing.T) {
	var file struct {
		D struct {
			Strokes, Offset []float64
			Limit           float64 `json:"action_limit"`
			Expected        struct {
				Slope, Intercept, S, Cross float64
				Remaining                  float64    `json:"remaining_from_900"`
				Single                     [2]float64 `json:"fieller_single_part"`
				Theil                      float64    `json:"theil_slope"`
			}
		} `json:"remaining_strokes"`
	}
	referenceValues(t, "trend.json", &file)
	text := "piece,y,x\n"
	for i := range file.D.Strokes { // in no order
		i = (i * 7) % len(file.D.Strokes)
		text += fmt.Sprintf("A/%d,%g,%g\n", i, file.D.Offset[i], file.D.Strokes[i])
	}
	name := filepath.Join(t.TempDir(), "wear.csv")
	write(t, name, text)
	want := file.D.Expected
	line := map[string]float64{"n": 10, "slope": want.Slope, "intercept": want.Intercept, "residual_sd": want.S, "median_slope": want.Theil}
	got := asked(t, "", "trend", name, "--json")
	numbersNear(t, got, line)
	for _, key := range []string{"slope_sd", "intercept_sd", "r2", "median_intercept", "kendall_tau"} {
		if _, ok := got[key].(float64); !ok {
			t.Errorf("%s = %v", key, got[key])
		}
	}
	for _, key := range []string{"crossing", "forecast", "remaining"} {
		if got[key] != nil {
			t.Errorf("without a limit %s = %v", key, got[key])
		}
	}
	got = asked(t, "", "trend", name, "--limit", fmt.Sprint(file.D.Limit))
	numbersNear(t, got, line)
	numbersNear(t, got, map[string]float64{
		"crossing": want.Cross, "crossing_low": want.Single[0], "crossing_high": want.Single[1],
		"remaining": want.Remaining, "remaining_low": want.Single[0] - 900, "remaining_high": want.Single[1] - 900,
	})
	if got["forecast"] != nil || got["reason"] != nil {
		t.Errorf("%v", got)
	}
	got = asked(t, "", "trend", name, "--limit", "-3")
	if reason, _ := got["reason"].(string); got["forecast"] != "none" || !strings.Contains(reason, "leads away") || got["crossing"] != nil {
		t.Errorf("%v", got)
	}
}

// TestTrendNoForecast: a level series is no fault of the file.
func TestTrendNoForecast(t *testing.T) {
	for name, c := range map[string]struct{ stdin, reason string }{
		"level":      {"x,y\n0,0\n100,0\n200,0\n", "level"},
		"scatter":    {"x,y\n0,0\n1,2\n2,1\n3,1.5\n4,0.4\n", "not proved"},
		"two points": {"x,y\n0,0\n1,2\n", "three or more"},
	} {
		got := asked(t, c.stdin, "trend", "-", "--limit", "5")
		if reason, _ := got["reason"].(string); got["forecast"] != "none" || !strings.Contains(reason, c.reason) {
			t.Errorf("%s: %v", name, got)
		}
	}
}

func TestTrendWrongInput(t *testing.T) {
	for _, c := range []struct {
		name, stdin string
		args        []string
		says        []string
	}{
		{"no columns x and y", "a,b\n1,2\n", []string{"-"}, []string{"standard input:1: x", "standard input:1: y"}},
		{"cells wrong", "x,y\n1,NaN\n2,inf\n3,1e999\n", []string{"-"}, []string{"standard input:2: y", "standard input:3: y", "standard input:4: y"}},
		{"one point", "x,y\n1,2\n", []string{"-"}, []string{"1 point: want two"}},
		{"one x", "x,y\n1,2\n1,3\n1,4\n", []string{"-"}, []string{"all 3 points have x = 1"}},
		{"limit is no number", "x,y\n1,2\n2,3\n", []string{"-", "--limit", "nan"}, []string{"--limit", "nan"}},
		{"limit beyond all", "x,y\n1,2\n2,3\n3,4\n", []string{"-", "--limit", "1e300"}, []string{"--limit", "1e300", "too large"}},
		{"no file", "", []string{"none.csv"}, []string{"none.csv"}},
	} {
		wrongInput(t, c.name, c.stdin, append([]string{"trend"}, c.args...), c.says)
	}
}
