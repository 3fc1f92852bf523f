package main

import (
	"fmt"
	"math"

	"benchtally/agent/config"
	"benchtally/agent/crimp"
	"benchtally/agent/record"
	"benchtally/agent/stats"
)

// budgetCommand shows what makes up the uncertainty of a mean and what it does
// to the limits.
type budgetCommand struct {
	Config     string     `default:"${config}" placeholder:"FILE" help:"Configuration; ${default}."`
	Spec       string     `placeholder:"ID" help:"Of this specification alone."`
	Resolution lengthFlag `placeholder:"LENGTH" help:"Last digit of the caliper; otherwise 0.0005in or 0.01mm, by its unit."`
	Zero       lengthFlag `placeholder:"LENGTH" help:"What the closed jaws show; otherwise as if nobody had looked."`
	JSON       bool       `name:"json" help:"Print JSON, one specification a line."`
}

// Help is what the command's help says in front of the flags.
func (*budgetCommand) Help() string {
	return `Uncertainty as the Guide to the Expression of Uncertainty in Measurement has it (JCGM 100): standard uncertainties, their root sum of squares u, effective degrees of freedom, and U, which holds the true diameter with 95 %.
A mean is inside when it is farther than the guard band within both limits (ISO 14253-1), outside when farther beyond one, and near when the caliper cannot tell.`
}

// budgeted is the budget of one specification.
type budgeted struct {
	Spec       string           `json:"spec"`
	Places     int              `json:"places"`
	Components []component      `json:"components,omitempty"` // none where u is configured
	U          crimp.Length     `json:"u_mm"`
	Dof        *float64         `json:"dof,omitempty"` // effective; absent: infinitely many
	K          float64          `json:"k"`             // of U at 95 %
	Expanded   crimp.Length     `json:"expanded_mm"`
	Confidence float64          `json:"confidence"` // of the zones
	Judged     bool             `json:"judged"`     // by the guard band; false: it only names the zones
	Guard      crimp.Length     `json:"guard_mm"`
	Lower      crimp.Length     `json:"lower_mm"`
	Upper      crimp.Length     `json:"upper_mm"`
	Inside     [2]*crimp.Length `json:"inside_mm"` // null: no mean is inside
	Outside    [2]crimp.Length  `json:"outside_mm"`
	spec       crimp.Spec
}

type component struct {
	Name string       `json:"name"`
	U    crimp.Length `json:"u_mm"`
	Dof  *float64     `json:"dof,omitempty"`
}

// Run prints the budgets.
func (c *budgetCommand) Run(e env) error {
	cfg, err := loadConfig(c.Config)
	if err != nil {
		return err
	}
	if err := c.check(cfg); err != nil {
		return invalid{err}
	}
	specs := cfg.Specs
	if c.Spec != "" {
		spec, ok := cfg.Spec(c.Spec)
		if !ok {
			return invalid{fmt.Errorf("--spec %s: there is no such specification in the files of %s", c.Spec, c.Config)}
		}
		specs = []crimp.Spec{spec}
	}
	for i, spec := range specs {
		b, err := c.of(cfg, spec)
		if err != nil {
			return invalid{fmt.Errorf("%s: %w", spec.ID, err)}
		}
		if c.JSON {
			err = writeJSON(e, b)
		} else {
			if i > 0 {
				_, err = fmt.Fprintln(e.stdout)
			}
			if err == nil {
				_, err = fmt.Fprint(e.stdout, b.text())
			}
		}
		if err != nil {
			return err
		}
	}
	return nil
}

// check finds flags that are wrong, or of no use with this configuration.
func (c *budgetCommand) check(cfg *config.Config) error {
	switch {
	case c.Resolution.unit != "" && c.Resolution.Length <= 0:
		return fmt.Errorf("--resolution %s: want more than 0", c.Resolution)
	case cfg.Measure.U > 0 && (c.Resolution.unit != "" || c.Zero.unit != ""):
		return fmt.Errorf("--resolution and --zero say nothing while measure.u is written in %s", cfg.File)
	}
	return nil
}

