package stats

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"
)

// The average run length of a chart is how many values it takes to an alarm on
// average, from a fresh start. All figures are for independent normal values
// whose mean and standard deviation are known; with limits of few values they
// are rough. A shift is that of the mean in standard deviations, there from the
// first value; 0 is the run length to a false alarm.

// longest is the longest run length that is told. Beyond it, rounding is felt,
// and nobody waits that long.
const longest = 1e9

// errLongest is instead of a run length beyond longest.
var errLongest = fmt.Errorf("the average run length is longer than %.0e values", float64(longest))

// mostShift is in σ: each value then lies beyond any limit.
const mostShift = 30

func checkShift(shift float64) error {
	if !(math.Abs(shift) <= mostShift) {
		return fmt.Errorf("a shift of %g standard deviations: want -%d to %d", shift, mostShift, mostShift)
	}
	return nil
}

// told is the run length, if it is one that can be told.
func told(length float64, err error) (float64, error) {
	switch {
	case err != nil:
		return 0, err
	case !(length >= 1-1e-9 && length <= longest):
		return 0, errLongest
	}
	return length, nil
}

// solve gives one of the run lengths of m·lengths = 1.
func solve(m *mat.Dense, which int) (float64, error) {
	lengths, err := solveAll(m)
	if err != nil {
		return 0, err
	}
	return lengths[which], nil
}

// solveAll solves m·lengths = 1. Lengths that are too long make m singular to
// rounding: they come out as infinite.
func solveAll(m *mat.Dense) ([]float64, error) {
	n, _ := m.Dims()
	one := mat.NewVecDense(n, nil)
	for i := range n {
		one.SetVec(i, 1)
	}
	var lengths mat.VecDense
	var singular mat.Condition
	switch err := lengths.SolveVec(m, one); {
	case errors.As(err, &singular):
		return slices.Repeat([]float64{math.Inf(1)}, n), nil
	case err != nil:
		return nil, err
	}
	return lengths.RawVector().Data, nil
}
