package report

import (
	"slices"
	"strconv"

	"benchtally/agent/crimp"
	"benchtally/agent/station"
)

// job sets what the job card asks for.
func (c *certificate) job() {
	j := c.d.Job
	if j == nil {
		return
	}
	c.section(c.w.Say("Ordered"), 8)
	c.facts(jobFacts(c.w, j, c.d.Cut, lengthUnit(c.d)))
}

// lengthUnit is the unit of an assembly's length: that of its first specification.
func lengthUnit(d *station.Dossier) crimp.Unit {
	if specs := specsOf(d); len(specs) > 0 {
		return unitOf(specs[0].what)
	}
	return crimp.Millimetres
}

// jobFacts are what a job card says beside the parts and their specifications.
func jobFacts(w words, j *crimp.Job, cut crimp.Length, u crimp.Unit) []fact {
	var all []fact
	if j.Length > 0 {
		all = append(all, fact{w.Say("Overall length"), w.both(j.Length, u, coarse(u))})
		tolerance := w.Say("not told")
		if j.Plus != 0 || j.Minus != 0 {
			tolerance = w.Say("+%s, −%s %s", w.number(j.Plus, u, coarse(u)), w.number(j.Minus, u, coarse(u)), string(u))
		}
		all = append(all, fact{w.Say("Length tolerance"), tolerance})
	}
	if cut > 0 {
		all = append(all, fact{w.Say("Cut length"), w.both(cut, u, coarse(u))})
	}
	if j.Angle != nil {
		all = append(all, fact{w.Say("Angle of the elbows"), strconv.Itoa(*j.Angle) + "°"})
	}
	if j.Working > 0 {
		all = append(all, fact{w.Say("Working pressure"), w.pressure(j.Working)})
	}
	if j.Note != "" {
		all = append(all, fact{w.Say("Note"), j.Note})
	}
	return all
}

// pressure is a pressure in bar, with psi beside it.
func (w words) pressure(p crimp.Pressure) string {
	places := 0
	if p%crimp.Bar != 0 {
		places = 1
	}
	return w.Number(p.Bars(), places) + " bar (" + w.Number(p.PSI(), 0) + " psi)"
}

// materials sets hose and fittings with makers and lots, and which assemblies or
// pieces are of which.
func (c *certificate) materials() {
	type use struct {
		end     crimp.EndName
		parts   station.Parts
		numbers []int
	}
	var all []*use
	add := func(e crimp.EndName, p station.Parts, n ...int) {
		if p == (station.Parts{}) {
			return
		}
		for _, u := range all {
			if u.end == e && u.parts == p {
				u.numbers = append(u.numbers, n...)
				return
			}
		}
		all = append(all, &use{e, p, n})
	}
	for _, e := range append(slices.Clone(c.d.Ends), crimp.NoEnd) {
		for _, p := range c.d.Pieces {
			switch {
			case p.End == e && e == crimp.NoEnd:
				add(e, p.Parts, p.N)
			case p.End == e:
				add(e, p.Parts, p.Assembly)
			}
		}
		for _, s := range c.d.Starts {
			if s.End == e && len(c.d.Pieces) == 0 {
				add(e, s.Parts)
			}
		}
	}
	if len(all) == 0 {
		return
	}
	w := c.w
	of := w.Say("Pieces")
	if len(c.d.Ends) > 0 {
		of = w.Say("Assemblies")
	}
	c.section(w.Say("Hose and fittings"), 12)
	g := c.newGrid(columnsIf(len(c.d.Ends) > 0, []column{
		{head: w.Say("End"), width: 9}, {head: of, width: 21},
		{head: w.Say("Hose"), width: 25}, {head: w.Say("Maker"), width: 29}, {head: w.Say("Lot"), width: 19},
		{head: w.Say("Fitting"), width: 25}, {head: w.Say("Maker"), width: 29}, {head: w.Say("Lot")},
	}))
	for _, u := range all {
		h, f := u.parts.Hose, u.parts.Fitting
		cells := []string{
			end(u.end), dash(ranges(u.numbers, strconv.Itoa)), dash(h.Name), dash(h.Maker), dash(h.Lot), dash(f.Name), dash(f.Maker), dash(f.Lot),
		}
		g.block(false, cells[len(cells)-len(g.cols):]...)
	}
	g.done()
	if j := c.d.Job; j != nil && len(j.Mixed()) > 0 {
		c.face(smallPt, false, black)
		c.flow(margin, c.inner(), smallLine, w.Say("Hose and fitting are of different makers: that wants the written word of both."))
	}
}
