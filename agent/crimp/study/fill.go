package study

import (
	"fmt"
	"math"
	"slices"
	"strings"
)

// Presses that the words of the report name, beside those of departure.
var (
	common = plain(3, 1, 0)
	calm   = plain(0, 2, 0)
	long   = cell(grid, Press{Between: 3, Noise: 1, Drift: 0.3, Pieces: 50})
	brief  = cell(grid, Press{Between: 3, Noise: 1, Drift: 0.3, Pieces: 6})
	short  = cell(grid, Press{Between: 3, Noise: 1, Drift: 0.1, Pieces: 6})
)

// departing is the press of that name.
func departing(name string) Cell {
	all := Others()
	return all[slices.IndexFunc(all, func(c Cell) bool { return c.Case == name })]
}

// rough is the press in which pieces differ by 2 counts and set-ups by 1, by the
// piece's own share.
func rough(own float64) Cell {
	all := Others()
	return all[slices.IndexFunc(all, func(c Cell) bool {
		return c.Case == second && c.Between == 1 && c.Noise == 2 && c.Own == own
	})]
}

// fill puts the figures of the table into the words of the report.
func (t Table) fill() *strings.Replacer {
	var pairs []string
	put := func(name, text string) { pairs = append(pairs, "{"+name+"}", text) }
	cost := func(name string, c Cell, policy string, r Ratio) {
		f := t.find(c, policy).cost(r)
		if math.IsNaN(f.Value) {
			panic("the report names a cell that is not in the table: " + c.key() + " " + policy)
		}
		put(name, f.plain())
	}
	changes := func(name string, c Cell, policy string) {
		put(name, fmt.Sprintf("%.0f", t.find(c, policy).number(columnChanges)))
	}
	count := func(name string, n int) { put(name, fmt.Sprint(n)) }
	const dear = Ratio(20)
	aim, aim20, told20 := Ratio(3).Aimed(Learned), dear.Aimed(Learned), dear.Aimed(Told)

	count("settled", settled)
	count("thousands", pieces/1000)
	count("presses", len(Grid()))

	for name, policy := range map[string]string{"leave": Leave, "whole": Whole, "harmonic": Harmonic, "learned": Learned, "told": Told, "hold": Hold} {
		cost(name, common, policy, 3)
		cost(name+" 20", common, policy, dear)
		changes(name+" changes", common, policy)
	}
	cost("aim", common, aim, 3)
	cost("aim 20", common, aim20, dear)
	cost("told aim", common, Ratio(3).Aimed(Told), 3)
	cost("told aim 20", common, told20, dear)

	one := t.standing(small, 3, Harmonic, false)
	count("small presses", one.Cheaper+one.Same+one.Dearer)
	count("tie cheaper", one.Cheaper)
	count("tie dearer", one.Dearer)
	put("tie worst", one.worst(3, false))
	one = t.standing(small, 3, New, false)
	count("price cheaper", one.Cheaper)
	count("price dearer", one.Dearer)
	count("all three", t.cheapest(small, 3))
	count("all three 20", t.cheapest(small, dear))

	for name, policy := range map[string]string{"leave": Leave, "whole": Whole, "told": Told, "learned": Learned, "aim": aim} {
		cost("calm "+name, calm, policy, 3)
	}
	for name, policy := range map[string]string{"harmonic": Harmonic, "told": Told, "learned": Learned, "new": New, "aim": aim} {
		cost("long "+name, long, policy, 3)
		cost("short "+name, short, policy, 3)
	}
	saved := func(c Cell) string {
		each := (t.find(c, Learned).cost(dear).Value - t.find(c, aim20).cost(dear).Value) / 100
		return fmt.Sprintf("%.2f", each*float64(c.Pieces))
	}
	put("saved short", saved(brief))
	put("saved long", saved(long))

	for own, name := range map[float64]string{0: "rough", 0.5: "half", 1: "own"} {
		c := rough(own)
		cost(name+" learned", c, Learned, dear)
		cost(name+" aim", c, aim20, dear)
		cost(name+" careful", c, dear.Aimed(Careful), dear)
		cost(name+" halfway", c, dear.Aimed(Halfway), dear)
	}
	put("rough fails", t.find(rough(0), Learned).failing())
	put("rough told cost", fmt.Sprintf("%.1f", dear.costs(t.find(rough(0), Learned).fails()).Stroke))

	for name, c := range map[string]string{
		"off": "cage 3 off told as 0", "shift": "shift of 4", "wear": "wear of 0.2", "outliers": "outliers",
		"two": "2 pieces a set-up", "one": "1 piece a set-up", "assumed": "as assumed",
	} {
		for rule, policy := range map[string]string{"whole": Whole, "harmonic": Harmonic, "new": New, "learned": Learned} {
			cost(name+" "+rule, departing(c), policy, 3)
		}
		if name == "two" || name == "one" {
			cost(name+" told", departing(c), told20, dear) // its costs too
		} else {
			cost(name+" told", departing(c), Told, 3)
		}
		cost(name+" aim", departing(c), aim20, dear)
		cost(name+" new 20", departing(c), New, dear)
		changes(name+" changes", departing(c), Learned)
		changes(name+" told changes", departing(c), Told)
	}
	put("worn", t.standing(kinds()[len(Shares)], 3, Learned, true).worst(3, true))
	return strings.NewReplacer(pairs...)
}

// plain is a figure without its standard error.
func (f Figure) plain() string {
	if f.Value >= 10 {
		return fmt.Sprintf("%.1f", f.Value)
	}
	return fmt.Sprintf("%.2f", f.Value)
}
