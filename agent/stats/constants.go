package stats

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/integrate/quad"
)

// Subgroup sizes that charts have constants for. Beyond 25 the usual tables end
// (ASTM E2587, ISO 7870-2, from memory).
const (
	SmallestSubgroup = 2
	LargestSubgroup  = 25
)

// Constants are the factors of control charts for normal values in subgroups of
// N: what makes an average range or standard deviation one of single values, and
// what makes limits of it. They are computed from their definitions and hold all
// digits; tables print three.
type Constants struct {
	N int

	RangeMean float64 // d2: mean of the range of N values, in σ
	RangeSD   float64 // d3: standard deviation of that range, in σ
	SDMean    float64 // c4: mean of the standard deviation s of N values, in σ

	A2, A3 float64 // limits of the mean: x̄ ± A2·R̄, x̄ ± A3·s̄
	D3, D4 float64 // limits of the range: D3·R̄ and D4·R̄
	B3, B4 float64 // limits of the standard deviation: B3·s̄ and B4·s̄
	E2     float64 // limits of single values: x̄ ± E2·R̄
}

// ConstantsOf gives the constants for subgroups of n values, 2 to 25.
func ConstantsOf(n int) (Constants, error) {
	if n < SmallestSubgroup || n > LargestSubgroup {
		return Constants{}, fmt.Errorf("a subgroup of %d: want %d to %d values", n, SmallestSubgroup, LargestSubgroup)
	}
	c := Constants{N: n}
	c.RangeMean, c.RangeSD = rangeMoments(n)
	c.SDMean = sdMean(n)
	root := math.Sqrt(float64(n))
	c.A2, c.A3 = 3/(c.RangeMean*root), 3/(c.SDMean*root)
	spread := 3 * c.RangeSD / c.RangeMean
	c.D3, c.D4 = math.Max(0, 1-spread), 1+spread
	spread = 3 * math.Sqrt(1-c.SDMean*c.SDMean) / c.SDMean
	c.B3, c.B4 = math.Max(0, 1-spread), 1+spread
	c.E2 = 3 / c.RangeMean
	return c, nil
}

// sdMean is c4 = √(2/(n−1))·Γ(n/2)/Γ((n−1)/2), from the χ distribution.
func sdMean(n int) float64 {
	above, _ := math.Lgamma(float64(n) / 2)
	below, _ := math.Lgamma(float64(n-1) / 2)
	return math.Sqrt(2/float64(n-1)) * math.Exp(above-below)
}

// rangeMoments are the mean and the standard deviation of the range R of n
// standard normal values: d2 = E[R] = ∫(1 − (1−Φ)ⁿ − Φⁿ)dx, and d3 from
// E[R²] = 2·∬ over x<y of (1 − Φ(y)ⁿ − (1−Φ(x))ⁿ + (Φ(y)−Φ(x))ⁿ) dx dy
// (Tippett, Biometrika 17 (1925), from memory).
func rangeMoments(n int) (mean, sd float64) {
	const (
		far   = 9  // σ; what lies beyond is below 1e-18
		nodes = 96 // more do not change the fifteenth digit
	)
	power := float64(n)
	below := normalBelow
	mean = quad.Fixed(func(x float64) float64 {
		return 1 - math.Pow(below(-x), power) - math.Pow(below(x), power)
	}, -far, far, nodes, quad.Legendre{}, 0)
	square := 2 * quad.Fixed(func(x float64) float64 {
		notAbove := 1 - math.Pow(below(-x), power)
		return quad.Fixed(func(y float64) float64 {
			return notAbove - math.Pow(below(y), power) + math.Pow(below(y)-below(x), power)
		}, x, far, nodes, quad.Legendre{}, 0)
	}, -far, far, nodes, quad.Legendre{}, 0)
	return mean, math.Sqrt(square - mean*mean)
}
