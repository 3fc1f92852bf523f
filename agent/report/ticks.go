package report

import "math"

// ticks are where an axis is marked: every 1, 2 or 5 times a power of ten, the
// finest of them that makes no more than most marks (Heckbert's rule of nice
// numbers, Graphics Gems, 1990, from memory). Whole says that only whole numbers
// are marked. The step is 0, and there are no marks, when low is not below high.
func ticks(low, high float64, most int, whole bool) (at []float64, step float64) {
	if !(low < high) || most < 1 {
		return nil, 0
	}
	step = math.Pow(10, math.Floor(math.Log10((high-low)/float64(most))))
	if whole {
		step = max(1, step)
	}
	for _, nice := range []float64{1, 2, 5, 10, 20} {
		first, last := math.Ceil(low/(step*nice)-tiny), math.Floor(high/(step*nice)+tiny)
		if last-first+1 > float64(most) {
			continue
		}
		step *= nice
		for k := first; k <= last; k++ {
			at = append(at, k*step)
		}
		return at, step
	}
	return nil, 0 // not reached: twenty times the power leaves fewer than most
}

// tiny is what rounding may have taken from a mark that lies on the end of its axis.
const tiny = 1e-9

// decimals is how many decimals the marks of a step are told with.
func decimals(step float64) int {
	if step <= 0 {
		return 0
	}
	return max(0, int(-math.Floor(math.Log10(step)+tiny)))
}
