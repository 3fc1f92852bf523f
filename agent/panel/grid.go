package panel

import (
	"strconv"

	"benchtally/agent/station"
)

// cell is one mark of an assembly.
type cell struct{ Name, Shape, Word string }

// column is one assembly of the order.
type column struct {
	N     int
	State string // class
	Word  string
	Ends  []cell
	Here  bool // in work
}

// assemblies is the order as a grid: a column for each assembly, a mark for each end.
type assemblies struct {
	frame
	further
	Columns []column
	Counts  string
}

const acrossGrid = 12 // assemblies on one screen

func assembliesView(a asked) (any, string) {
	o := a.View.Order
	if o == nil || o.Job == nil {
		return nil, "/order"
	}
	a.Title = a.t.Say("Assemblies")
	v := assemblies{frame: a.frame, Counts: a.counts(o)}
	total := max(o.Quantity+o.Lost, o.Marks.Len())
	from, err := strconv.Atoi(a.r.URL.Query().Get("from"))
	if err != nil { // the part that is in work
		from = max(o.Assembly, o.Next) - 1
	}
	from = max(0, min(from, total-1)) / acrossGrid * acrossGrid
	to := min(from+acrossGrid, total)
	for n := from + 1; n <= to; n++ {
		v.Columns = append(v.Columns, a.column(o, n))
	}
	if from > 0 {
		v.Prev = a.turned(from - acrossGrid)
	}
	if to < total {
		v.Next = a.turned(to)
	}
	return v, ""
}

func (s scene) column(o *station.OrderView, n int) column {
	state := o.Marks.State(n, o.Ends, o.Points)
	c := column{N: n, State: string(state), Word: s.stateWord(state), Here: n == o.Assembly || o.Assembly == 0 && n == o.Next}
	for _, e := range o.Ends {
		c.Ends = append(c.Ends, s.cell(string(e), o.Marks.At(string(e), n)))
	}
	return c
}

func (s scene) stateWord(state station.AssemblyState) string {
	switch state {
	case station.ToCrimp:
		return s.t.Say("to crimp")
	case station.ToJudge:
		return s.t.Say("to judge")
	case station.ToCheck:
		return s.t.Say("to check")
	case station.Complete:
		return s.t.Say("complete")
	case station.GivenUp:
		return s.t.Say("scrap")
	}
	return string(state)
}

// cell gives a mark its shape and its word.
func (s scene) cell(name string, m station.Mark) cell {
	switch m {
	case station.MarkOpen:
		return cell{name, "open", s.t.Say("open")}
	case station.MarkCrimped:
		return cell{name, "crimped", s.t.Say("not judged")}
	case station.MarkWithin:
		return cell{name, "within", s.t.Say("within limits")}
	case station.MarkLarge:
		return cell{name, "large", s.t.Say("too large")}
	case station.MarkDoubted:
		return cell{name, "unsure", s.t.Say("unsure")}
	case station.MarkLost:
		return cell{name, "scrap", s.t.Say("scrap")}
	case station.MarkChecked:
		return cell{name, "good", s.t.Say("good")}
	case station.MarkAmiss:
		return cell{name, "amiss", s.t.Say("not good")}
	}
	return cell{name, "open", s.t.Say("open")}
}
