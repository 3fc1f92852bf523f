package stats

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/stat"
)

// Type1 is a study of one part of known size, read again and again by one
// person: what the instrument can do at best, before anybody else uses it.
type Type1 struct {
	N         int     `json:"n"`
	Reference float64 `json:"reference"`
	Mean      float64 `json:"mean"`
	SD        float64 `json:"sd"`
	Bias      float64 `json:"bias"` // mean − reference
	BiasT     float64 `json:"bias_t"`
	BiasP     float64 `json:"bias_p"` // two-sided: so large a bias by chance alone

	// A fifth of the tolerance over six standard deviations, and what the bias
	// leaves of it.
	Cg  float64 `json:"cg"`
	Cgk float64 `json:"cgk"`
	// The same over four standard deviations; both conventions are in use.
	Cg4  float64 `json:"cg_4s"`
	Cgk4 float64 `json:"cgk_4s"`

	Note string `json:"note,omitempty"`
}

// usual is how many readings a study has at least (from memory).
const usual = 25

// Type1Of computes the study from readings of a part of the given reference
// size; tolerance is the width between the limits of what will be measured.
//
//	Cg = 0.2·T/(6·s), Cgk = (0.1·T − |bias|)/(3·s)
//
// (ISO 22514-7 practice, from memory). It needs two readings that differ.
func Type1Of(readings []float64, reference, tolerance float64) (Type1, error) {
	if err := scattered(readings); err != nil {
		return Type1{}, err
	}
	switch {
	case !finite(reference):
		return Type1{}, fmt.Errorf("a reference of %g: want the part's known size", reference)
	case !(tolerance > 0) || !finite(tolerance):
		return Type1{}, fmt.Errorf("a tolerance of %g: want the width between the limits, more than 0", tolerance)
	}
	n := float64(len(readings))
	away := make([]float64, len(readings)) // from the reference: digits that all have in common are gone
	for i, r := range readings {
		away[i] = r - reference
	}
	bias, sd := stat.MeanStdDev(away, nil)
	s := Type1{
		N: len(readings), Reference: reference, Mean: reference + bias, SD: sd, Bias: bias,
		BiasT: bias / (sd / math.Sqrt(n)),
		Cg:    0.2 * tolerance / (6 * sd), Cgk: (0.1*tolerance - math.Abs(bias)) / (3 * sd),
		Cg4: 0.2 * tolerance / (4 * sd), Cgk4: (0.1*tolerance - math.Abs(bias)) / (2 * sd),
	}
	if !finite(s.BiasT) || !finite(s.Cg4) {
		return Type1{}, fmt.Errorf("the readings hardly differ beside a tolerance of %g: no index can be computed", tolerance)
	}
	s.BiasP = studentP(s.BiasT, n-1)
	if len(readings) < usual {
		s.Note = fmt.Sprintf("%d readings say little: %d to 50 are usual", len(readings), usual)
	}
	return s, nil
}
