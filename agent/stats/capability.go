package stats

import (
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/stat"
	"gonum.org/v1/gonum/stat/distuv"
)

// Capability says how a process lies between its limits. Cp is the width
// between the limits over six standard deviations; CPU and CPL are the distance
// of the mean from the upper and the lower limit over three, and Cpk is the
// smaller of the two (e-Handbook 6.1.6). All of it holds for normal scatter
// and a process that stays as it is.
type Capability struct {
	N    int     `json:"n"`
	Mean float64 `json:"mean"`
	SD   float64 `json:"sd"` // of all values, n − 1

	Cp  float64 `json:"cp"` // with SD, as the next ones
	Cpk float64 `json:"cpk"`
	// 95 %, two-sided: of Cp by chi-square, exact; of Cpk by the normal
	// approximation with variance 1/(9n) + Cpk²/(2(n−1)) (Bissell; e-Handbook 6.1.6).
	CpLow   float64 `json:"cp_low"`
	CpHigh  float64 `json:"cp_high"`
	CpkLow  float64 `json:"cpk_low"`
	CpkHigh float64 `json:"cpk_high"`

	CPL float64 `json:"cpl"`
	CPU float64 `json:"cpu"`
	// What the one-sided index is at least, with 95 % confidence; exact.
	CPLBound float64 `json:"cpl_bound"`
	CPUBound float64 `json:"cpu_bound"`

	// With the standard deviation from one value to the next, mean moving range
	// over 1.128379: what the process could do if it did not wander. It needs
	// the values in the order in which they arose.
	WithinSD  float64 `json:"within_sd"`
	WithinCp  float64 `json:"within_cp"`
	WithinCpk float64 `json:"within_cpk"`

	Below int `json:"below"` // values under the lower limit
	Above int `json:"above"` // values over the upper limit
	// What is to be expected beyond each limit, of a million, if the scatter is
	// normal with just this mean and SD.
	PPMBelow float64 `json:"ppm_below"`
	PPMAbove float64 `json:"ppm_above"`

	Note string `json:"note,omitempty"` // what the reader has to bear in mind
}

// few is how many values say little of a process (common practice, no source).
const few = 30

// CapabilityOf computes the capability of a process from single values in the
// order in which they arose. It needs two values that differ, and limits with
// the lower one first; a value on a limit is within.
func CapabilityOf(values []float64, limits Interval) (Capability, error) {
	if err := scattered(values); err != nil {
		return Capability{}, err
	}
	if !finite(limits.Lower) || !finite(limits.Upper) || limits.Lower >= limits.Upper {
		return Capability{}, fmt.Errorf("limits %g and %g: want two numbers, the lower one first", limits.Lower, limits.Upper)
	}
	n := float64(len(values))
	mean, sd := stat.MeanStdDev(values, nil)
	within := movingRange(values) * math.Sqrt(math.Pi) / 2 // over d2 = 2/√π
	c := Capability{
		N: len(values), Mean: mean, SD: sd,
		Cp:        (limits.Upper - limits.Lower) / (6 * sd),
		CPL:       (mean - limits.Lower) / (3 * sd),
		CPU:       (limits.Upper - mean) / (3 * sd),
		WithinSD:  within,
		WithinCp:  (limits.Upper - limits.Lower) / (6 * within),
		WithinCpk: min(mean-limits.Lower, limits.Upper-mean) / (3 * within),
	}
	c.Cpk = min(c.CPL, c.CPU)
	if !finite(c.Cp) || !finite(c.WithinCp) || !finite(c.Cpk) {
		return Capability{}, fmt.Errorf("the values hardly differ beside limits %g and %g: no index can be computed", limits.Lower, limits.Upper)
	}
	chi := distuv.ChiSquared{K: n - 1}
	c.CpLow = c.Cp * math.Sqrt(chi.Quantile(0.025)/(n-1))
	c.CpHigh = c.Cp * math.Sqrt(chi.Quantile(0.975)/(n-1))
	half := normalQuantile(0.975) * math.Sqrt(1/(9*n)+c.Cpk*c.Cpk/(2*(n-1)))
	c.CpkLow, c.CpkHigh = c.Cpk-half, c.Cpk+half
	c.CPLBound, c.CPUBound = IndexBound(c.CPL, len(values)), IndexBound(c.CPU, len(values))
	c.PPMBelow, c.PPMAbove = 1e6*normalBelow(-3*c.CPL), 1e6*normalBelow(-3*c.CPU)
	for _, v := range values {
		if v < limits.Lower {
			c.Below++
		}
		if v > limits.Upper {
			c.Above++
		}
	}
	if len(values) < few {
		c.Note = fmt.Sprintf("%d values say little: with fewer than %d look at the bounds, not at the indices", len(values), few)
	}
	return c, nil
}

