package report

import (
	"slices"
	"strings"

	"benchtally/agent/crimp"
	"benchtally/agent/station"
)

// tally is what became of an order.
type tally struct {
	ordered    int
	complete   int // assemblies complete; without a job card pieces within limits
	again      int // pieces that were crimped more than once
	scrapped   int // assemblies given up; without a job card pieces
	unmeasured int // pieces whose latest crimp has no readings
	begun      int
}

// tallyOf counts.
func tallyOf(d *station.Dossier) tally {
	t := tally{ordered: d.Quantity}
	for _, p := range d.Pieces {
		if len(p.Crimps) > 1 {
			t.again++
		}
		if n := len(p.Crimps); n == 0 || len(p.Crimps[n-1].Readings) == 0 {
			t.unmeasured++
		}
	}
	if len(d.Ends) == 0 {
		t.begun = len(d.Pieces)
		for _, p := range d.Pieces {
			switch {
			case p.Scrap != "" || p.Outcome == crimp.Scrap:
				t.scrapped++
			case p.Outcome == crimp.Pass:
				t.complete++
			}
		}
		return t
	}
	t.begun = len(d.Assemblies)
	for _, a := range d.Assemblies {
		switch a.State {
		case station.Complete:
			t.complete++
		case station.GivenUp:
			t.scrapped++
		case station.ToCrimp, station.ToJudge, station.ToCheck:
		}
	}
	return t
}

// specified is a specification as it was kept, with the ends that it is of.
type specified struct {
	what crimp.Spec
	of   []crimp.EndName
}

// ends are the ends on paper.
func (s specified) ends() string {
	var names []string
	for _, e := range s.of {
		names = append(names, end(e))
	}
	return strings.Join(names, ", ")
}

// specsOf are the specifications of an order, in the order in which they came
// into use.
func specsOf(d *station.Dossier) []specified {
	var all []specified
	add := func(e crimp.EndName, spec crimp.Spec) {
		for i := range all {
			if all[i].what == spec {
				if !slices.Contains(all[i].of, e) {
					all[i].of = append(all[i].of, e)
				}
				return
			}
		}
		all = append(all, specified{spec, []crimp.EndName{e}})
	}
	for _, s := range d.Starts {
		add(s.End, s.Spec)
	}
	for _, p := range d.Pieces {
		add(p.End, p.Spec)
	}
	return all
}

// operatorsOf are the people who are named in an order's records, in the order in
// which they first are.
func operatorsOf(d *station.Dossier) []string {
	var names []string
	seen := map[string]bool{"": true}
	add := func(name string) {
		if !seen[name] {
			seen[name] = true
			names = append(names, name)
		}
	}
	for _, s := range d.Starts {
		add(s.Operator)
	}
	for _, p := range d.Pieces {
		for _, c := range p.Crimps {
			add(c.Operator)
		}
		for _, c := range p.Checks {
			add(c.Operator)
		}
	}
	for _, a := range d.Assemblies {
		for _, c := range a.Checks {
			add(c.Operator)
		}
		for _, p := range a.Proofs {
			add(p.Operator)
		}
	}
	for _, c := range d.Calipers {
		add(c.Operator)
	}
	return names
}

// ranges writes numbers, which rise, as "1–4, 7, 9–12".
func ranges(numbers []int, number func(int) string) string {
	text := ""
	for i := 0; i < len(numbers); {
		j := i
		for j+1 < len(numbers) && numbers[j+1] == numbers[j]+1 {
			j++
		}
		if text != "" {
			text += ", "
		}
		switch {
		case j == i:
			text += number(numbers[i])
		case j == i+1:
			text += number(numbers[i]) + ", " + number(numbers[j])
		default:
			text += number(numbers[i]) + "–" + number(numbers[j])
		}
		i = j + 1
	}
	return text
}
