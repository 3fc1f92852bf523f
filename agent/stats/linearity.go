package stats

import (
	"fmt"
	"slices"

	"gonum.org/v1/gonum/stat"
)

// Linearity says how the bias of an instrument depends on the size that is
// measured: a line by least squares through the single biases, reading minus
// reference, over the reference. Tests against 0 are two-sided; they are nil
// where the biases do not scatter about the line.
type Linearity struct {
	N          int      `json:"n"`
	Slope      float64  `json:"slope"` // bias per unit of size
	Intercept  float64  `json:"intercept"`
	R2         *float64 `json:"r2,omitempty"`
	ResidualSD float64  `json:"residual_sd"`

	SlopeSD     float64  `json:"slope_sd"`
	SlopeT      *float64 `json:"slope_t,omitempty"`
	SlopeP      *float64 `json:"slope_p,omitempty"`
	InterceptSD float64  `json:"intercept_sd"`
	InterceptT  *float64 `json:"intercept_t,omitempty"`
	InterceptP  *float64 `json:"intercept_p,omitempty"`

	Biases []Bias `json:"biases"` // in order of the reference
}

// Bias is the mean bias at one reference, and its test against 0 by the scatter
// of the readings there; nil where there is no scatter.
type Bias struct {
	Reference float64  `json:"reference"`
	N         int      `json:"n"`
	Bias      float64  `json:"bias"`
	SD        *float64 `json:"sd,omitempty"` // one reading has none
	T         *float64 `json:"t,omitempty"`
	P         *float64 `json:"p,omitempty"`
}

// LinearityOf computes the study from readings and the known size that each was
// taken of. It needs three readings of two sizes (automotive manual's form of
// the study, from memory).
func LinearityOf(references, readings []float64) (Linearity, error) {
	switch {
	case len(readings) < 3 || len(references) == 0:
		return Linearity{}, fmt.Errorf("%s: want three or more", counted(len(readings), "reading"))
	case slices.Min(references) == slices.Max(references):
		return Linearity{}, fmt.Errorf("all references are %g: linearity shows at two sizes or more", references[0])
	}
	if err := points(references, readings); err != nil {
		return Linearity{}, err
	}
	biases := make([]float64, len(readings))
	groups := map[float64][]float64{}
	for i, r := range references {
		biases[i] = readings[i] - r
		groups[r] = append(groups[r], biases[i])
	}
	l := leastSquares(references, biases)
	out := Linearity{
		N: len(readings), Slope: l.slope, Intercept: l.at(0), ResidualSD: l.residual,
		SlopeSD: l.slopeSD(), InterceptSD: l.atSD(0),
	}
	if l.syy > 0 {
		out.R2 = new(l.r2())
	}
	out.SlopeT, out.SlopeP = test(out.Slope, out.SlopeSD, l.dof)
	out.InterceptT, out.InterceptP = test(out.Intercept, out.InterceptSD, l.dof)
	for r, group := range groups {
		b := Bias{Reference: r, N: len(group), Bias: stat.Mean(group, nil)}
		switch {
		case len(group) == 1:
		case slices.Min(group) == slices.Max(group):
			b.Bias, b.SD = group[0], new(0.0)
		default:
			sd := stat.StdDev(group, nil)
			b.SD = &sd
			b.T, b.P = test(b.Bias, stat.StdErr(sd, float64(len(group))), float64(len(group)-1))
		}
		out.Biases = append(out.Biases, b)
	}
	slices.SortFunc(out.Biases, func(a, b Bias) int { return compare(a.Reference, b.Reference) })
	if !finite(out.Slope) || !finite(out.Intercept) {
		return Linearity{}, fmt.Errorf("the references hardly differ, from %g to %g: no slope can be computed", slices.Min(references), slices.Max(references))
	}
	return out, nil
}

// test is Student's t of an estimate against 0 and its two-sided p value, or
// nothing where there is no scatter to test by.
func test(estimate, sd, dof float64) (t, p *float64) {
	ratio := estimate / sd
	if !finite(ratio) {
		return nil, nil
	}
	return &ratio, new(studentP(ratio, dof))
}