// movingRange is the mean distance of each value from the one before; there are
// two values or more.
func movingRange(values []float64) float64 {
	sum := 0.0
	for i, v := range values[1:] {
		sum += math.Abs(v - values[i])
	}
	return sum / float64(len(values)-1)
}

// IndexBound is the exact lower bound, with 95 % confidence, of a one-sided
// index (CPU or CPL) that n normal values, at least 2, estimate as index:
// 3√n times the estimate follows the noncentral t distribution with n − 1
// degrees of freedom and noncentrality 3√n·C.
func IndexBound(index float64, n int) float64 {
	root := 3 * math.Sqrt(float64(n))
	t, dof := root*index, float64(n-1)
	// The probability of at most t falls as the noncentrality grows: find where
	// it has come down to 0.95 by halving.
	step := 2 * math.Sqrt(1+t*t/(2*dof))
	low, high := t-step, t
	for noncentralT(t, dof, low) < 0.95 {
		low -= step
		step *= 2
	}
	for noncentralT(t, dof, high) >= 0.95 {
		high += step
		step *= 2
	}
	for high-low > 1e-13*max(1, math.Abs(high)) {
		middle := low + (high-low)/2
		if noncentralT(t, dof, middle) < 0.95 {
			high = middle
		} else {
			low = middle
		}
	}
	return low / root
}

// noncentralT is the distribution function of the noncentral t at t, the mean of
// Φ(t·χ/√dof − delta) over χ with dof degrees of freedom. The library's series
// gives way to an approximation where delta exceeds 38, which 125 values with an
// index of 2 do, and is then wrong in the third digit.
func noncentralT(t, dof, delta float64) float64 {
	chi, slope := distuv.Chi{K: dof}, t/math.Sqrt(dof)
	const far = 8 // the standard deviation of χ is at most 0.71
	centre := math.Sqrt(dof)
	var edges []edge
	if slope != 0 {
		edges = append(edges, edge{delta / slope, math.Abs(1 / slope)})
	}
	return integrate(func(x float64) float64 {
		return chi.Prob(x) * normalBelow(slope*x-delta)
	}, max(0, centre-far), centre+far, edges...)
}

// scattered checks that there are two values or more, all of them numbers, and
// not all the same.
func scattered(values []float64) error {
	if len(values) < 2 {
		return fmt.Errorf("%s: want two or more", counted(len(values), "value"))
	}
	for i, v := range values {
		if !finite(v) {
			return fmt.Errorf("value %d is %g: want a measured value", i+1, v)
		}
	}
	low, high := slices.Min(values), slices.Max(values)
	const rounding = 4 * 0x1p-52 // of a number: what arithmetic makes of equal ones
	if high-low <= rounding*max(-low, high) {
		return fmt.Errorf("all %d values are %g: scatter cannot be judged where there is none, so read with a finer resolution or take more values", len(values), values[0])
	}
	return nil
}

// counted writes how many there are of something.
func counted(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return fmt.Sprintf("%d %ss", n, what)
}
