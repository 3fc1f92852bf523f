package main

import (
	"errors"
	"fmt"

	"benchtally/agent/crimp"
	"benchtally/agent/record"
	"benchtally/agent/station"
	"benchtally/agent/stats"
)

// capabilityCommand says how measured values lie between their limits.
type capabilityCommand struct {
	Lower      numberFlag `placeholder:"X" help:"Lower limit, in the unit of the values."`
	Upper      numberFlag `placeholder:"X" help:"Upper limit, in the unit of the values."`
	U          numberFlag `name:"u" placeholder:"X" help:"Standard uncertainty of a value: adds the risk of wrong decisions."`
	Confidence numberFlag `placeholder:"P" help:"With --u: pieces pass within limits that are narrowed for this conformance probability, such as 0.95 (ISO 14253-1)."`
	JSON       bool       `name:"json" help:"The answer is JSON in any case."`
	File       string     `arg:"" optional:"" placeholder:"FILE" help:"One number a line, in the order in which they arose; what follows # is a comment; - is standard input. Without it: the deviations of the first crimps in the records chosen, in mm, between the limits of their specification."`
	keptFlags
}

// Help is what the command's help says in front of the flags.
func (*capabilityCommand) Help() string {
	return `Take the values of first crimps at a setting that was left alone. What was re-crimped or sorted is not normal any more, and the indices then mean nothing: look at the counts "below" and "above".

"cp", "cpk" (the smaller of "cpl", "cpu") and their 95 % bounds are from the standard deviation of all values, "within_cp" and "within_cpk" from that of one value to the next, without slow wandering. "cpl_bound" and "cpu_bound" are what an index is at least, with 95 % confidence: say those when values are few. "ppm_below" and "ppm_above" expect normal scatter.

"risk" is for a piece picked at random: "conforming" is the share of the process within limits, "wrong_pass" the share that passes though it is outside, "wrong_reject" the share that is rejected though it is within (JCGM 106). It takes the mean and standard deviation of the values for those of the process.`
}

// capable is the answer.
type capable struct {
	stats.Capability
	Risk *stats.Risk `json:"risk,omitempty"`
}

// Run prints the capability as JSON.
func (c *capabilityCommand) Run(e env) error {
	if c.File == "" {
		return c.kept(e)
	}
	if err := c.alone(c.File); err != nil {
		return err
	}
	if err := c.check(); err != nil {
		return invalid{err}
	}
	values, err := readNumbers(e, c.File)
	if err != nil {
		return err
	}
	out, err := c.of(values)
	if err != nil {
		return invalid{fmt.Errorf("%s: %w", shownName(c.File), err)}
	}
	return writeJSON(e, out)
}

// kept judges the first crimps in the records between the limits of their
// specification, as deviations from its target in mm.
func (c *capabilityCommand) kept(e env) error {
	if c.Lower.given || c.Upper.given {
		return invalid{errors.New("--lower and --upper are for a file of values, and no file is named; kept crimps have the limits of their specification")}
	}
	crimps, _, err := c.judged(e, 1)
	if err != nil {
		return err
	}
	if err := one(crimps, "specifications", "--spec or --order", func(j station.Judged) string { return j.Spec.ID }); err != nil {
		return err
	}
	spec := crimps[0].Spec
	if err := one(crimps, "tolerances of "+spec.ID, "--order or --since", func(j station.Judged) string {
		return fmt.Sprintf("%s +%s -%s", j.Spec.Text(j.Spec.Diameter), j.Spec.Text(j.Spec.Plus), j.Spec.Text(j.Spec.Minus))
	}); err != nil {
		return err
	}
	c.Lower = numberFlag{inMM(-float64(spec.Minus)), true}
	c.Upper = numberFlag{inMM(float64(spec.Plus)), true}
	if err := c.check(); err != nil {
		return invalid{err}
	}
	values := make([]float64, len(crimps))
	for i, j := range crimps {
		values[i] = inMM(j.Deviation())
	}
	out, err := c.of(values)
	if err != nil {
		return invalid{fmt.Errorf("the first crimps%s: %w", c.told(), err)}
	}
	return writeKept(e, out, keptNote{
		Unit: "mm", Spec: spec.ID, Lower: record.Ptr(-spec.Minus), Upper: record.Ptr(spec.Plus), Pieces: pieceIDs(crimps),
	})
}

// check finds flags that are wrong.
func (c *capabilityCommand) check() error {
	var faults []error
	wrong := wrongFlags(&faults)
	p, u := c.Confidence.value, c.U.value
	swapped := c.Lower.value >= c.Upper.value
	wrong(!c.Lower.given || !c.Upper.given, "values of a file want --lower and --upper, their limits")
	wrong(c.Lower.given && c.Upper.given && swapped, "--lower %g and --upper %g: want the lower limit below the upper one", c.Lower.value, c.Upper.value)
	wrong(c.U.given && u <= 0, "--u %g: want more than 0", u)
	wrong(p != 0 && !(p >= 0.5 && p < 1), "--confidence %g: want 0.5 to below 1, such as 0.95", p)
	wrong(p != 0 && !c.U.given, "--confidence needs --u, the standard uncertainty of a value")
	if len(faults) == 0 && u > 0 {
		a := c.acceptance()
		wrong(a.Lower >= a.Upper, "--u %g with --confidence %g: guard bands of %.6g leave nothing between the limits, so no piece could pass", u, p, a.Lower-c.Lower.value)
	}
	return errors.Join(faults...)
}

func (c *capabilityCommand) limits() stats.Interval {
	return stats.Interval{Lower: c.Lower.value, Upper: c.Upper.value}
}

// acceptance are the limits that a measured value has to lie within: narrowed
// by z·u when a conformance probability is to be proved.
func (c *capabilityCommand) acceptance() stats.Interval {
	if c.Confidence.value == 0 {
		return c.limits()
	}
	return c.limits().Guarded(crimp.Z(c.Confidence.value) * c.U.value)
}

// of judges the values, wherever they come from, with flags that have been
// checked. What it gives is for JSON.
func (c *capabilityCommand) of(values []float64) (any, error) {
	capability, err := stats.CapabilityOf(values, c.limits())
	if err != nil {
		return nil, err
	}
	out := capable{Capability: capability}
	if c.U.given {
		risk, err := stats.GlobalRisk(capability.Mean, capability.SD, c.U.value, c.limits(), c.acceptance())
		if err != nil {
			return nil, err
		}
		out.Risk = &risk
	}
	return out, nil
}
