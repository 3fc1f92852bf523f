package stats

import (
	"fmt"
	"math"
	"slices"
)

// MostPoints keeps the slopes of all pairs within some hundred megabytes.
const MostPoints = 5000

// medianLine is the line of Theil and Sen: its slope is the median of the slopes
// between all pairs of points with different x (the mean of the middle two when
// they are even in number). Its intercept is the median of y − slope·x, so that
// half of the points lie above the line; some libraries have median(y) −
// slope·median(x) instead (both from memory). As long as fewer than 29 % of the
// points are wild, they move the line little, however far off they are.
func medianLine(x, y []float64) (slope, intercept float64) {
	slopes := make([]float64, 0, len(x)*(len(x)-1)/2)
	for i := range x {
		for j := range i {
			if x[i] != x[j] {
				slopes = append(slopes, (y[i]-y[j])/(x[i]-x[j]))
			}
		}
	}
	slope = median(slopes)
	rest := make([]float64, len(x))
	for i := range x {
		rest[i] = y[i] - slope*x[i]
	}
	return slope, median(rest)
}

// median sorts the values, of which there is at least one.
func median(values []float64) float64 {
	slices.Sort(values)
	middle := len(values) / 2
	if len(values)%2 == 1 {
		return values[middle]
	}
	return values[middle-1] + (values[middle]-values[middle-1])/2
}

// kendall is the rank correlation τ of Kendall in the form for ties, τb: pairs in
// order less pairs in disorder, over the geometric mean of the pairs untied in x
// and those untied in y (from memory; R's cor has the same). NaN when all y are
// the same.
func kendall(x, y []float64) float64 {
	var order, inX, inY int
	for i := range x {
		for j := range i {
			a, b := compare(x[i], x[j]), compare(y[i], y[j])
			order += a * b
			inX += a * a
			inY += b * b
		}
	}
	return float64(order) / math.Sqrt(float64(inX)*float64(inY))
}

func compare(a, b float64) int {
	switch {
	case a < b:
		return -1
	case a > b:
		return 1
	}
	return 0
}

// points checks that x and y belong together, are numbers, and that x differs.
func points(x, y []float64) error {
	switch {
	case len(x) != len(y):
		return fmt.Errorf("%s and %s: want a y for each x", counted(len(x), "x"), counted(len(y), "y"))
	case len(x) < 2:
		return fmt.Errorf("%s: want two or more, better ten", counted(len(x), "point"))
	case len(x) > MostPoints:
		return fmt.Errorf("%d points: want %d at most, so leave out the oldest", len(x), MostPoints)
	}
	for i := range x {
		if !finite(x[i]) || !finite(y[i]) {
			return fmt.Errorf("point %d is %g, %g: want two measured values", i+1, x[i], y[i])
		}
	}
	if slices.Min(x) == slices.Max(x) {
		return fmt.Errorf("all %d points have x = %g: a trend needs points at different x", len(x), x[0])
	}
	return nil
}
