package main

import (
	"errors"
	"fmt"
	"math"
	"strings"

	"benchtally/agent/crimp"
	"benchtally/agent/record"
)

// judgeCommand judges one crimp from the command line, or kept ones anew.
type judgeCommand struct {
	keptFlags
	Piece string `placeholder:"ID" help:"Of this piece, <order>/<n>."`

	Target     *lengthFlag  `placeholder:"LENGTH" help:"Crimp diameter of the specification, such as 1.200in or 30.48mm."`
	Plus       *lengthFlag  `placeholder:"LENGTH" help:"Allowed above the target."`
	Minus      *lengthFlag  `placeholder:"LENGTH" help:"Allowed below the target."`
	Setting    wholeFlag    `placeholder:"N" help:"Setting of this crimp, 000 to 999."`
	Recrimps   wholeFlag    `placeholder:"N" help:"How often the maker's sheet still allows this end to be crimped again; otherwise 0."`
	U          lengthFlag   `name:"u" placeholder:"LENGTH" help:"Standard uncertainty of the mean."`
	Confidence *float64     `placeholder:"P" help:"Conformance probability to prove, such as 0.95: narrows the limits by a guard band (ISO 14253-1)."`
	Ovality    lengthFlag   `placeholder:"LENGTH" help:"Limit of largest minus smallest reading."`
	Step       lengthFlag   `placeholder:"LENGTH" help:"Diameter change per count of the setting; otherwise 0.001in."`
	Smaller    bool         `help:"A larger setting makes the crimp smaller at this press."`
	Noise      lengthFlag   `placeholder:"LENGTH" help:"Standard deviation from piece to piece, for the aim; otherwise 0.001in."`
	ScrapCost  float64      `placeholder:"X" help:"Cost of an undersize end: with --stroke-cost, the aim of the next setting moves to the cheaper side."`
	StrokeCost float64      `placeholder:"X" help:"Cost of a second stroke on an oversize end."`
	CostShape  string       `default:"limits" enum:"limits,linear,quadratic" placeholder:"SHAPE" help:"How a cost grows with the deviation: limits, linear or quadratic; ${default}."`
	JSON       bool         `name:"json" help:"The answer is JSON in any case."`
	Readings   []lengthFlag `arg:"" optional:"" name:"reading" help:"Readings of this crimp, each with its unit."`
}

// Help is what the command's help says in front of the flags.
func (*judgeCommand) Help() string {
	return `With readings: one crimp, by --target, --plus, --minus and --setting.
Without: the crimps in the records chosen, one a line, by the specification that was kept with each. --u, --confidence and --ovality then take the place of what was configured: "what would a guard band have said?"`
}

// judged is the answer: the verdict's keys and the settings.
type judged struct {
	Piece      string        `json:"piece,omitempty"`
	Outcome    crimp.Outcome `json:"outcome"`
	Was        crimp.Outcome `json:"was,omitempty"` // as it was judged at the bench
	Mean       crimp.Length  `json:"mean_mm"`
	Deviation  crimp.Length  `json:"deviation_mm"`
	Ovality    crimp.Length  `json:"ovality_mm"`
	Readings   int           `json:"readings"`
	Crimp      int           `json:"crimp"`
	Reason     string        `json:"reason"`
	Conformity *float64      `json:"conformity,omitempty"`
	U          *crimp.Length `json:"u_mm,omitempty"`
	Guard      *crimp.Length `json:"guard_mm,omitempty"`
	Zone       crimp.Zone    `json:"zone,omitempty"`
	Hint       string        `json:"hint,omitempty"`
	Recrimp    *int          `json:"recrimp_setting,omitempty"`
	Next       *int          `json:"next_setting,omitempty"`
	Aim        *crimp.Length `json:"aim_mm,omitempty"`
}

