package config

import (
	"fmt"
	"strings"

	"benchtally/agent/crimp"
)

// warnTolerances warns of what leaves no room in the tolerances.
func (c *Config) warnTolerances(warn warner) {
	c.warnSpecs("measure.confidence", "the guard band leaves no room to pass: take a finer caliper, or decide for a lower confidence", func(s crimp.Spec) bool {
		// z·u on both sides (ISO 14253-1).
		band := 2 * crimp.Rules{Confidence: c.Measure.Confidence}.Guard(c.uncertainty(s))
		return band > float64(s.Plus+s.Minus)
	}, warn)
	c.warnSpecs("setting.step", "one count of the setting changes the diameter by more than the whole tolerance", func(s crimp.Spec) bool {
		return c.Scale.Step > s.Plus+s.Minus
	}, warn)
	// Of normal deviates 31.7 % lie beyond one standard deviation.
	c.warnSpecs("correction.noise_sd", "pieces of one setting differ by more than half the tolerance, so that three in ten or more are beyond the limits at any setting", func(s crimp.Spec) bool {
		return 2*c.Correction.NoiseSD > s.Plus+s.Minus
	}, warn)
	if costs := c.Correction.Costs; costs.Told() && costs.Shape == crimp.AtLimits {
		key := "correction.cost_shape"
		if !c.written(key) {
			key = "correction.scrap_cost"
		}
		c.warnSpecs(key, `with cost_shape = "limits" the aim is about the middle of the limits, not about the target as with "linear" and "quadratic", where plus and minus differ`, func(s crimp.Spec) bool {
			return s.Plus != s.Minus
		}, warn)
	}
}

// uncertainty is the standard uncertainty of the mean of a piece, nanometres,
// as far as it is known before a reading: the last digit is taken to be the
// usual one, 0.01 mm or half a thousandth of an inch (common practice, no
// source), and the zero not to be checked.
func (c *Config) uncertainty(s crimp.Spec) float64 {
	if c.Measure.U > 0 {
		return float64(c.Measure.U)
	}
	u, _ := crimp.Combine(c.Gauge().Budget(s.Diameter, c.Places(s)))
	return u
}

// places is how many readings a piece of a specification wants, and the key
// that says so.
func (c *Config) places(s crimp.Spec) (n int, key string) {
	if s.Places > 0 {
		return c.Places(s), specsTable + ".file"
	}
	return c.Places(s), "measure.places"
}

// warnPlaces warns of numbers of places at which the marks of the dies do not
// even out, each pair of numbers in a line of its own.
func (c *Config) warnPlaces(warn warner) {
	type around struct {
		places, dies int
		key          string
	}
	ids := map[around][]string{}
	var all []around // in the order in which the specifications bring them
	for _, s := range c.Specs {
		a := around{dies: s.Dies}
		a.places, a.key = c.places(s)
		if a.dies == 0 {
			a.dies = c.Measure.Dies
		}
		if !crimp.Aliases(a.places, a.dies) {
			continue
		}
		if ids[a] == nil {
			all = append(all, a)
		}
		ids[a] = append(ids[a], s.ID)
	}
	for _, a := range all {
		text := fmt.Sprintf("%d places evenly around %d dies all fall on the marks alike and keep their full error", a.places, a.dies)
		if a.places == 1 {
			text = fmt.Sprintf("one place around %d dies takes the full error of the marks", a.dies)
		}
		text += fmt.Sprintf(": %s places even them out (or follow the maker's sheet where it says to measure on the flats)", evenPlaces(a.dies))
		warn(a.key, text+": "+some(ids[a]))
	}
}

// evenPlaces lists the numbers of places that even out the marks of the dies,
// as far as anybody would measure so many (no source): "3, 5, 6, 7 or 8". There
// are several for every number of dies that a file may name.
func evenPlaces(dies int) string {
	const most = 8
	var numbers []string
	for _, n := range crimp.GoodPlaces(dies) {
		if n <= most {
			numbers = append(numbers, fmt.Sprint(n))
		}
	}
	last := len(numbers) - 1
	return strings.Join(numbers[:last], ", ") + " or " + numbers[last]
}

// warnSpecs warns once of all specifications that match.
func (c *Config) warnSpecs(key, text string, match func(crimp.Spec) bool, warn warner) {
	var ids []string
	for _, s := range c.Specs {
		if match(s) {
			ids = append(ids, s.ID)
		}
	}
	if len(ids) > 0 {
		warn(key, text+": "+some(ids))
	}
}

// some names the first few ids and counts the others.
func some(ids []string) string {
	const most = 5
	names := strings.Join(ids[:min(most, len(ids))], ", ")
	if more := len(ids) - most; more > 0 {
		names += fmt.Sprintf(" and %d more", more)
	}
	return names
}
