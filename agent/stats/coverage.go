package stats

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/mathext"
	"gonum.org/v1/gonum/stat/distuv"
)

// Coverage is the factor k for which ±k·u holds the level, such as 0.95, when u
// has dof effective degrees of freedom: Student's t, two-sided (JCGM 100:2008,
// G.3 and Table G.2). Degrees that are not whole are truncated downwards
// (G.4.1); +Inf gives the normal distribution's factor. The level is between 0
// and 1, and dof at least 1, or it is an error.
func Coverage(level, dof float64) (float64, error) {
	switch {
	case !(level > 0 && level < 1):
		return 0, fmt.Errorf("a level of confidence of %g: want one between 0 and 1, such as 0.95", level)
	case !(dof >= 1):
		return 0, fmt.Errorf("%g effective degrees of freedom: want 1 or more, so repeat the readings it rests on more often", dof)
	}
	return studentQuantile((1-level)/2, math.Floor(dof)), nil
}

// studentQuantile is the t that is exceeded with probability upper, below 0.5.
// With very many degrees the library's root finding loses digits, and the first
// term of the expansion about the normal quantile is enough (Abramowitz and
// Stegun 26.7.5, from memory).
func studentQuantile(upper, dof float64) float64 {
	if dof > 1e6 {
		z := -normalQuantile(upper)
		return z + (z*z*z+z)/(4*dof)
	}
	return -distuv.StudentsT{Sigma: 1, Nu: dof}.Quantile(upper)
}

// normalQuantile is the standard normal quantile of p.
func normalQuantile(p float64) float64 { return mathext.NormalQuantile(p) }

// normalBelow is the standard normal distribution function Φ. The complementary
// error function keeps the digits of small tails.
func normalBelow(z float64) float64 { return math.Erfc(-z/math.Sqrt2) / 2 }

// studentP is the two-sided p value of t with dof degrees of freedom. It is an
// incomplete beta function and keeps its digits where p is very small.
func studentP(t, dof float64) float64 {
	return mathext.RegIncBeta(dof/2, 0.5, dof/(dof+t*t))
}

// fisherP is the probability that F with df1 and df2 degrees of freedom exceeds f.
func fisherP(f, df1, df2 float64) float64 {
	return mathext.RegIncBeta(df2/2, df1/2, df2/(df2+df1*f))
}
