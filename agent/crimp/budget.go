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
		// The conversions keep processors that fuse multiply and add from
		// giving other last digits than the rest.
		square := float64(c.U * c.U)
		variance += square
		sum += float64(square*square) / c.Dof
	}
	if sum == 0 {
		return math.Sqrt(variance), math.Inf(1)
	}
	return math.Sqrt(variance), float64(variance*variance) / sum
}

// SteelExpansion is how much steel grows per kelvin, of its own length:
// 11.5·10⁻⁶/K, the value of the end gauge in GUM (JCGM 100:2008) H.1.
const SteelExpansion = 11.5e-6

// Gauge is what is known of the measuring. A length or number of 0 means that
// it was not told. None is negative but the value of the zero.
//
// What an effect is and how it is counted follows GUM (JCGM 100:2008): known
// limits as a rectangular distribution, a/√3 (4.3.7); rounding as one of the
// width of the last digit (F.2.2.1); a standard deviation of n readings by √n
// (4.2.3).
type Gauge struct {
	Limit            Length  // the caliper's permissible error either way: limit/√3, common to all readings
	Step             Length  // last digit of the readings: step/√12, taken once
	Repeatability    Length  // standard deviation of one reading, from a gauge study: s/√n
	RepeatabilityDof float64 // its degrees of freedom; 0: taken as known
	Zero             Zero    // what the jaws showed when closed
	Kelvin           float64 // the ferrule may be this far from 20 °C either way: α·D·ΔT/√3
}

// Zero is the latest check with the jaws closed.
type Zero struct {
	Checked bool
	Value   Length // what was shown then
	Allowed Length // the largest shift that the shop tolerates either way
}

// Budget is what makes up the uncertainty of the mean of n readings, n at least
// 1, of a diameter. Components that are nothing are left out.
//
//   - caliper: the permissible error. E_MPE of ISO 13385-1:2019 is meant at 20 °C
//     and with the zero set on the closed faces (second-hand), so the zero and
//     the temperature come on top.
//   - resolution: not divided by √n, because readings that come out alike share
//     their rounding.
//   - repeatability: of a study with the same caliper it has some of the
//     rounding in it, which then counts twice, on the larger side.
//   - zero: when checked, √(value² + step²/12): the shift that was seen and not
//     taken out counts whole and does not average, plus the rounding of that
//     reading. The GUM has no rule for an effect that is known and left in; the
//     square in the sum is the usual choice (Measurement Science Review 19
//     (2019), "About not Correcting for Systematic Effects", abstract seen). When
//     not checked, allowed/√3.
//   - temperature: the ferrule's alone. A caliper that is as warm takes some of
//     it back.
//
// Out-of-roundness is not in it: that is the crimp's own form and is reported as
// ovality.
func (g Gauge) Budget(diameter Length, n int) []Component {
	known := math.Inf(1)
	dof := g.RepeatabilityDof
	if dof == 0 {
		dof = known
	}
	all := []Component{
		{Name: "caliper", U: rectangular(float64(g.Limit)), Dof: known},
		{Name: "resolution", U: rounding(g.Step), Dof: known},
		{Name: "repeatability", U: float64(g.Repeatability) / math.Sqrt(float64(n)), Dof: dof},
		{Name: "zero", U: g.Zero.uncertainty(g.Step), Dof: known},
		{Name: "temperature", U: rectangular(float64(diameter) * SteelExpansion * g.Kelvin), Dof: known},
	}
	parts := all[:0]
	for _, c := range all {
		if c.U != 0 {
			parts = append(parts, c)
		}
	}
	return parts
}

// uncertainty is what the zero adds to every reading, nanometres.
func (z Zero) uncertainty(step Length) float64 {
	if !z.Checked {
		return rectangular(float64(z.Allowed))
	}
	return math.Hypot(float64(z.Value), rounding(step))
}

// rectangular is the standard uncertainty of what lies anywhere within ±limit
// (GUM 4.3.7).
func rectangular(limit float64) float64 { return limit / math.Sqrt(3) }

// rounding is the standard uncertainty of a value rounded to a step
// (GUM F.2.2.1).
func rounding(step Length) float64 { return float64(step) / math.Sqrt(12) }

// ThermalExcess is how much a steel diameter measured at a temperature is larger
// than it would be at 20 °C, nanometres: α·D·(T−20). 20 °C is the reference
// temperature of ISO 1. A ferrule that comes warm from the press reads too large:
// 25 mm at 40 °C by 5.75 µm.
func ThermalExcess(diameter Length, celsius float64) float64 {
	return float64(diameter) * SteelExpansion * (celsius - 20)
}
