package main

import (
	"fmt"

	"benchtally/agent/crimp"
	"benchtally/agent/record"
	"benchtally/agent/stats"
)

// trendCommand fits a line to points and says where it meets a limit.
type trendCommand struct {
	Limit numberFlag `placeholder:"X" help:"Value of y to look ahead to."`
	JSON  bool       `name:"json" help:"The answer is JSON in any case."`
	File  string     `arg:"" optional:"" placeholder:"FILE" help:"CSV file with columns x,y, such as a cage's strokes and the offset measured; - is standard input. Other columns are ignored. Without it: the offset of the first crimps in the records chosen, in mm, against the strokes of their cage."`
	keptFlags
}

// Help is what the command's help says in front of the flags.
func (*trendCommand) Help() string {
	return `"slope" and "intercept" are by least squares, with their standard deviations; "median_slope" and "median_intercept" are the median of the slopes between all pairs of points (Theil and Sen) and of y - slope·x, which a few wild points cannot bend.

With --limit, "crossing" is the x at which the line of least squares has the limit's height, and "crossing_low" to "crossing_high" where a single new value meets it with 95 %. "remaining" counts from the largest x on. When that cannot be told, "forecast" is "none" and "reason" says why. A forecast holds while nothing changes: begin a new file after a tear-down or with another cage.

Of kept crimps it is the latest set-up of one cage with one specification, because loading and tear-down begin the offset anew. Without --limit it looks ahead to the offset at which pieces leave the limits at the setting that was dialled last.`
}

// trended is the answer.
type trended struct {
	stats.Trend
	*stats.Forecast
}

// Run prints the trend as JSON.
func (c *trendCommand) Run(e env) error {
	if c.File == "" {
		return c.kept(e)
	}
	if err := c.alone(c.File); err != nil {
		return err
	}
	t, err := readTable(e, c.File)
	if err != nil {
		return err
	}
	var x, y []float64
	if err := t.take(tableColumn{name: "x", numbers: &x}, tableColumn{name: "y", numbers: &y}); err != nil {
		return err
	}
	trend, err := stats.TrendOf(x, y)
	if err != nil {
		return invalid{fmt.Errorf("%s: %w", shownName(c.File), err)}
	}
	out, err := c.ahead(trend)
	if err != nil {
		return invalid{fmt.Errorf("%s: %w", shownName(c.File), err)}
	}
	return writeJSON(e, out)
}

// kept fits the line to the offset of kept first crimps against the strokes of
// their cage, within its latest set-up.
func (c *trendCommand) kept(e env) error {
	crimps, cfg, err := c.judged(e, 1)
	if err != nil {
		return err
	}
	if crimps, err = latestSetUp(crimps); err != nil {
		return err
	}
	last := crimps[len(crimps)-1]
	if n := len(crimps); n > stats.MostPoints {
		return invalid{fmt.Errorf("%d first crimps are more than a line is fitted to, %d: choose later ones with --since", n, stats.MostPoints)}
	}
	x, y := make([]float64, len(crimps)), make([]float64, len(crimps))
	for i, j := range crimps {
		x[i], y[i] = float64(j.Stroke), inMM(j.Offset)
	}
	told := func(err error) error {
		return invalid{fmt.Errorf("the %s%s since cage %s was loaded or taken apart: %w", plural(len(crimps), "first crimp"), c.told(), last.Cage, err)}
	}
	moved := cfg.Scale.Change(last.Setting - last.Spec.Setting) // what the setting takes off the offset, or adds
	note := keptNote{
		Unit: "mm", Spec: last.Spec.ID, Cage: last.Cage, SetUp: last.SetUp,
		Lower: record.Ptr(-last.Spec.Minus - moved), Upper: record.Ptr(last.Spec.Plus - moved), Pieces: pieceIDs(crimps),
	}
	trend, err := stats.TrendOf(x, y)
	if err != nil {
		return told(err)
	}
	lower, upper := inMM(float64(*note.Lower)), inMM(float64(*note.Upper))
	if now := trend.Intercept + trend.Slope*x[len(x)-1]; !c.Limit.given && (now < lower || now > upper) {
		reason := fmt.Sprintf("at the setting dialled last, %s, crimps are beyond the limits already", crimp.Dial(last.Setting))
		return writeKept(e, trended{trend, &stats.Forecast{Forecast: "none", Reason: reason}}, note)
	}
	if !c.Limit.given {
		c.Limit = numberFlag{upper, true}
		if trend.Slope < 0 {
			c.Limit.value = lower
		}
	}
	out, err := c.ahead(trend)
	if err != nil {
		return told(err)
	}
	return writeKept(e, out, note)
}

// ahead looks ahead along a line to the limit, if there is one.
func (c *trendCommand) ahead(trend stats.Trend) (trended, error) {
	if !c.Limit.given {
		return trended{Trend: trend}, nil
	}
	forecast, err := trend.Forecast(c.Limit.value)
	return trended{trend, &forecast}, err
}
