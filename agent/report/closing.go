package report

import (
	"strings"

	"benchtally/agent/station"
)

// calipers sets the checks of the caliper.
func (c *certificate) calipers() {
	c.section(c.w.Say("Checks of the caliper"), 12)
	if len(c.d.Calipers) == 0 {
		c.face(textPt, false, black)
		c.flow(margin, c.inner(), textLine, c.w.Say("None was made between the first and the latest record of this order."))
		return
	}
	c.caliperTable(c.d.Calipers)
}

// caliperTable sets checks of a caliper.
func (s *sheet) caliperTable(all []station.CaliperEntry) {
	w := s.w
	g := s.newGrid([]column{
		{head: w.Say("Time"), width: 30}, {head: w.Say("Checked against"), width: 42}, {head: w.Say("Nominal, mm"), width: 22, right: true},
		{head: w.Say("Read, mm"), width: 22, right: true}, {head: w.Say("Found"), width: 18}, {head: w.Say("By")},
	})
	for _, k := range all {
		against, found := k.Standard, w.Say("good")
		if against == "" {
			against = w.Say("closed jaws")
		}
		if !k.OK {
			found = w.Say("wrong")
		}
		g.block(!k.OK, s.o.minute(k.At), against, w.number(k.Nominal, "mm", 3), w.number(k.Value, "mm", 3), found, dash(k.Operator))
		if k.Doubt > 0 {
			s.face(smallPt, false, black)
			s.flow(margin+30, s.inner()-30, smallLine, w.Say("Readings from record %d to %d are in doubt.", k.Doubt, k.Seq))
		}
	}
	g.done()
}

// people sets who is named, and lines for who signs the paper.
func (c *certificate) people() {
	w := c.w
	c.section(w.Say("People"), 24)
	c.face(textPt, false, black)
	named := strings.Join(operatorsOf(c.d), ", ")
	if named == "" {
		named = w.Say("nobody is named")
	}
	c.flow(margin, c.inner(), textLine, w.Say("At the press and at the checks: %s", named))
	c.y += 2
	c.toFill(w.Say("Name"), w.Say("Signature"), w.Say("Date"))
}

// cautions are what the trade tells everybody who makes or uses an assembly. They
// speak of ISO/TS 17165-2 and SAE J1273 (injection, whipping, training, makers'
// instructions, mixing of makers), DIN 20066 clause 14.2 (parts that were used),
// ISO 8331 and ISO 6605 (proof test), read in print or second-hand; what says
// otherwise is common practice without a source.
func cautions(w words) []string {
	return []string{
		// ISO/TS 17165-2, SAE J1273.
		w.Say("A jet of fluid goes through the skin. See a doctor at once, also when it does not hurt."),
		w.Say("Never feel for leaks by hand."),
		w.Say("A hose that tears off whips: guard it and hold it back."),
		// SAE J1273; the makers' sheets change.
		w.Say("Follow the current instructions of the hose and fitting makers."),
		// SAE J517 and J1273.
		w.Say("Do not mix hose, fittings and assembly equipment of different makers without the written word of both."),
		// DIN 20066, 14.2; for the ferrule common practice, no source.
		w.Say("Never use a crimped fitting or ferrule a second time."),
		// Common practice, no source.
		w.Say("An end that was closed too far cannot be opened again: it is scrap."),
		// ISO 6605 and ISO 8331 for the test; guard and air: common practice, no source.
		w.Say("Proof test with liquid and without air, behind a guard, by trained people."),
		// Common practice, no source; the cleanliness that is wanted: ISO 4406, ISO 12669.
		w.Say("Flush an assembly and cap both ends before it is put away."),
		// SAE J1273, 6.0.
		w.Say("Whoever makes assemblies is trained for it, and wears eye protection."),
	}
}

// advise sets the standing sentence, and the cautions in two columns below it.
func (s *sheet) advise() {
	const gap, dashed = 8.0, 3.0
	all := cautions(s.w)
	half := (s.inner() - gap) / 2
	s.face(smallPt, false, black)
	var sides [2][][]string
	var lines [2]int
	for i, text := range all {
		side := 0
		if i >= (len(all)+1)/2 {
			side = 1
		}
		wrapped := s.wrap(text, half-dashed)
		sides[side] = append(sides[side], wrapped)
		lines[side] += len(wrapped)
	}
	high := float64(max(lines[0], lines[1])) * smallLine
	s.section(s.w.Say("Before the assemblies are used"), high+8)
	s.face(textPt, true, black)
	s.flow(margin, s.inner(), textLine, s.w.Say(Advisory))
	s.y += 1.5
	s.face(smallPt, false, black)
	for i, side := range sides {
		x, y := margin+float64(i)*(half+gap), s.y+smallLine*0.75
		for _, wrapped := range side {
			s.put(x, y, "–")
			for _, line := range wrapped {
				s.put(x+dashed, y, line)
				y += smallLine
			}
		}
	}
	s.y += high
}

// records sets by what the records of the paper are known.
func (c *certificate) records() {
	w := c.w
	c.section(w.Say("Records"), 14)
	c.face(smallPt, false, black)
	c.flow(margin, c.inner(), smallLine, w.Say("Store %s, records %d to %d.", dash(c.o.Store), c.d.From, c.d.To))
	c.flow(margin, c.inner(), smallLine, "SHA-256 "+c.hash)
	c.face(smallPt, false, soft)
	c.flow(margin, c.inner(), smallLine, w.Say("The code on the first page says the same. A paper made again from the same records has the same digest; times are those of the records."))
	c.note()
}
