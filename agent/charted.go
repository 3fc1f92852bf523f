package main

import (
	"fmt"

	"benchtally/agent/stats"
)

// charted is what every chart answers with.
type charted struct {
	Kind    string   `json:"kind"`
	N       int      `json:"n"`
	Base    int      `json:"base"` // how many values the limits come from; 0: they were given
	Center  float64  `json:"center"`
	Sigma   *float64 `json:"sigma,omitempty"` // of single values
	Signals []int    `json:"signals"`         // from 1

	RunLength *runLength `json:"run_length,omitempty"`
	Notes     []string   `json:"notes,omitempty"` // what the reader has to bear in mind
}

// runLength is how many values the chart takes to an alarm on average.
type runLength struct {
	InControl *float64 `json:"in_control,omitempty"` // to a false one
	OneSigma  *float64 `json:"one_sigma,omitempty"`  // after a shift of one standard deviation
	Assumes   string   `json:"assumes"`
}

// individualsChart is the answer of kind individuals.
type individualsChart struct {
	charted
	Upper  float64      `json:"upper"`
	Lower  float64      `json:"lower"`
	Values []float64    `json:"values"`
	Moving movingChart  `json:"moving_range"`
	Rules  []ruleSignal `json:"rules"`
}

// movingChart is the chart of the moving range. Its signals are not among those
// of the values, nor in the run length.
type movingChart struct {
	Center  float64   `json:"center"`
	Upper   float64   `json:"upper"`
	Values  []float64 `json:"values"`  // from the second value on
	Signals []int     `json:"signals"` // the second value of the range
}

// ruleSignal is what one rule found.
type ruleSignal struct {
	Rule    stats.Rule `json:"rule"`
	Says    string     `json:"says"`
	Signals []int      `json:"signals"`
}

// ewmaChart is the answer of kind ewma.
type ewmaChart struct {
	charted
	Lambda float64   `json:"lambda"`
	Factor float64   `json:"factor"`
	Upper  float64   `json:"upper"`
	Lower  float64   `json:"lower"`
	Values []float64 `json:"values"`
	Uppers []float64 `json:"uppers,omitempty"`
	Lowers []float64 `json:"lowers,omitempty"`
}

// cusumChart is the answer of kind cusum.
type cusumChart struct {
	charted
	K      float64   `json:"k"`
	H      float64   `json:"h"`
	High   []float64 `json:"high"`
	Low    []float64 `json:"low"`
	Values []float64 `json:"values"`          // the plain sum of the deviations
	Since  int       `json:"since,omitempty"` // the value from which the sum of the first alarm grew
}

// tell adds the run lengths, and what has to be borne in mind.
func (c *charted) tell(length func(shift float64) (float64, error)) {
	r := runLength{Assumes: "independent normal values with the mean and the standard deviation known"}
	for _, of := range []struct {
		what  string
		shift float64
		to    **float64
	}{{"in control", 0, &r.InControl}, {"after a shift of one standard deviation", 1, &r.OneSigma}} {
		n, err := length(of.shift)
		if err != nil {
			c.Notes = append(c.Notes, fmt.Sprintf("no run length %s: %s", of.what, err))
			continue
		}
		*of.to = &n
	}
	if r.InControl != nil || r.OneSigma != nil {
		c.RunLength = &r
	}
	if c.Base > 0 && c.Base < stats.Rough {
		c.Notes = append(c.Notes, fmt.Sprintf("limits from %s are rough: %d or more are usual", plural(c.Base, "value"), stats.Rough))
	}
}
