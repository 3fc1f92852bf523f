package study

import (
	"fmt"
	"strings"
)

// Standing says in how many presses one way of ours is cheaper than another
// policy, in how many no difference is seen, and in how many it is dearer.
type Standing struct {
	Cheaper, Same, Dearer int
	Worst                 Row // of the other policy where ours is dearer by most; nil: nowhere
}

// kind is a part of the grid, by its noise and the piece's own share of it.
type kind struct {
	name  string
	holds func(noise, own float64) bool
}

// small are the presses whose noise is small beside the limits.
var small = kind{"0.5 and 1 | 0", func(noise, _ float64) bool { return noise <= 1 }}

// kinds are the parts of the grid.
func kinds() []kind {
	all := []kind{small}
	for _, share := range Shares {
		all = append(all, kind{fmt.Sprintf("2 | %s", part(share)), func(noise, own float64) bool { return noise > 1 && own == share }})
	}
	return all
}

// part is a share as it is printed.
func part(share float64) string {
	if share == 0.5 {
		return "½"
	}
	return fmt.Sprint(share)
}

// standing compares ours, learned, at the target or aimed by the cost, with
// another policy in a part of the grid. What counts is more than three standard
// errors and three scrapped ends.
func (t Table) standing(k kind, r Ratio, other string, aimed bool) (s Standing) {
	for _, row := range t {
		if row[columnCase] != grid || row[columnPolicy] != other || !k.holds(row.number(columnNoise), row.number(columnOwn)) {
			continue
		}
		more := row.more(r, aimed)
		switch {
		case !r.seen(more, apparent):
			s.Same++
		case more.Value > 0:
			s.Cheaper++
		default:
			s.Dearer++
			if s.Worst == nil || more.Value < s.Worst.more(r, aimed).Value {
				s.Worst = row
			}
		}
	}
	return s
}

// worst is by how much ours is dearer where it is dearer by most.
func (s Standing) worst(r Ratio, aimed bool) string {
	if s.Worst == nil {
		return ""
	}
	return fmt.Sprintf("%.2f of %.2f", -s.Worst.more(r, aimed).Value, s.Worst.cost(r).Value)
}

// against is a table of how ours, learned, stands against the others.
func (t Table) against(b *strings.Builder, aimed bool) {
	name := "Ours, learned, told no costs"
	if aimed {
		name = "Ours, learned, told the costs"
	}
	fmt.Fprintf(b, "\n%s:\n\n| noise | piece's own share | against |", name)
	for _, r := range Ratios {
		fmt.Fprintf(b, " scrap %g: cheaper | the same | dearer | by at most |", float64(r))
	}
	b.WriteString("\n|" + strings.Repeat("---|", 3+4*len(Ratios)) + "\n")
	for _, k := range kinds() {
		for _, other := range []string{Leave, Whole, Harmonic, New, Told, Learned} {
			if other == Learned && !aimed {
				continue // itself
			}
			fmt.Fprintf(b, "| %s | %s |", k.name, words[other])
			for _, r := range Ratios {
				s := t.standing(k, r, other, aimed)
				fmt.Fprintf(b, " %d | %d | %d | %s |", s.Cheaper, s.Same, s.Dearer, s.worst(r, aimed))
			}
			b.WriteByte('\n')
		}
	}
}

// cheapest counts the presses of a part of the grid in which ours, aimed by the
// cost, is cheaper than each of the rules.
func (t Table) cheapest(k kind, r Ratio) (n int) {
	for _, c := range Grid() {
		wins := k.holds(c.Noise, c.Own)
		for _, rule := range []string{Leave, Whole, Harmonic} {
			if more := t.find(c, rule).more(r, true); !r.seen(more, apparent) || more.Value < 0 {
				wins = false
			}
		}
		if wins {
			n++
		}
	}
	return n
}
