package main

import (
	"fmt"

	"benchtally/agent/stats"
)

// trendCommand fits a line to points and says where it meets a limit.
type trendCommand struct {
	Limit numberFlag `placeholder:"X" help:"Value of y to look ahead to."`
	JSON  bool       `name:"json" help:"The answer is JSON in any case."`
	File  string     `arg:"" placeholder:"FILE" help:"CSV file with columns x,y, such as a cage's strokes and the offset measured; - is standard input. Other columns are ignored."`
}

// Help is what the command's help says in front of the flags.
func (*trendCommand) Help() string {
	return `"slope" and "intercept" are by least squares, with their standard deviations; "median_slope" and "median_intercept" are the median of the slopes between all pairs of points (Theil and Sen) and of y - slope·x, which a few wild points cannot bend.

With --limit, "crossing" is the x at which the line of least squares has the limit's height, and "crossing_low" to "crossing_high" where a single new value meets it with 95 %. "remaining" counts from the largest x on. When that cannot be told, "forecast" is "none" and "reason" says why. A forecast holds while nothing changes: begin a new file after a tear-down or with another cage.`
}

// trended is the answer.
type trended struct {
	stats.Trend
	*stats.Forecast
}

// Run prints the trend as JSON.
func (c *trendCommand) Run(e env) error {
	t, err := readTable(e, c.File)
	if err != nil {
		return err
	}
	var x, y []float64
	if err := t.take(tableColumn{name: "x", numbers: &x}, tableColumn{name: "y", numbers: &y}); err != nil {
		return err
	}
	out, err := c.of(x, y)
	if err != nil {
		return invalid{fmt.Errorf("%s: %w", shownName(c.File), err)}
	}
	return printAnswer(e, out)
}

// of fits the line to the points, wherever they come from. What it gives is for
// JSON.
func (c *trendCommand) of(x, y []float64) (any, error) {
	trend, err := stats.TrendOf(x, y)
	if err != nil {
		return nil, err
	}
	out := trended{Trend: trend}
	if c.Limit.given {
		forecast, err := trend.Forecast(c.Limit.value)
		if err != nil {
			return nil, err
		}
		out.Forecast = &forecast
	}
	return out, nil
}
