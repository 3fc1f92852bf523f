package study

import (
	"fmt"
	"strings"
)

// words say in a table's head what a policy is.
var words = map[string]string{
	Leave: "leave it alone", Whole: "whole error", Harmonic: "harmonic rule",
	New: "ours, nothing learned", Told: "ours, told", Hold: "ours, told, dead band", Learned: "ours, learned",
	Careful: "ours, learned, failures told", Halfway: "ours, learned, halfway",
}

func init() {
	for _, r := range Ratios {
		for _, name := range []string{Told, Learned, Careful, Halfway} {
			words[r.Aimed(name)] = fmt.Sprintf("%s, aim %g:1", words[name], float64(r))
		}
	}
}

// plain are the presses of the grid without wear and caliper's error, with some
// drift, 20 pieces a set-up.
func plain(between, noise, own float64) Cell {
	return cell(grid, Press{Between: between, Noise: noise, Own: own, Drift: 0.1, Pieces: 20})
}

// report is the study in plain words, made of its table.
func report(t Table) string {
	var b strings.Builder
	fill := t.fill()
	paragraphs(&b, fill.Replace(opening), fill.Replace(readingText))

	paragraphs(&b, "## By spread and noise", "Drift 0.1 a stroke, no wear, no error of the caliper, 20 pieces a set-up.")
	for _, r := range Ratios {
		var cells []Cell
		for _, between := range []float64{0, 1, 3, 10} {
			for _, noise := range []float64{0.5, 1, 2} {
				cells = append(cells, plain(between, noise, 0))
			}
		}
		t.costs(&b, r, cells, "spread, noise", func(c Cell) string { return fmt.Sprintf("%g, %g", c.Between, c.Noise) })
	}

	paragraphs(&b, "## The whole grid", fill.Replace(againstIntroduction))
	for _, aimed := range []bool{true, false} {
		t.against(&b, aimed)
	}

	paragraphs(&b, "## By the length of a set-up", "Spread 3, noise 1, drift 0.3, no wear, no error of the caliper.")
	for _, r := range Ratios {
		var cells []Cell
		for _, n := range []int{6, 20, 50} {
			cells = append(cells, cell(grid, Press{Between: 3, Noise: 1, Drift: 0.3, Pieces: n}))
		}
		t.costs(&b, r, cells, "pieces", func(c Cell) string { return fmt.Sprint(c.Pieces) })
	}

	paragraphs(&b, "## What else a policy does", fmt.Sprintf("Spread %g, noise %g, drift %g, %d pieces a set-up; with a caliper's error of 0.5 and wear of 0.05 a stroke, in brackets without both.",
		usual.Between, usual.Noise, usual.Drift, usual.Pieces))
	t.doings(&b)

	paragraphs(&b, "## Where what ours assumes does not hold", departures)
	for _, r := range Ratios {
		var cells []Cell
		for _, c := range Others() {
			if c.Case != second && c.Case != firstFew {
				cells = append(cells, c)
			}
		}
		t.costs(&b, r, cells, "press", func(c Cell) string { return c.Case })
	}

	paragraphs(&b, "## The second stroke", secondStroke)
	t.strokes(&b)
	paragraphs(&b, fill.Replace(secondReading))

	paragraphs(&b, "## The first set-ups of a cage", firstSetUps)
	for _, r := range Ratios {
		var cells []Cell
		for _, c := range Others() {
			if c.Case == firstFew {
				cells = append(cells, c)
			}
		}
		t.costs(&b, r, cells, "set-ups", func(c Cell) string { return fmt.Sprintf("%d to %d", c.Before+1, c.Before+c.Counted) })
	}
	paragraphs(&b, "## What it does not say", limits)
	return b.String()
}

func paragraphs(b *strings.Builder, texts ...string) {
	for _, text := range texts {
		if b.Len() > 0 {
			b.WriteByte('\n')
		}
		b.WriteString(strings.TrimSpace(text) + "\n")
	}
}

// costs is a table of what the policies cost by a ratio, a cell in each line.
func (t Table) costs(b *strings.Builder, r Ratio, cells []Cell, head string, name func(Cell) string) {
	t.matrix(b, r, cells, []string{Leave, Whole, Harmonic, New, Told, Hold, Learned, r.Aimed(Told), r.Aimed(Learned)}, head, name)
}

func (t Table) matrix(b *strings.Builder, r Ratio, cells []Cell, policies []string, head string, name func(Cell) string) {
	fmt.Fprintf(b, "\nScrap costs %g second strokes:\n\n| %s |", float64(r), head)
	for _, p := range policies {
		fmt.Fprintf(b, " %s |", words[p])
	}
	b.WriteString("\n|" + strings.Repeat("---|", 1+len(policies)) + "\n")
	for _, c := range cells {
		fmt.Fprintf(b, "| %s |", name(c))
		for _, p := range policies {
			fmt.Fprintf(b, " %s |", t.find(c, p).cost(r))
		}
		b.WriteByte('\n')
	}
}

// String is a figure with its standard error.
func (f Figure) String() string {
	digits := 2
	if f.Value >= 10 {
		digits = 1
	}
	return fmt.Sprintf("%.*f ± %.*f", digits, f.Value, digits, f.SE)
}

// doings is a table of what the policies do beside costing.
func (t Table) doings(b *strings.Builder) {
	b.WriteString("\n| policy | scrap per 1000 good | second strokes per 1000 good | of them in vain, per 1000 good | changes of the setting per 100 pieces | truly outside per 1000 good |\n" +
		"|" + strings.Repeat("---|", 6) + "\n")
	p := usual
	without := cell(grid, p)
	p.Wear, p.Bias = 0.05, 0.5
	with := cell(grid, p)
	for _, policy := range with.Policies() {
		fmt.Fprintf(b, "| %s |", words[policy.Name])
		for column := columnScrap; column <= columnEscapes; column++ {
			fmt.Fprintf(b, " %s (%s) |", t.find(with, policy.Name)[column], t.find(without, policy.Name)[column])
		}
		b.WriteByte('\n')
	}
}
