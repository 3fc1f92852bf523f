package study

import (
	"fmt"
	"math"
	"slices"
	"strings"
)

// words say in a table's head what a policy is.
var words = map[string]string{
	Leave: "leave it alone", Whole: "whole error", Harmonic: "harmonic rule",
	New: "ours, nothing learned", Told: "ours, told", Hold: "ours, told, dead band", Learned: "ours, learned",
	Halfway: "learned, halfway",
}

func init() {
	for _, r := range Ratios {
		for _, name := range []string{Told, Learned, Halfway} {
			words[r.Aimed(name)] = fmt.Sprintf("%s, aim %g:1", words[name], float64(r))
		}
	}
}

// plain are the presses of the grid without wear and caliper's error, with some
// drift, 20 pieces a set-up.
func plain(between, noise float64) Cell {
	return cell(grid, Press{Between: between, Noise: noise, Drift: 0.1, Pieces: 20})
}

// report is the study in plain words, made of its table.
func report(t Table) string {
	var b strings.Builder
	paragraphs(&b, fmt.Sprintf(opening, pieces/1000, settled))
	paragraphs(&b, "## What it says")
	paragraphs(&b, t.reading())

	paragraphs(&b, "## By spread and noise", "Drift 0.1 a stroke, no wear, no error of the caliper, 20 pieces a set-up.")
	for _, r := range Ratios {
		var cells []Cell
		for _, between := range []float64{0, 1, 3, 10} {
			for _, noise := range []float64{0.5, 1, 2} {
				cells = append(cells, plain(between, noise))
			}
		}
		t.costs(&b, r, cells, "spread, noise", func(c Cell) string { return fmt.Sprintf("%g, %g", c.Between, c.Noise) })
	}

	paragraphs(&b, "## The whole grid", againstIntroduction)
	t.against(&b)

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
	for _, r := range Ratios {
		var cells []Cell
		for _, c := range Others() {
			if c.Case == second {
				cells = append(cells, c)
			}
		}
		t.matrix(&b, r, cells, []string{Learned, Halfway, r.Aimed(Learned), r.Aimed(Halfway)}, "piece's own share, spread",
			func(c Cell) string { return fmt.Sprintf("%g, %g", c.Own, c.Between) })
	}

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

// against counts the cells in which ours, learned and aiming by the cost, is
// cheaper or dearer than another policy.
func (t Table) against(b *strings.Builder) {
	b.WriteString("\n| noise | scrap costs | against | cheaper | no difference seen | dearer | at most dearer by | where |\n" +
		"|" + strings.Repeat("---|", 8) + "\n")
	for _, large := range []bool{false, true} {
		for _, r := range Ratios {
			for _, p := range []string{Leave, Whole, Harmonic, New, Learned, r.Aimed(Told)} {
				cheaper, same, dearer, worst := 0, 0, 0, Row(nil)
				for _, row := range t {
					if row[columnCase] != grid || row[columnPolicy] != p || large != (row.number(columnNoise) > 1) {
						continue
					}
					more := row.more(r)
					switch {
					case !r.seen(more, 3):
						same++
					case more.Value > 0:
						cheaper++
					default:
						dearer++
						if worst == nil || more.Value < worst.more(r).Value {
							worst = row
						}
					}
				}
				noise, by, where := "0.5 and 1", "", ""
				if large {
					noise = "2"
				}
				if worst != nil {
					by = fmt.Sprintf("%.2f of %.2f", -worst.more(r).Value, worst.cost(r).Value)
					where = worst.where()
				}
				fmt.Fprintf(b, "| %s | %g | %s | %d | %d | %d | %s | %s |\n", noise, float64(r), words[p], cheaper, same, dearer, by, where)
			}
		}
	}
}

// where names the press of a line of the grid.
func (r Row) where() string {
	return fmt.Sprintf("spread %s, noise %s, drift %s, wear %s, caliper %s, %s pieces",
		r[columnBetween], r[columnNoise], r[columnDrift], r[columnWear], r[columnBias], r[columnPieces])
}

// doings is a table of what the policies do beside costing.
func (t Table) doings(b *strings.Builder) {
	b.WriteString("\n| policy | scrap per 1000 good | second strokes per 1000 good | changes of the setting per 100 pieces | truly outside per 1000 good |\n" +
		"|" + strings.Repeat("---|", 5) + "\n")
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

// reading fills the figures into the reading of the tables.
func (t Table) reading() string {
	at := func(c Cell, policy string, r Ratio) string {
		f := t.find(c, policy).cost(r)
		if math.IsNaN(f.Value) {
			panic("the report names a cell that is not in the table: " + c.key() + " " + policy)
		}
		return fmt.Sprintf("%.2f", f.Value)
	}
	changes := func(c Cell, policy string) string {
		return fmt.Sprintf("%.0f", t.find(c, policy).number(columnChanges))
	}
	other := func(name string) Cell {
		all := Others()
		return all[slices.IndexFunc(all, func(c Cell) bool { return c.Case == name })]
	}
	aim3, aim20 := Ratio(3).Aimed(Learned), Ratio(20).Aimed(Learned)
	calm, rough := plain(0, 2), plain(1, 2)
	common := plain(3, 1)
	long := cell(grid, Press{Between: 3, Noise: 1, Drift: 0.3, Pieces: 50})
	short := cell(grid, Press{Between: 3, Noise: 1, Drift: 0.1, Pieces: 6})
	shift, wear, outliers, off, two := other("shift of 4"), other("wear of 0.2"), other("outliers"), other("cage 3 off told as 0"), other("2 pieces a set-up")
	return strings.NewReplacer(
		"{leave}", at(common, Leave, 3), "{leave told}", at(common, Told, 3), "{leave 20}", at(common, Leave, 20), "{leave aim 20}", at(common, aim20, 20),
		"{calm leave}", at(calm, Leave, 3), "{calm told}", at(calm, Told, 3), "{calm learned}", at(calm, Learned, 3), "{calm aim}", at(calm, aim3, 3),
		"{calm whole}", at(calm, Whole, 3), "{whole changes}", changes(common, Whole), "{told changes}", changes(common, Told),
		"{hold changes}", changes(common, Hold), "{harmonic changes}", changes(common, Harmonic),
		"{hold}", at(common, Hold, 3), "{told}", at(common, Told, 3),
		"{long harmonic}", at(long, Harmonic, 3), "{long told}", at(long, Told, 3), "{long learned}", at(long, Learned, 3),
		"{short harmonic}", at(short, Harmonic, 3), "{short told}", at(short, Told, 3), "{short learned}", at(short, Learned, 3), "{short aim}", at(short, aim3, 3),
		"{told 20}", at(common, Told, 20), "{told aim 20}", at(common, Ratio(20).Aimed(Told), 20),
		"{told 3}", at(common, Told, 3), "{told aim 3}", at(common, Ratio(3).Aimed(Told), 3),
		"{rough told}", at(rough, Told, 20), "{rough aim}", at(rough, Ratio(20).Aimed(Told), 20),
		"{off harmonic}", at(off, Harmonic, 3), "{off learned}", at(off, Learned, 3),
		"{two learned}", at(two, aim20, 20), "{two told}", at(two, Ratio(20).Aimed(Told), 20), "{two new}", at(two, New, 20),
		"{shift whole}", at(shift, Whole, 3), "{shift told}", at(shift, Told, 3), "{shift learned}", at(shift, Learned, 3), "{shift harmonic}", at(shift, Harmonic, 3),
		"{shift changes}", changes(shift, Learned),
		"{wear told}", at(wear, Told, 3), "{wear learned}", at(wear, Learned, 3), "{wear new}", at(wear, New, 3), "{wear harmonic}", at(wear, Harmonic, 3),
		"{outliers told}", at(outliers, Told, 3), "{outliers harmonic}", at(outliers, Harmonic, 3), "{outliers learned}", at(outliers, Learned, 3),
	).Replace(readingText)
}
