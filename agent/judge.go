package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"strings"

	"benchtally/agent/crimp"
)

// judgeCommand judges one crimp from the command line.
type judgeCommand struct {
	Target     lengthFlag   `required:"" placeholder:"LENGTH" help:"Crimp diameter of the specification, such as 1.200in or 30.48mm."`
	Plus       lengthFlag   `required:"" placeholder:"LENGTH" help:"Allowed above the target."`
	Minus      lengthFlag   `required:"" placeholder:"LENGTH" help:"Allowed below the target."`
	Setting    int          `required:"" placeholder:"N" help:"Setting of this crimp, 0 to 999."`
	Recrimps   int          `default:"0" placeholder:"N" help:"How often the maker's sheet still allows this end to be crimped again; ${default}."`
	U          lengthFlag   `name:"u" placeholder:"LENGTH" help:"Standard uncertainty of the mean."`
	Confidence float64      `placeholder:"P" help:"Conformance probability to prove, such as 0.95: narrows the limits by a guard band (ISO 14253-1)."`
	Ovality    lengthFlag   `placeholder:"LENGTH" help:"Limit of largest minus smallest reading."`
	Step       lengthFlag   `default:"0.001in" placeholder:"LENGTH" help:"Diameter change per count of the setting; ${default}."`
	Smaller    bool         `help:"A larger setting makes the crimp smaller at this press."`
	JSON       bool         `name:"json" help:"The answer is JSON in any case."`
	Readings   []lengthFlag `arg:"" name:"reading" help:"Readings of this crimp, each with its unit."`
}

// lengthFlag is a length on the command line, and the unit it was written in.
type lengthFlag struct {
	crimp.Length
	unit crimp.Unit
}

// UnmarshalText reads a length with its unit.
func (l *lengthFlag) UnmarshalText(b []byte) (err error) {
	l.Length, err = crimp.ParseLength(string(b))
	l.unit = crimp.Millimetres
	if strings.HasSuffix(strings.TrimSpace(string(b)), string(crimp.Inches)) {
		l.unit = crimp.Inches
	}
	return err
}

// judged is the answer: the verdict's keys and the settings.
type judged struct {
	Outcome    crimp.Outcome `json:"outcome"`
	Mean       crimp.Length  `json:"mean_mm"`
	Deviation  crimp.Length  `json:"deviation_mm"`
	Ovality    crimp.Length  `json:"ovality_mm"`
	Readings   int           `json:"readings"`
	Crimp      int           `json:"crimp"`
	Reason     string        `json:"reason"`
	Conformity *float64      `json:"conformity,omitempty"`
	U          *crimp.Length `json:"u_mm,omitempty"`
	Recrimp    *int          `json:"recrimp_setting,omitempty"`
	Next       int           `json:"next_setting"`
}

// Run prints the judgement as JSON.
func (c *judgeCommand) Run(e env) error {
	spec := crimp.Spec{
		Diameter: c.Target.Length, Plus: c.Plus.Length, Minus: c.Minus.Length,
		Setting: c.Setting, Recrimps: c.Recrimps, Unit: c.Target.unit,
	}
	scale := crimp.Scale{Step: c.Step.Length, Smaller: c.Smaller, Lowest: 0, Highest: 999}
	if err := c.check(spec, scale); err != nil {
		return invalid{err}
	}
	readings := make([]crimp.Length, len(c.Readings))
	for i, r := range c.Readings {
		readings[i] = r.Length
	}
	v := crimp.Judge(spec, readings, 1, float64(c.U.Length), crimp.Rules{Ovality: c.Ovality.Length, Confidence: c.Confidence})
	out := judged{
		Outcome: v.Outcome, Mean: v.Mean, Deviation: v.Deviation, Ovality: v.Ovality,
		Readings: v.Readings, Crimp: v.Crimp, Reason: v.Reason,
	}
	if !math.IsNaN(v.Conformity) {
		out.Conformity, out.U = &v.Conformity, &c.U.Length
	}
	if v.Outcome == crimp.Recrimp {
		a := scale.Again(v.Deviation, c.Setting, c.Setting)
		out.Recrimp = &a.Setting
		out.Reason += outOfReach(a, scale)
	}
	first := crimp.Model{Noise: 1}.Update(crimp.Estimate{}, float64(v.Deviation), 1)
	next := scale.Next(first, 0, c.Setting, c.Setting, 0)
	if out.Next = next.Setting; out.Recrimp == nil {
		out.Reason += outOfReach(next, scale)
	}
	enc := json.NewEncoder(e.stdout)
	enc.SetEscapeHTML(false)
	return enc.Encode(out)
}

// outOfReach says that a setting is only the nearest that can be dialled.
func outOfReach(a crimp.Advice, s crimp.Scale) string {
	if !a.Clamped {
		return ""
	}
	return fmt.Sprintf("; the target is out of reach: the setting goes from %s to %s", crimp.Dial(s.Lowest), crimp.Dial(s.Highest))
}

func (c *judgeCommand) check(spec crimp.Spec, scale crimp.Scale) error {
	var faults []error
	wrong := func(bad bool, format string, args ...any) {
		if bad {
			faults = append(faults, fmt.Errorf(format, args...))
		}
	}
	wrong(spec.Diameter <= 0, "--target %s: want a diameter above 0", spec.Diameter)
	wrong(spec.Plus < 0, "--plus %s: want 0 or more", spec.Plus)
	wrong(spec.Minus < 0, "--minus %s: want 0 or more, without a sign", spec.Minus)
	wrong(c.Setting < 0 || c.Setting > 999, "--setting %d: want 0 to 999", c.Setting)
	wrong(c.Recrimps < 0, "--recrimps %d: want 0 or more", c.Recrimps)
	wrong(c.U.Length < 0, "--u %s: want 0 or more", c.U.Length)
	wrong(c.Ovality.Length < 0, "--ovality %s: want 0 or more", c.Ovality.Length)
	wrong(c.Confidence != 0 && !(c.Confidence >= 0.5 && c.Confidence < 1), "--confidence %g: want 0.5 to below 1, such as 0.95", c.Confidence)
	wrong(c.Confidence != 0 && c.U.Length == 0, "--confidence needs --u, the standard uncertainty of the mean")
	wrong(scale.Step <= 0, "--step %s: want more than 0", scale.Step)
	for _, r := range c.Readings {
		wrong(r.Length <= 0, "reading %s: want a diameter above 0", r.Length)
	}
	return errors.Join(faults...)
}
