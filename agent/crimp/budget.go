package crimp

import "math"

// Component is one contribution to a measurement's uncertainty.
type Component struct {
	Name string
	U    float64 // standard uncertainty, nanometres, not negative
	Dof  float64 // degrees of freedom; +Inf when the limits are known (GUM G.4.2)
}

// Combine gives the combined standard uncertainty √Σu² (GUM 5.1.2, uncorrelated)
// and the effective degrees of freedom u⁴/Σ(uᵢ⁴/νᵢ) by Welch and Satterthwaite
// (GUM G.4.1), not truncated. With no uncertainty at all the degrees are +Inf.
func Combine(parts []Component) (u, dof float64) {
	var variance, sum float64
	for _, c := range parts {
		square := c.U * c.U
		variance += square
		sum += square * square / c.Dof
	}
	if sum == 0 {
		return math.Sqrt(variance), math.Inf(1)
	}
	return math.Sqrt(variance), variance * variance / sum
}

// CaliperBudget is the uncertainty of the mean of n readings of a caliper:
// its permissible error as a rectangular distribution, limit/√3, common to all
// readings (GUM 4.3.7); and the rounding to the last digit, step/√12, which
// averages out with n (GUM F.2.2.1). Out-of-roundness is not in it: that is the
// crimp's own form and is reported as ovality.
func CaliperBudget(limit, step Length, n int) []Component {
	return []Component{
		{Name: "caliper", U: float64(limit) / math.Sqrt(3), Dof: math.Inf(1)},
		{Name: "resolution", U: float64(step) / math.Sqrt(12*float64(n)), Dof: math.Inf(1)},
	}
}