func newJudged(v crimp.Verdict) judged {
	out := judged{
		Outcome: v.Outcome, Mean: v.Mean, Deviation: v.Deviation, Ovality: v.Ovality,
		Readings: v.Readings, Crimp: v.Crimp, Reason: v.Reason, Zone: v.Zone, Hint: v.Hint,
	}
	if !math.IsNaN(v.Conformity) {
		out.Conformity, out.U = &v.Conformity, record.Ptr(crimp.Nearest(v.U))
	}
	if v.Guard > 0 {
		out.Guard = record.Ptr(crimp.Nearest(v.Guard))
	}
	return out
}

// Run prints the judgement as JSON.
func (c *judgeCommand) Run(e env) error {
	if len(c.Readings) == 0 {
		return c.kept(e)
	}
	for _, err := range []error{c.alone("this crimp"), c.noPiece(), c.complete()} {
		if err != nil {
			return err
		}
	}
	spec := crimp.Spec{
		Diameter: c.Target.Length, Plus: c.Plus.Length, Minus: c.Minus.Length,
		Setting: c.Setting.value, Recrimps: c.Recrimps.value, Unit: c.Target.unit,
	}
	for _, f := range []*lengthFlag{&c.Step, &c.Noise} {
		if f.unit == "" {
			*f = lengthFlag{crimp.Thousandth, crimp.Inches}
		}
	}
	scale := crimp.Scale{Step: c.Step.Length, Smaller: c.Smaller, Lowest: 0, Highest: 999}
	if err := c.check(spec, scale); err != nil {
		return invalid{err}
	}
	readings := make([]crimp.Length, len(c.Readings))
	for i, r := range c.Readings {
		readings[i] = r.Length
	}
	rules := crimp.Rules{Ovality: c.Ovality.Length}
	if c.Confidence != nil {
		rules.Confidence = *c.Confidence
	}
	v := crimp.Judge(spec, readings, 1, float64(c.U.Length), rules)
	out := newJudged(v)
	if v.Outcome == crimp.Recrimp {
		a := scale.Again(v.Deviation, c.Setting.value, c.Setting.value)
		out.Recrimp = &a.Setting
		if a.Clamped {
			out.Reason += "; " + scale.OutOfReach()
		}
	}
	m := crimp.Model{Noise: float64(c.Noise.Length)}
	first := m.Update(crimp.Estimate{}, float64(v.Deviation), 1)
	costs := crimp.Costs{Shape: crimp.Shape(c.CostShape), Scrap: c.ScrapCost, Stroke: c.StrokeCost}
	aim := math.Round(costs.Aim(spec, m.Predict(first), v.Guard))
	if aim != 0 {
		out.Aim = record.Ptr(crimp.Length(aim))
	}
	next := scale.Next(first, aim, c.Setting.value, c.Setting.value, 0)
	if out.Next = &next.Setting; out.Recrimp == nil && next.Clamped {
		out.Reason += "; " + scale.OutOfReach()
	}
	return writeJSON(e, out)
}

// kept judges the crimps in the records anew.
func (c *judgeCommand) kept(e env) error {
	if c.Target != nil || c.Plus != nil || c.Minus != nil || c.Setting.given {
		return invalid{errors.New(`no readings: write them behind the flags, such as "1.2010in 1.2005in 1.2000in"`)}
	}
	if c.Recrimps.given || c.Step.unit != "" || c.Smaller || c.Noise.unit != "" || c.ScrapCost != 0 || c.StrokeCost != 0 {
		return invalid{errors.New("--recrimps, --step, --smaller, --noise and the costs are for a crimp with readings; kept crimps have those of their specification")}
	}
	if err := c.checkRules(); err != nil {
		return invalid{err}
	}
	crimps, cfg, err := c.judged(e, 0)
	if err != nil {
		return err
	}
	rules := stationRules(cfg).Judge
	if c.Confidence != nil {
		rules.Confidence = *c.Confidence
	}
	if c.Ovality.Length > 0 {
		rules.Ovality = c.Ovality.Length
	}
	found := false
	for _, j := range crimps {
		if c.Piece != "" && j.Piece != c.Piece {
			continue
		}
		found = true
		u := j.U
		if c.U.Length > 0 {
			u = c.U.Length
		}
		out := newJudged(crimp.Judge(j.Spec, j.Readings, j.Crimp, float64(u), rules))
		out.Piece, out.Was = j.Piece, j.Outcome
		if err := writeJSON(e, out); err != nil {
			return err
		}
	}
	if !found {
		return invalid{fmt.Errorf("no measured crimp of piece %s is in the records chosen", c.Piece)}
	}
	return nil
}

