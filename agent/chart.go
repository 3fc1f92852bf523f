package main

import (
	"errors"
	"fmt"

	"benchtally/agent/stats"
)

// chartCommand charts a series of measured values.
type chartCommand struct {
	Kind   string     `required:"" enum:"individuals,ewma,cusum" placeholder:"KIND" help:"Kind of chart: individuals (single values and their moving range), ewma (weighted average, for small shifts) or cusum (sums of deviations, for small shifts)."`
	Target numberFlag `placeholder:"X" help:"Center of the chart, if known; otherwise the mean of the base period."`
	Sigma  numberFlag `placeholder:"X" help:"Standard deviation of single values, if known; otherwise from the moving range of the base period."`
	Base   wholeFlag  `placeholder:"N" help:"The first N values are the base period, from which the limits are computed; otherwise all."`
	Rules  []string   `placeholder:"RULE" help:"individuals: what alarms, of beyond, two-of-three, four-of-five, eight-in-a-row; otherwise beyond alone. Each costs false alarms, see above."`
	Lambda numberFlag `placeholder:"X" help:"ewma: weight of the newest value, above 0 to 1; otherwise 0.2."`
	Factor numberFlag `placeholder:"X" help:"ewma: limits in standard deviations of the average; otherwise 3."`
	Exact  bool       `help:"ewma: limits that are exact for every value, so narrower at first, in uppers and lowers."`
	K      numberFlag `placeholder:"X" help:"cusum: allowance, in the unit of the values; otherwise half a standard deviation, for a shift of a whole one."`
	H      numberFlag `placeholder:"X" help:"cusum: limit of the sums, in the unit of the values; otherwise 5 standard deviations."`
	Series string     `default:"as-set" enum:"as-set,uncorrected" placeholder:"SERIES" help:"Of kept crimps: as-set, the deviation from target, or uncorrected, what it would have been had nobody touched the setting, within the latest set-up of one cage with one specification; ${default}."`
	JSON   bool       `name:"json" help:"The answer is JSON in any case."`
	File   string     `arg:"" optional:"" placeholder:"FILE" help:"One number a line; what follows # is a comment; - is standard input. Without it: the first crimps in the records chosen, in mm."`
	keptFlags
}

// Help is what the command's help says in front of the flags.
func (*chartCommand) Help() string {
	return `Chart what nobody has touched in between: the deviation from target of first crimps, not of re-crimped pieces.
"signals" are the numbers, from 1, of the values that alarm. An alarm is a reason to look for a cause and says nothing about limits of a specification.

False alarms: a process in control alarms on average every so many values, and finds a shift of one standard deviation after so many:
  individuals, beyond                            370    44
  … and two-of-three                             225    20
  … and four-of-five                             166    13
  … and eight-in-a-row                           153    15
  … and all three of them                         92     9
  ewma, lambda 0.2, factor 3                     560    11
  cusum, k 0.5 and h 5 standard deviations       465    10
"run_length" gives both for the chart asked for. They hold for independent normal values with a known mean and standard deviation; limits of few values are rough.

For cusum, --k and --h are always in the unit of the values. With both given, --sigma only serves the run length.`
}

// The usual weight and limits of an EWMA chart (common practice, no source).
const (
	usualLambda = 0.2
	usualFactor = 3
)

// Run prints the chart as JSON.
func (c *chartCommand) Run(e env) error {
	if err := c.check(); err != nil {
		return invalid{err}
	}
	if c.File == "" {
		return c.kept(e)
	}
	if err := c.alone(c.File); err != nil {
		return err
	}
	if c.Series != "as-set" {
		return invalid{errors.New("--series is for kept crimps: leave it out, or the file")}
	}
	values, err := readNumbers(e, c.File)
	if err != nil {
		return err
	}
	chart, err := c.of(values)
	if err != nil {
		return invalid{fmt.Errorf("%s: %w", shownName(c.File), err)}
	}
	return writeJSON(e, chart)
}

// kept charts the first crimps in the records: the deviation from target of
// pieces as they were set. A setting that was moved makes them follow each other
// less than the press does; uncorrected, they are as if it had stayed.
func (c *chartCommand) kept(e env) error {
	crimps, _, err := c.judged(e, 1)
	if err != nil {
		return err
	}
	note := keptNote{Unit: "mm", Series: c.Series}
	if c.Series == "uncorrected" {
		if crimps, err = latestSetUp(crimps); err != nil {
			return err
		}
		note.Spec, note.Cage, note.SetUp = crimps[0].Spec.ID, crimps[0].Cage, crimps[0].SetUp
	}
	note.Pieces = pieceIDs(crimps)
	values := make([]float64, len(crimps))
	for i, j := range crimps {
		values[i] = inMM(j.Deviation())
		if c.Series == "uncorrected" {
			values[i] = inMM(j.Offset)
		}
	}
	chart, err := c.of(values)
	if err != nil {
		return invalid{fmt.Errorf("the first crimps%s: %w", c.told(), err)}
	}
	return writeKept(e, chart, note)
}

