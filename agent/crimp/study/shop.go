package study

import (
	"fmt"
	"hash/fnv"
	"math/rand/v2"
	"slices"

	"benchtally/agent/crimp"
)

// Policy is a way of choosing the setting, by its name in the tables.
type Policy struct {
	Name   string
	learns bool
	open   func() policy // for a shop that begins
}

// Names of policies.
const (
	Leave    = "leave"    // as the sheet has it
	Whole    = "whole"    // move by the whole error
	Harmonic = "harmonic" // move by the n-th part of the error
	New      = "new"      // ours as it is installed, and not learning
	Told     = "told"     // ours, told the press's figures
	Hold     = "hold"     // told, with a dead band of one count
	Learned  = "learned"  // ours as it is installed, learning
	Careful  = "careful"  // learned, and where costs are told, they are told with the second strokes that fail
	Halfway  = "halfway"  // learned, with another rule for the second stroke
)

// Aimed is the name of one of ours that is told the costs.
func (r Ratio) Aimed(name string) string { return fmt.Sprintf("%s %g:1", name, float64(r)) }

// Policies are those that meet in a cell.
func (c Cell) Policies() (all []Policy) {
	add := func(name string, learns bool, open func() policy) {
		all = append(all, Policy{name, learns, open})
	}
	for _, m := range []struct {
		name string
		move func(crimp.Scale, int, int, crimp.Length) int
	}{{Leave, alone}, {Whole, whole}, {Harmonic, harmonic}} {
		add(m.name, false, func() policy { return &rule{scale: scale, move: m.move} })
	}
	variant := func(name string, o ours) {
		o.scale = scale
		add(name, o.learn, func() policy { fresh := o; return &fresh })
	}
	installed := crimp.Model{Noise: float64(count)}
	variant(New, ours{model: installed})
	variant(Told, ours{model: c.Told})
	variant(Hold, ours{model: c.Told, hold: count})
	variant(Learned, ours{model: installed, learn: true})
	for _, r := range Ratios {
		variant(r.Aimed(Told), ours{model: c.Told, costs: r.costs(0)})
		variant(r.Aimed(Learned), ours{model: installed, learn: true, costs: r.costs(0)})
		if c.Case == second {
			variant(r.Aimed(Careful), ours{model: installed, learn: true, costs: r.costs(c.fails)})
			variant(r.Aimed(Halfway), ours{model: installed, learn: true, costs: r.costs(0), halfway: true})
		}
	}
	if c.Case == second {
		variant(Halfway, ours{model: installed, learn: true, halfway: true})
	}
	return all
}

// The chances come from seed, about which there is nothing special; a policy
// makes about so many pieces in a cell.
const (
	seed   = 2026
	pieces = 40_000
)

// Results are the shops of a cell by the name of their policy.
type Results map[string][]Tally

// Run lets every policy make the pieces of a cell. Where the second stroke is
// studied, a shop that aims at the target counts first, by other chances, how
// many fail.
func (c Cell) Run() Results {
	if c.Case == second {
		before := c.play(seed+1<<32, func(p Policy) bool { return p.Name == Learned })
		if all := sum(before[Learned]); all.Seconds > 0 {
			c.fails = float64(all.Fails) / float64(all.Seconds)
		}
	}
	return c.play(seed, func(Policy) bool { return true })
}

// play lets those policies make the pieces of a cell that take part.
func (c Cell) play(first uint64, part func(Policy) bool) Results {
	hash := fnv.New64a()
	_, _ = hash.Write([]byte(c.key())) // never fails
	results := Results{}
	policies := slices.DeleteFunc(c.Policies(), func(p Policy) bool { return !part(p) })
	courses := make([]course, c.Before+c.Counted)
	for shop := range pieces / (c.Pieces * c.Counted) {
		random := rand.New(rand.NewPCG(first+uint64(shop), hash.Sum64()))
		for i := range courses {
			c.deal(random, &courses[i])
		}
		for _, p := range policies {
			var taught, counted Tally
			made := p.open()
			for i := range courses {
				switch {
				case i >= c.Before:
					courses[i].run(made, &counted)
				case p.learns:
					courses[i].run(made, &taught)
				}
			}
			results[p.Name] = append(results[p.Name], counted)
		}
	}
	return results
}
