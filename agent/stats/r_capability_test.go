package stats

import (
	"strconv"
	"testing"
)

// written are numbers as a command line has them, with all their digits.
func written(values ...float64) []string {
	out := make([]string, len(values))
	for i, v := range values {
		out[i] = strconv.FormatFloat(v, 'g', -1, 64)
	}
	return out
}

// TestCapabilityR: all figures agree with R to 1e-9; the exact bounds to 1e-8,
// for R's noncentral t is good to about ten digits.
func TestCapabilityR(t *testing.T) {
	t.Parallel() // with another start of R
	for name, c := range map[string]struct {
		values []float64
		limits Interval
	}{
		"crimps":      {crimps, Interval{30.40, 30.55}},
		"out of them": {[]float64{0.006, 0.004, 0.0075, 0.009, 0.0061}, Interval{-0.005, 0.005}},
	} {
		got, err := CapabilityOf(c.values, c.limits)
		if err != nil {
			t.Fatal(err)
		}
		want := fromR(t, "capability.R", append(written(c.limits.Lower, c.limits.Upper), written(c.values...)...)...)
		for key, v := range map[string]float64{
			"mean": got.Mean, "sd": got.SD, "cp": got.Cp, "cpk": got.Cpk, "cpl": got.CPL, "cpu": got.CPU,
			"cp_low": got.CpLow, "cp_high": got.CpHigh, "cpk_low": got.CpkLow, "cpk_high": got.CpkHigh,
			"within_sd": got.WithinSD, "within_cp": got.WithinCp, "within_cpk": got.WithinCpk,
			"ppm_below": got.PPMBelow, "ppm_above": got.PPMAbove,
			"below": float64(got.Below), "above": float64(got.Above),
		} {
			near(t, name+": "+key, v, want[key], 1e-9)
		}
		near(t, name+": bound of cpl", got.CPLBound, want["cpl_bound"], 1e-8)
		near(t, name+": bound of cpu", got.CPUBound, want["cpu_bound"], 1e-8)
	}
}
