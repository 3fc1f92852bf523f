package crimp

import "math"

// Shape is how the cost of a piece grows with its deviation.
type Shape string

// The shapes of cost.
const (
	AtLimits  Shape = "limits"    // it arises where a limit is passed: the scrap below, the second stroke above
	Linear    Shape = "linear"    // it grows with the deviation
	Quadratic Shape = "quadratic" // it grows with its square
)

// Shapes are all shapes.
func Shapes() []Shape { return []Shape{AtLimits, Linear, Quadratic} }

// Costs are what a piece on either side costs the shop, in any one currency.
// The zero value is no cost told: the aim is the target.
type Costs struct {
	Shape  Shape
	Scrap  float64 // of an undersize end, which cannot be undone
	Stroke float64 // of a second stroke on an oversize end
}

// Told says whether costs are given.
func (c Costs) Told() bool { return c.Scrap > 0 && c.Stroke > 0 }

// Aim is where to aim the next piece, in nanometres above the target, so that
// it costs least when it scatters normally with standard deviation sd about the
// aim. Where the sheet allows no second stroke an oversize end is scrap as
// well, and costs as much. With C for scrap below the lower limit L and c for a
// second stroke above the upper limit U:
//
//   - AtLimits: (L+U)/2 + sd²·ln(C/c)/(U−L), where the next piece is as dear to
//     lose below as above: the zero of the derivative of C·Φ((L−a)/sd) +
//     c·Φ((a−U)/sd); derived here.
//   - Linear: sd·Φ⁻¹(C/(C+c)), the quantile of the newsvendor's problem.
//   - Quadratic: sd·k with c·E[x²; x>0] + C·E[x²; x<0] least for x ~ N(k, 1),
//     that is c·(φ(k)+kΦ(k)) = C·(φ(k)−kΦ(−k)).
//
// For aiming under asymmetric costs see Colosimo, Pan and del Castillo (2005;
// from memory). The aim stays guard nanometres inside the limits; where that
// leaves no room it is their middle.
func (c Costs) Aim(s Spec, sd, guard float64) float64 {
	if !c.Told() {
		return 0
	}
	stroke := c.Stroke
	if s.Recrimps == 0 {
		stroke = c.Scrap
	}
	lower, upper := -float64(s.Minus), float64(s.Plus)
	aim := 0.0
	switch c.Shape {
	case Linear:
		aim = sd * Z(c.Scrap/(c.Scrap+stroke))
	case Quadratic:
		aim = sd * quadraticAim(c.Scrap/stroke)
	case AtLimits:
		if upper > lower {
			aim = (lower+upper)/2 + float64(sd*sd*math.Log(c.Scrap/stroke))/(upper-lower)
		}
	}
	lower, upper = lower+guard, upper-guard
	if lower > upper {
		return (lower + upper) / 2
	}
	return min(max(aim, lower), upper)
}

// quadraticAim is k of the quadratic aim for costs in this ratio, under to
// over. The difference of both sides rises with k, so halving finds its zero.
func quadraticAim(ratio float64) float64 {
	dearer := max(ratio, 1/ratio) // the answer for 1/ratio is the negative one
	low, high := 0.0, 40.0
	for range 100 {
		k := (low + high) / 2
		density := math.Exp(-k*k/2) / math.Sqrt(2*math.Pi)
		if over, under := density+float64(k*normal(k)), density-float64(k*normal(-k)); over < dearer*under {
			low = k
		} else {
			high = k
		}
	}
	if ratio < 1 {
		return -low
	}
	return low
}
