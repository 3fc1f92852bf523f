package stats

import (
	"fmt"
	"slices"
	"strings"
)

// Rule says when a chart of single values alarms. The four rules are those that
// Champ and Woodall, Technometrics 29 (1987), 393-399, give run lengths of (from
// memory): the newest value must itself be beyond the rule's line, values beyond
// a farther line count too, and a value on a line is not beyond it.
//
// There is no rule for values that rise or fall in a row: in combination its
// cost in false alarms has no exact figure here, and it finds a trend no sooner
// (Davis and Woodall, Journal of Quality Technology 20 (1988), from memory). An
// average with weights or a sum of deviations does.
type Rule string

// The rules.
const (
	Beyond      Rule = "beyond"         // one beyond 3σ
	TwoOfThree  Rule = "two-of-three"   // two of three beyond 2σ, on one side
	FourOfFive  Rule = "four-of-five"   // four of five beyond 1σ, on one side
	EightInARow Rule = "eight-in-a-row" // eight in a row on one side of the center
)

// Rules are all rules.
func Rules() []Rule { return []Rule{Beyond, TwoOfThree, FourOfFive, EightInARow} }

// ParseRules reads names of rules and gives each once, in the order of Rules.
func ParseRules(names []string) ([]Rule, error) {
	var chosen []Rule
	for _, name := range names {
		r := Rule(strings.TrimSpace(name))
		if !slices.Contains(Rules(), r) {
			var all []string
			for _, r := range Rules() {
				all = append(all, string(r))
			}
			return nil, fmt.Errorf("no rule %q: there are %s", name, strings.Join(all, ", "))
		}
		chosen = append(chosen, r)
	}
	if len(chosen) == 0 {
		return nil, fmt.Errorf("no rule: a chart without one never alarms")
	}
	return slices.DeleteFunc(Rules(), func(r Rule) bool { return !slices.Contains(chosen, r) }), nil
}

// Says is the rule in one sentence.
func (r Rule) Says() string {
	switch r {
	case Beyond:
		return "one value lies beyond 3 standard deviations"
	case TwoOfThree:
		return "two of three values in a row, the newest among them, lie beyond 2 standard deviations on one side"
	case FourOfFive:
		return "four of five values in a row, the newest among them, lie beyond 1 standard deviation on one side"
	case EightInARow:
		return "eight values in a row lie on one side of the center"
	}
	return string(r)
}

// form is a rule in figures: need of the last of values beyond line·σ on one
// side, the newest among them.
func (r Rule) form() form {
	switch r {
	case Beyond:
		return form{line: 3, need: 1, of: 1}
	case TwoOfThree:
		return form{line: 2, need: 2, of: 3}
	case FourOfFive:
		return form{line: 1, need: 4, of: 5}
	case EightInARow:
		return form{line: 0, need: 8, of: 8}
	}
	return form{}
}

type form struct{ line, need, of int }

// signals are the numbers, from 1, of the values at which the rule alarms. It
// does not begin anew after an alarm.
func (r Rule) signals(values []float64, center, sigma float64) []int {
	f := r.form()
	line := float64(f.line) * sigma
	beyond := func(v float64, up bool) bool {
		if up {
			return v > center+line
		}
		return v < center-line
	}
	found := []int{}
	for i, newest := range values {
		for _, up := range []bool{true, false} {
			if !beyond(newest, up) {
				continue
			}
			n := 0
			for _, v := range values[max(0, i+1-f.of) : i+1] {
				if beyond(v, up) {
					n++
				}
			}
			if n >= f.need {
				found = append(found, i+1)
			}
		}
	}
	return found
}