// check finds flags that are wrong, or for another kind of chart.
func (c *chartCommand) check() error {
	var faults []error
	only := func(kind, flag string, given bool) {
		if given && c.Kind != kind {
			faults = append(faults, fmt.Errorf("--%s is for --kind %s, not %s: leave it out", flag, kind, c.Kind))
		}
	}
	only("individuals", "rules", len(c.Rules) > 0)
	only("ewma", "lambda", c.Lambda.given)
	only("ewma", "factor", c.Factor.given)
	only("ewma", "exact", c.Exact)
	only("cusum", "k", c.K.given)
	only("cusum", "h", c.H.given)
	number := func(flag string, x numberFlag, want string, good func(x float64) bool) {
		if x.given && !good(x.value) {
			faults = append(faults, fmt.Errorf("--%s %g: want %s", flag, x.value, want))
		}
	}
	number("sigma", c.Sigma, "more than 0", func(x float64) bool { return x > 0 })
	number("lambda", c.Lambda, "above 0 to 1, such as 0.2", func(x float64) bool { return x > 0 && x <= 1 })
	number("factor", c.Factor, "more than 0, such as 3", func(x float64) bool { return x > 0 })
	number("k", c.K, "0 or more", func(x float64) bool { return x >= 0 })
	number("h", c.H, "more than 0", func(x float64) bool { return x > 0 })
	if c.Base.given && c.Base.value < 2 {
		faults = append(faults, fmt.Errorf("--base %d: want 2 or more", c.Base.value))
	}
	if _, err := c.rules(); err != nil {
		faults = append(faults, fmt.Errorf("--rules: %w", err))
	}
	return errors.Join(faults...)
}

// rules are the rules chosen.
func (c *chartCommand) rules() ([]stats.Rule, error) {
	if len(c.Rules) == 0 {
		return []stats.Rule{stats.Beyond}, nil
	}
	return stats.ParseRules(c.Rules)
}

// of charts the values, wherever they come from. What it gives is for JSON; its
// error tells of the values or of the flags.
func (c *chartCommand) of(values []float64) (any, error) {
	basis := stats.Basis{Target: c.Target.pointer(), Sigma: c.Sigma.pointer()}
	if c.Base.given {
		basis.First = c.Base.value
	}
	switch c.Kind {
	case "individuals":
		return c.individuals(values, basis)
	case "ewma":
		return c.ewma(values, basis)
	default:
		return c.cusum(values, basis)
	}
}

func (c *chartCommand) individuals(values []float64, basis stats.Basis) (any, error) {
	rules, err := c.rules()
	if err != nil {
		return nil, err
	}
	chart, err := stats.IndividualsOf(values, basis)
	if err != nil {
		return nil, err
	}
	out := individualsChart{
		charted: charted{Kind: c.Kind, N: len(values), Base: chart.Base, Center: chart.Center, Sigma: &chart.Sigma},
		Upper:   chart.Upper, Lower: chart.Lower, Values: chart.Values,
		Moving: movingChart(chart.Moving),
	}
	alarms := make([]bool, len(values)+1)
	for _, r := range rules {
		found := ruleSignal{r, r.Says(), chart.Signals(r)}
		out.Rules = append(out.Rules, found)
		for _, n := range found.Signals {
			alarms[n] = true
		}
	}
	out.Signals = []int{}
	for n, alarm := range alarms {
		if alarm {
			out.Signals = append(out.Signals, n)
		}
	}
	out.tell(func(shift float64) (float64, error) { return stats.RunLengthOfRules(rules, shift) })
	return out, nil
}

func (c *chartCommand) ewma(values []float64, basis stats.Basis) (any, error) {
	w := stats.Weights{Lambda: usualLambda, Factor: usualFactor, Exact: c.Exact}
	if c.Lambda.given {
		w.Lambda = c.Lambda.value
	}
	if c.Factor.given {
		w.Factor = c.Factor.value
	}
	chart, err := stats.EWMAOf(values, basis, w)
	if err != nil {
		return nil, err
	}
	out := ewmaChart{
		charted: charted{Kind: c.Kind, N: len(values), Base: chart.Base, Center: chart.Center, Sigma: &chart.Sigma, Signals: chart.Signals},
		Lambda:  w.Lambda, Factor: w.Factor, Upper: chart.Upper, Lower: chart.Lower,
		Values: chart.Values, Uppers: chart.Uppers, Lowers: chart.Lowers,
	}
	out.tell(func(shift float64) (float64, error) { return stats.RunLengthOfEWMA(w, shift) })
	return out, nil
}

func (c *chartCommand) cusum(values []float64, basis stats.Basis) (any, error) {
	chart, err := stats.CUSUMOf(values, basis, stats.Allowance{K: c.K.pointer(), H: c.H.pointer()})
	if err != nil {
		return nil, err
	}
	out := cusumChart{
		charted: charted{Kind: c.Kind, N: len(values), Base: chart.Base, Center: chart.Center, Signals: chart.Signals},
		K:       chart.K, H: chart.H, High: chart.High, Low: chart.Low, Values: chart.Sum, Since: chart.Since,
	}
	// With target, k and h given the chart needs no standard deviation, but its
	// run length does.
	sigma, from, err := stats.SigmaOf(values, basis)
	if err != nil {
		if c.Sigma.given {
			return nil, err
		}
		out.Notes = append(out.Notes, fmt.Sprintf("no run length: %s", err))
		return out, nil
	}
	out.Sigma = &sigma
	if out.Base == 0 && from > 0 {
		out.Notes = append(out.Notes, fmt.Sprintf("the standard deviation, which only the run length needs here, comes from %s", plural(from, "value")))
	}
	out.tell(func(shift float64) (float64, error) {
		return stats.RunLengthOfCUSUM(chart.K/sigma, chart.H/sigma, shift)
	})
	return out, nil
}
