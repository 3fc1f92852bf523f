package stats

import (
	"errors"
	"math"

	"gonum.org/v1/gonum/mat"
)

// RunLengthOfRules is the average run length of a chart of single values with
// any of the rules, exact by an absorbing Markov chain as in Champ and Woodall,
// Technometrics 29 (1987), 393-399 (from memory).
func RunLengthOfRules(rules []Rule, shift float64) (float64, error) {
	if err := checkShift(shift); err != nil {
		return 0, err
	}
	if len(rules) == 0 {
		return 0, errors.New("no rule: a chart without one never alarms")
	}
	c := chainOf(rules)
	p := zones(shift)
	// With Q the probabilities of going from state to state without an alarm,
	// the run lengths of all states solve (I − Q)·length = 1.
	n := len(c)
	m := mat.NewDense(n, n, nil)
	for from, to := range c {
		m.Set(from, from, 1)
		for zone, next := range to {
			if next >= 0 {
				m.Set(from, next, m.At(from, next)-p[zone])
			}
		}
	}
	return told(solve(m, 0))
}

// A zone is where a value lies: its side, and how many lines it is beyond
// besides the center. 0 to 3 are above the center, 4 to 7 below.
const sideZones = 4

// zones are the probabilities of the zones when the mean is shifted.
func zones(shift float64) (p [2 * sideZones]float64) {
	for i := range sideZones {
		near, far := float64(i), float64(i+1)
		if i == sideZones-1 {
			far = math.Inf(1)
		}
		p[i] = normalBetween(near-shift, far-shift)
		p[sideZones+i] = normalBetween(-far-shift, -near-shift)
	}
	return p
}

// memory is what the rules still need of the past: for each rule and side one
// bit for each earlier value, the latest lowest, set where it was beyond the line.
type memory [4][2]uint8

// chain are the states that can be reached without an alarm, the first of them
// the fresh start, and where each zone of the next value leads; -1 is an alarm.
type chain [][2 * sideZones]int

// chainOf builds the states of a set of rules by following every zone from the
// fresh start.
func chainOf(rules []Rule) chain {
	var c chain
	number := map[memory]int{{}: 0}
	for states := []memory{{}}; len(c) < len(states); {
		var to [2 * sideZones]int
		for zone := range to {
			next, alarm := states[len(c)].after(zone, rules)
			at, known := number[next]
			switch {
			case alarm:
				at = -1
			case !known:
				at = len(states)
				number[next] = at
				states = append(states, next)
			}
			to[zone] = at
		}
		c = append(c, to)
	}
	return c
}

// after is what is remembered when a value in the zone has come, and whether it
// makes any rule alarm.
func (m memory) after(zone int, rules []Rule) (next memory, alarm bool) {
	for i, r := range rules {
		f := r.form()
		for side := range 2 {
			past := m[i][side]
			if zone/sideZones == side && zone%sideZones >= f.line {
				alarm = alarm || 1+ones(past, f.of-1) >= f.need
				past = past<<1 | 1
			} else {
				past <<= 1
			}
			next[i][side] = f.useful(past)
		}
	}
	return next, alarm
}

// ones counts the bits of the latest n values.
func ones(past uint8, n int) int {
	count := 0
	for i := range n {
		count += int(past >> i & 1)
	}
	return count
}

// useful clears the bits that can take part in no alarm any more, even if every
// value from now on is beyond the line: that keeps the states few.
func (f form) useful(past uint8) uint8 {
	for age := f.of - 1; age >= 1; age-- {
		helps := false
		for to := 1; to <= f.of-age; to++ { // so many values from now on
			helps = helps || to+ones(past, f.of-to) >= f.need
		}
		if helps {
			return past & (1<<age - 1)
		}
	}
	return 0
}
