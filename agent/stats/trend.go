package stats

import (
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/stat"
)

// Trend is a straight line through points, twice: by least squares, which uses
// all of them fully, and by medians, which a few wild ones cannot bend.
// What does not apply is nil: two points have no scatter about their line, and
// points of one height have no correlation.
type Trend struct {
	N           int      `json:"n"`
	Slope       float64  `json:"slope"` // least squares
	Intercept   float64  `json:"intercept"`
	SlopeSD     *float64 `json:"slope_sd,omitempty"`
	InterceptSD *float64 `json:"intercept_sd,omitempty"`
	ResidualSD  *float64 `json:"residual_sd,omitempty"` // n − 2
	R2          *float64 `json:"r2,omitempty"`

	MedianSlope     float64  `json:"median_slope"`     // Theil and Sen
	MedianIntercept float64  `json:"median_intercept"` // median of y − slope·x
	Tau             *float64 `json:"kendall_tau,omitempty"`

	line        line
	first, last float64 // smallest and largest x
}

// TrendOf fits a line to the points, in any order. It needs two points or more,
// 5000 at most, at different x.
func TrendOf(x, y []float64) (Trend, error) {
	if err := points(x, y); err != nil {
		return Trend{}, err
	}
	l := leastSquares(x, y)
	t := Trend{
		N: len(x), Slope: l.slope, Intercept: l.at(0),
		line: l, first: slices.Min(x), last: slices.Max(x),
	}
	t.MedianSlope, t.MedianIntercept = medianLine(x, y)
	if l.dof > 0 {
		t.SlopeSD, t.InterceptSD, t.ResidualSD = new(l.slopeSD()), new(l.atSD(0)), new(l.residual)
	}
	if l.syy > 0 {
		t.Tau = new(kendall(x, y))
		if r2 := l.r2(); finite(r2) { // not where the squares are too small for a number
			t.R2 = &r2
		}
	}
	if !finite(t.Slope) || !finite(t.Intercept) || !finite(t.MedianSlope) {
		return Trend{}, fmt.Errorf("the points hardly differ in x, from %g to %g: no slope can be computed", t.first, t.last)
	}
	return t, nil
}

// line is a straight line by least squares, kept about the points' centre, where
// numbers such as 30.48 mm with a scatter of micrometres lose no digits.
type line struct {
	n             float64
	x, y          float64 // the centre
	sxx, sxy, syy float64 // sums of squares and products about it
	slope         float64
	residual      float64 // standard deviation about the line, n − 2
	dof           float64
}

// leastSquares fits the line. x is not all the same.
func leastSquares(x, y []float64) line {
	l := line{n: float64(len(x)), dof: float64(len(x) - 2), x: stat.Mean(x, nil), y: stat.Mean(y, nil)}
	for i := range x {
		dx, dy := x[i]-l.x, y[i]-l.y
		l.sxx += dx * dx
		l.sxy += dx * dy
		l.syy += dy * dy
	}
	if slices.Min(y) == slices.Max(y) { // what is left of the mean's rounding is no slope
		l.y, l.sxy, l.syy = y[0], 0, 0
	}
	l.slope = l.sxy / l.sxx
	rest := 0.0
	for i := range x {
		d := y[i] - l.at(x[i])
		rest += d * d
	}
	if l.dof > 0 {
		l.residual = math.Sqrt(rest / l.dof)
	}
	return l
}

func (l line) at(x float64) float64 { return l.y + l.slope*(x-l.x) }

func (l line) slopeSD() float64 { return l.residual / math.Sqrt(l.sxx) }

// atSD is the standard deviation of the line's own height at x.
func (l line) atSD(x float64) float64 {
	return l.residual * math.Sqrt(1/l.n+(x-l.x)*(x-l.x)/l.sxx)
}

// r2 is the share of the scatter that the line explains; rounding makes it no
// more than 1.
func (l line) r2() float64 { return min(1, l.sxy*l.sxy/(l.sxx*l.syy)) }

// Forecast says at which x a single new value is to be expected at a limit. There
// is either a crossing, or Forecast is "none" and Reason says why.
type Forecast struct {
	Forecast string `json:"forecast,omitempty"`
	Reason   string `json:"reason,omitempty"`

	Crossing      *float64 `json:"crossing,omitempty"`
	CrossingLow   *float64 `json:"crossing_low,omitempty"` // 95 %
	CrossingHigh  *float64 `json:"crossing_high,omitempty"`
	Remaining     *float64 `json:"remaining,omitempty"` // from the largest x on, not below 0
	RemainingLow  *float64 `json:"remaining_low,omitempty"`
	RemainingHigh *float64 `json:"remaining_high,omitempty"`
	Note          string   `json:"note,omitempty"`
}

// Forecast predicts by the line of least squares where a limit is met, and
// between which x a single new value meets it with 95 %: where the bounds of the
// prediction interval have the limit's height. This is inverse prediction by
// Fieller's theorem (Draper and Smith, Applied Regression Analysis, from memory):
//
//	x̄ + (d ± (t·s/b)·√((1 + 1/n)·(1 − g) + d²/Sxx)) / (1 − g)
//
// with d the distance of the crossing from x̄ and g = t²s²/(b²Sxx). With g of 1 or
// more the slope may as well be 0, and there is no forecast. A limit has no side
// here, so a line that met it before the first point leads away from it.
func (t Trend) Forecast(limit float64) (Forecast, error) {
	l := t.line
	if !finite(limit) {
		return Forecast{}, fmt.Errorf("a limit of %g: want a number", limit)
	}
	if l.dof <= 0 {
		return none("two points make a line but do not show its scatter: want three or more"), nil
	}
	if l.slope == 0 {
		return none("the line is level: it leads to no limit"), nil
	}
	student := studentQuantile(0.025, l.dof)
	wide := student * l.residual / l.slope // a slope's half interval over the slope, times √Sxx
	g := wide * wide / l.sxx
	if !(g < 1) {
		return none("the slope is not proved: with 95 % confidence it may as well be 0, so take more points"), nil
	}
	d := (limit - l.y) / l.slope
	crossing := l.x + d
	half := math.Abs(wide) * math.Sqrt((1+1/l.n)*(1-g)+d*d/l.sxx)
	low, high := l.x+(d-half)/(1-g), l.x+(d+half)/(1-g)
	if !finite(crossing) || !finite(low) || !finite(high) {
		return none("the line is so flat that the limit lies beyond all counting"), nil
	}
	if crossing < t.first {
		return none(fmt.Sprintf("the line leads away from the limit, which it would have met at x = %.6g, before the first point", crossing)), nil
	}
	ahead := func(x float64) *float64 { return new(max(0, x-t.last)) }
	f := Forecast{
		Crossing: new(crossing), CrossingLow: new(low), CrossingHigh: new(high),
		Remaining: ahead(crossing), RemainingLow: ahead(low), RemainingHigh: ahead(high),
	}
	if crossing <= t.last {
		f.Note = "the line has met the limit already"
	}
	return f, nil
}

func none(reason string) Forecast { return Forecast{Forecast: "none", Reason: reason} }
