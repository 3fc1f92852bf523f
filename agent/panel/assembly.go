package panel

import (
	"fmt"
	"net/url"
	"strconv"
	"strings"

	"benchtally/agent/station"
)

// assembly is one assembly's sheet: how its ends stand, and what is told of it.
type assembly struct {
	frame
	N      int
	Begun  bool
	Ends   []endMarks
	Keys   []key // what is told in one touch, or on a view of its own
	Points []pointRow
	Label  *key
	Scrap  *key
}

// endMarks is one end of an assembly with the points that are looked at on it.
type endMarks struct {
	cell
	Points []cell
}

// pointRow is one point that is looked at, with the touches that tell it.
type pointRow struct {
	cell
	Good, Amiss *form
}

func assemblyView(a asked) (any, string) {
	o, n := a.View.Order, a.number()
	if o == nil || o.Job == nil || n == 0 {
		return nil, "/assemblies"
	}
	t := a.t
	state := o.Marks.State(n, o.Ends, o.Points)
	a.Title = t.Say("Assembly %d", n) + " · " + a.stateWord(state)
	v := assembly{frame: a.frame, N: n, Begun: n <= o.Marks.Len()}
	for _, e := range o.Ends {
		marks := endMarks{cell: a.cell(t.Say("End %s", e), o.Marks.At(string(e), n))}
		for _, p := range o.Points.End {
			marks.Points = append(marks.Points, a.cell(a.point(p), o.Marks.At(string(e)+":"+p, n)))
		}
		v.Ends = append(v.Ends, marks)
	}
	if !v.Begun {
		return v, ""
	}
	v.Keys, v.Points = a.assemblyKeys(o, n)
	if a.s.desk.Paper != nil {
		id := url.QueryEscape(fmt.Sprintf("%s/%d", o.ID, n))
		v.Label = &key{Label: t.Say("Print label"), Href: "/paper?kind=label&id=" + id}
	}
	if state != station.GivenUp {
		v.Scrap = &key{Label: t.Say("Scrap"), Href: fmt.Sprintf("/scrap?assembly=%d", n)}
	} else {
		v.Scrap = &key{Form: touch(t.Say("Not scrap after all"), string(station.DoScrap), "assembly", strconv.Itoa(n), "off", "yes")}
	}
	return v, ""
}

// assemblyKeys are the touches for all points of an assembly: one for those that
// are only looked at, and one for each that is measured.
func (a asked) assemblyKeys(o *station.OrderView, n int) (keys []key, rows []pointRow) {
	k := strconv.Itoa(n)
	var looked []string
	for _, p := range o.Points.Assembly {
		c := a.cell(upper(a.point(p)), o.Marks.At(p, n))
		switch p {
		case station.PointLength, station.PointAngle, station.PointProof:
			keys = append(keys, key{Label: c.Name, Note: c.Word, Mark: c.Shape, Href: "/assembly/" + k + "/" + p})
		default:
			looked = append(looked, c.Name)
			rows = append(rows, pointRow{
				c, touch(a.t.Say("Good"), string(station.DoCheck), "assembly", k, "points", p),
				touch(a.t.Say("Not good"), string(station.DoCheck), "assembly", k, "points", p, "ok", "no"),
			})
		}
	}
	if len(looked) > 0 {
		all := touch(a.t.Say("All good"), string(station.DoCheck), "assembly", k)
		keys = append([]key{{Form: all, Note: strings.Join(looked, ", ")}}, keys...)
	}
	return keys, rows
}

// number is the assembly that the address names; 0: none.
func (a asked) number() int {
	n, err := strconv.Atoi(a.r.PathValue("n"))
	if err != nil || n < 1 {
		return 0
	}
	return n
}