// noPiece is a fault when a kept piece is named beside readings.
func (c *judgeCommand) noPiece() error {
	if c.Piece != "" {
		return invalid{errors.New("--piece chooses kept crimps: leave the readings out, or the flag")}
	}
	return nil
}

// complete says what a crimp with readings lacks.
func (c *judgeCommand) complete() error {
	var missing []string
	for _, f := range []struct {
		flag string
		set  bool
	}{{"--target", c.Target != nil}, {"--plus", c.Plus != nil}, {"--minus", c.Minus != nil}, {"--setting", c.Setting.given}} {
		if !f.set {
			missing = append(missing, f.flag)
		}
	}
	if missing != nil {
		return invalid{fmt.Errorf("missing %s: readings are judged by --target, --plus, --minus and --setting", strings.Join(missing, ", "))}
	}
	return nil
}

// check finds what is wrong with a crimp with readings, all of it.
func (c *judgeCommand) check(spec crimp.Spec, scale crimp.Scale) error {
	faults := []error{c.checkRules()}
	wrong := wrongFlags(&faults)
	wrong(spec.Diameter <= 0, "--target %s: want a diameter above 0", spec.Diameter)
	wrong(spec.Plus < 0, "--plus %s: want 0 or more", spec.Plus)
	wrong(spec.Minus < 0, "--minus %s: want 0 or more, without a sign", spec.Minus)
	wrong(spec.Minus >= spec.Diameter && spec.Minus > 0, "--minus %s: want less than the target", spec.Minus)
	wrong(spec.Plus == 0 && spec.Minus == 0, "--plus and --minus are both nothing, so no crimp could be within the limits")
	wrong(spec.Setting > 999, "--setting %d: want 0 to 999", spec.Setting)
	wrong(c.Confidence != nil && *c.Confidence != 0 && c.U.Length == 0, "--confidence needs --u, the standard uncertainty of the mean")
	const most = 1_000_000 // as in a configuration
	wrong(!(c.ScrapCost >= 0 && c.ScrapCost <= most), "--scrap-cost %g: want 0 to %d", c.ScrapCost, most)
	wrong(!(c.StrokeCost >= 0 && c.StrokeCost <= most), "--stroke-cost %g: want 0 to %d", c.StrokeCost, most)
	wrong((c.ScrapCost > 0) != (c.StrokeCost > 0), "--scrap-cost and --stroke-cost move the aim together: want both or neither")
	wrong(c.Noise.Length <= 0, "--noise %s: want more than 0", c.Noise)
	wrong(scale.Step <= 0, "--step %s: want more than 0", scale.Step)
	for _, r := range c.Readings {
		wrong(r.Length <= 0, "reading %s: want a diameter above 0", r.Length)
	}
	return errors.Join(faults...)
}

// checkRules finds what is wrong with the rules of judging.
func (c *judgeCommand) checkRules() error {
	var faults []error
	wrong := wrongFlags(&faults)
	wrong(c.U.Length < 0, "--u %s: want 0 or more", c.U.Length)
	wrong(c.Ovality.Length < 0, "--ovality %s: want 0 or more", c.Ovality.Length)
	if p := c.Confidence; p != nil && *p != 0 {
		wrong(!(*p >= 0.5 && *p < 1), "--confidence %g: want 0.5 to below 1, such as 0.95", *p)
	}
	return errors.Join(faults...)
}
