package report

import (
	"strconv"

	"benchtally/agent/station"
)

// proofs sets the proof tests, and lines to be filled by hand for assemblies that
// have none.
func (c *certificate) proofs() {
	w := c.w
	c.section(w.Say("Proof tests"), 22)
	var without []int
	var with []station.AssemblyEntry
	for _, a := range c.d.Assemblies {
		switch {
		case len(a.Proofs) > 0:
			with = append(with, a)
		case a.State != station.GivenUp:
			without = append(without, a.N)
		}
	}
	if len(with) > 0 {
		g := c.newGrid([]column{
			{head: w.Say("Assembly"), width: 16}, {head: w.Say("Working pressure"), width: 31, right: true},
			{head: w.Say("Proof pressure"), width: 31, right: true}, {head: w.Say("Hold time"), width: 13, right: true},
			{head: w.Say("As told by the people who tested"), width: 37}, {head: w.Say("By"), width: 15}, {head: w.Say("Time")},
		})
		for _, a := range with {
			for _, p := range a.Proofs {
				result := w.Say("leak or failure")
				if p.OK {
					result = w.Say("no leak, no failure")
				}
				if p.Reason != "" {
					result += ": " + w.Sentence(p.Reason)
				}
				working := "–"
				if p.Working > 0 {
					working = w.pressure(p.Working)
				}
				g.block(false, strconv.Itoa(a.N), working, w.pressure(p.Pressure), strconv.Itoa(p.Hold)+" s", result, dash(p.Operator), c.o.minute(p.At))
			}
		}
		g.done()
	}
	if len(without) > 0 || len(c.d.Assemblies) == 0 {
		text := w.Say("No record of a proof test.")
		if len(without) > 0 && len(with) > 0 {
			text = w.Say("No record of a proof test of these assemblies: %s.", ranges(without, strconv.Itoa))
		}
		c.face(textPt, false, black)
		c.flow(margin, c.inner(), textLine, text)
		c.toFill(w.Say("Pressure"), w.Say("Hold time"), w.Say("What was seen"), w.Say("By"), w.Say("Date"))
	}
	// ISO 6605:2017, 5.2.1: proof pressure of twice the maximum working pressure,
	// held 30 s to 60 s, without leak or failure.
	c.face(smallPt, false, soft)
	c.flow(margin, c.inner(), smallLine, w.Say("A proof test is made by trained people behind a guard; it is not made by this program (ISO 6605: twice the maximum working pressure, 30 to 60 seconds)."))
}

// toFill sets names with lines behind them that are filled by hand.
func (s *sheet) toFill(names ...string) {
	s.need(9)
	s.y += 5
	step := s.inner() / float64(len(names))
	for i, name := range names {
		x := margin + float64(i)*step
		s.face(smallPt, false, soft)
		s.put(x, s.y, name)
		s.f.SetDrawColor(black, black, black)
		s.f.SetLineWidth(0.2)
		s.f.Line(x+min(s.long(name)+1.5, step-6), s.y+0.6, x+step-3, s.y+0.6)
	}
	s.y += 3
}
