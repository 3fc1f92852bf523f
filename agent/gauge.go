package main

import (
	"errors"
	"fmt"

	"benchtally/agent/stats"
)

// gaugeCommand judges a caliper, and those who read it, by a study.
type gaugeCommand struct {
	Tolerance numberFlag `placeholder:"X" help:"Width of the tolerance, upper minus lower limit, in the unit of the values."`
	Reference numberFlag `placeholder:"X" help:"Known size of the one part that was read again and again."`
	JSON      bool       `name:"json" help:"The answer is JSON in any case."`
	Part      string     `default:"place" enum:"place,piece" placeholder:"WHAT" help:"Of kept readings: what a part is, each place of a piece (mark them) or a whole piece; ${default}."`
	File      string     `arg:"" optional:"" placeholder:"FILE" help:"CSV file with columns by the study, or one number a line with --reference; - is standard input. Without it: a crossed study of the readings in the records chosen, in mm."`
	keptFlags
}

// Help is what the command's help says in front of the flags.
func (*gaugeCommand) Help() string {
	return `The study follows from what is given.

Columns part,appraiser,value: a crossed study, in which each appraiser reads each part equally often (10 parts, 3 appraisers and 3 trials are usual). The interaction stays in the model unless its p is above 0.25. "percent_study" is the gauge's standard deviation of the total; with --tolerance, "percent_tolerance" is 6 of them of the tolerance. Read each part at a marked place and angle, or its ovality counts as the gauge's.

Columns reference,value: linearity, with parts of known size over the range that is used.

--reference and --tolerance: a type-1 study of one part of known size, one reading a line, 25 to 50 of them. "cg" and "cgk" are with 6 standard deviations, "cg_4s" and "cgk_4s" with 4.

A study at the press: start an order as one operator and measure its pieces, all places in the order of their marks; measure them again (action "measure") for the next trial; start the same order as the next operator and do the same. Then: benchtally gauge --order ID`
}

// crossedStudy, linearityStudy and type1Study are the answers.
type crossedStudy struct {
	Study string `json:"study"`
	stats.Crossed
	PercentTolerance *float64 `json:"percent_tolerance,omitempty"`
}

type linearityStudy struct {
	Study string `json:"study"`
	stats.Linearity
}

type type1Study struct {
	Study string `json:"study"`
	stats.Type1
}

// Run prints the study as JSON.
func (c *gaugeCommand) Run(e env) error {
	if err := c.check(); err != nil {
		return invalid{err}
	}
	if c.File == "" {
		return c.kept(e)
	}
	if err := c.alone(c.File); err != nil {
		return err
	}
	if c.Part != "place" {
		return invalid{errors.New("--part is for kept readings: leave it out, or the file")}
	}
	out, err := c.study(e)
	if err != nil {
		return err
	}
	return writeJSON(e, out)
}

// check finds flags that are wrong.
func (c *gaugeCommand) check() error {
	var faults []error
	if c.Tolerance.given && c.Tolerance.value <= 0 {
		faults = append(faults, fmt.Errorf("--tolerance %g: want the width between the limits, more than 0", c.Tolerance.value))
	}
	if c.Reference.given && !c.Tolerance.given {
		faults = append(faults, errors.New("--reference needs --tolerance, the width between the limits of what will be measured"))
	}
	return errors.Join(faults...)
}

// kept is a crossed study of kept readings: whoever was told as the operator is
// the appraiser.
func (c *gaugeCommand) kept(e env) error {
	if c.Reference.given {
		return invalid{errors.New("--reference is for a file of readings of one part, and no file is named")}
	}
	readings, err := c.readings(e)
	if err != nil {
		return err
	}
	rows := make([]stats.GaugeReading, len(readings))
	for i, r := range readings {
		rows[i] = stats.GaugeReading{Part: r.Piece, Appraiser: r.Operator, Value: inMM(float64(r.Value))}
		if c.Part == "place" {
			rows[i].Part = fmt.Sprintf("%s, place %d", r.Piece, r.Place)
		}
		if r.Operator == "" {
			return invalid{fmt.Errorf("piece %s was measured while no operator was named: start the order with the operator's name", r.Piece)}
		}
	}
	out, err := c.crossed(rows)
	if err != nil {
		return invalid{fmt.Errorf("the readings%s: %w", c.told(), err)}
	}
	return writeKept(e, out, keptNote{Unit: "mm"})
}

// study reads the file and picks the study that it is of.
func (c *gaugeCommand) study(e env) (any, error) {
	told := func(out any, err error) (any, error) {
		if err != nil {
			return nil, invalid{fmt.Errorf("%s: %w", shownName(c.File), err)}
		}
		return out, nil
	}
	if c.Reference.given {
		readings, err := readNumbers(e, c.File)
		if err != nil {
			return nil, err
		}
		return told(c.type1(readings))
	}
	t, err := readTable(e, c.File)
	if err != nil {
		return nil, err
	}
	switch {
	case t.has("part", "appraiser"), !t.has("reference") && (t.has("part") || t.has("appraiser")):
		var parts, appraisers []string
		var values []float64
		err := t.take(tableColumn{name: "part", texts: &parts}, tableColumn{name: "appraiser", texts: &appraisers}, tableColumn{name: "value", numbers: &values})
		if err != nil {
			return nil, err
		}
		rows := make([]stats.GaugeReading, len(values))
		for i := range rows {
			rows[i] = stats.GaugeReading{Part: parts[i], Appraiser: appraisers[i], Value: values[i]}
		}
		return told(c.crossed(rows))
	case t.has("reference"):
		var references, values []float64
		if err := t.take(tableColumn{name: "reference", numbers: &references}, tableColumn{name: "value", numbers: &values}); err != nil {
			return nil, err
		}
		if c.Tolerance.given {
			return nil, invalid{errors.New("--tolerance: a study with columns reference,value has no use for it: leave it out")}
		}
		return told(c.linearity(references, values))
	}
	return nil, invalid{fmt.Errorf("%s:%d: the header names no study: want part,appraiser,value or reference,value; "+
		"for one reading a line of one part give --reference and --tolerance", t.file, t.line)}
}

// crossed computes a crossed study, wherever its readings come from. What it
// gives is for JSON, as with the others.
func (c *gaugeCommand) crossed(rows []stats.GaugeReading) (any, error) {
	study, err := stats.CrossedOf(rows)
	if err != nil {
		return nil, err
	}
	out := crossedStudy{Study: "crossed", Crossed: study}
	if c.Tolerance.given {
		out.PercentTolerance = new(100 * 6 * study.Gauge / c.Tolerance.value)
	}
	return out, nil
}

func (c *gaugeCommand) linearity(references, values []float64) (any, error) {
	study, err := stats.LinearityOf(references, values)
	if err != nil {
		return nil, err
	}
	return linearityStudy{"linearity", study}, nil
}

func (c *gaugeCommand) type1(readings []float64) (any, error) {
	study, err := stats.Type1Of(readings, c.Reference.value, c.Tolerance.value)
	if err != nil {
		return nil, err
	}
	return type1Study{"type1", study}, nil
}
