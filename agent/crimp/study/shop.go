package study

import (
	"fmt"
	"hash/fnv"
	"math/rand/v2"

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
		variant(r.Aimed(Told), ours{model: c.Told, costs: r.costs()})
		variant(r.Aimed(Learned), ours{model: installed, learn: true, costs: r.costs()})
		if c.Case == second {
			variant(r.Aimed(Halfway), ours{model: installed, learn: true, costs: r.costs(), halfway: true})
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

// Run lets every policy make the pieces of a cell.
func (c Cell) Run() Results {
	hash := fnv.New64a()
	_, _ = hash.Write([]byte(c.key())) // never fails
	results := Results{}
	courses := make([]course, c.Before+c.Counted)
	for shop := range pieces / (c.Pieces * c.Counted) {
		random := rand.New(rand.NewPCG(seed+uint64(shop), hash.Sum64()))
		for i := range courses {
			c.deal(random, &courses[i])
		}
		for _, p := range c.Policies() {
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