func (c *budgetCommand) of(cfg *config.Config, spec crimp.Spec) (budgeted, error) {
	b := budgeted{
		Spec: spec.ID, Places: cfg.Places(spec), Lower: spec.Lower(), Upper: spec.Upper(),
		Confidence: crimp.ZoneConfidence, spec: spec,
	}
	u, dof := float64(cfg.Measure.U), math.Inf(1)
	if cfg.Measure.U == 0 {
		g := cfg.Gauge()
		if c.Resolution.unit != "" {
			g.Step = c.Resolution.Length
		}
		if c.Zero.unit != "" {
			g.Zero.Checked, g.Zero.Value = true, c.Zero.Length
		}
		parts := g.Budget(spec.Diameter, b.Places)
		for _, p := range parts {
			b.Components = append(b.Components, component{p.Name, crimp.Nearest(p.U), finite(p.Dof)})
		}
		u, dof = crimp.Combine(parts)
	}
	k, err := stats.Coverage(0.95, dof)
	if err != nil {
		return b, err
	}
	b.U, b.Dof, b.K, b.Expanded = crimp.Nearest(u), finite(dof), k, crimp.Nearest(k*u)
	if b.Judged = cfg.Measure.Confidence > 0; b.Judged {
		b.Confidence = cfg.Measure.Confidence
	}
	b.Guard = crimp.Nearest(crimp.Rules{Confidence: b.Confidence}.Guard(u))
	if low, high := b.Lower+b.Guard, b.Upper-b.Guard; low <= high {
		b.Inside = [2]*crimp.Length{record.Ptr(low), record.Ptr(high)}
	}
	b.Outside = [2]crimp.Length{b.Lower - b.Guard, b.Upper + b.Guard}
	return b, nil
}

// finite is x, nil where it is infinite.
func finite(x float64) *float64 {
	if math.IsInf(x, 0) {
		return nil
	}
	return &x
}

// text is the budget for people.
func (b budgeted) text() string {
	say := b.spec.Text
	s := fmt.Sprintf("%s: %s +%s -%s, the mean of %s\n", b.Spec, say(b.spec.Diameter), say(b.spec.Plus), say(b.spec.Minus), plural(b.Places, "reading"))
	line := func(name, value, more string) { s += fmt.Sprintf("  %-14s %12s  %s\n", name, value, more) }
	for _, p := range b.Components {
		line(p.Name, micrometres(p.U), degrees(p.Dof))
	}
	if b.Components == nil {
		line("configured", micrometres(b.U), "measure.u")
	}
	line("u", micrometres(b.U), "standard uncertainty of the mean; "+degrees(b.Dof))
	line("U", micrometres(b.Expanded), fmt.Sprintf("holds the true diameter with 95 %% (k = %.3f)", b.K))
	how := fmt.Sprintf("at %g %% confidence", 100*b.Confidence)
	if !b.Judged {
		how += "; pieces are judged without it (measure.confidence = 0)"
	}
	line("guard band", micrometres(b.Guard), how)
	if b.Inside[0] == nil {
		line("inside", "none", "the guard bands leave no room: a better caliper, a better zero or more readings are wanted")
	} else {
		line("inside", say(*b.Inside[0]), "to "+say(*b.Inside[1]))
	}
	line("near", say(b.Outside[0]), "to "+say(b.Outside[1])+", and not inside: the caliper cannot tell")
	return s
}

// micrometres writes an uncertainty: a caliper's is some ten of them.
func micrometres(l crimp.Length) string {
	return fmt.Sprintf("%.1f µm", float64(l)/float64(crimp.Micrometre))
}

// degrees says how many degrees of freedom there are; GUM G.4.1 truncates them.
func degrees(dof *float64) string {
	if dof == nil {
		return "taken as known"
	}
	return fmt.Sprintf("%.0f degrees of freedom", math.Floor(*dof))
}
