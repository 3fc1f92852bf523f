package report

import (
	"strconv"
	"strings"

	"benchtally/agent/crimp"
	"benchtally/agent/station"
)

// Advisory stands on every paper that tells of a crimp. It is the key of its own
// translations.
const Advisory = "Advice only. The hose and fitting maker's current crimp specification, local codes and trained people decide."

// certificate is the record of crimping in the making.
type certificate struct {
	*sheet
	d     *station.Dossier
	seal  string
	hash  string
	unit  crimp.Unit         // of all specifications; "" when they differ
	exact map[crimp.Unit]int // decimals that tell every reading in the unit
	tally tally
	doubt bool // a reading in doubt was set
	blank bool // a piece that was not measured was set
}

// Certificate is the record of crimping of an order on sheets, as PDF: what was
// ordered and made of what, each end with its readings and what they say, the
// checks, the proof tests, the caliper's checks, and by what its records are
// known. It says nothing that the records do not.
func Certificate(d *station.Dossier, o Options) ([]byte, error) {
	hash, err := Digest(d)
	if err != nil {
		return nil, err
	}
	s := newSheet(o, o.Paper.size(), words{o.Language}.Say("Record of crimping, order %s", d.Order), d.Latest)
	c := &certificate{sheet: s, d: d, hash: hash, seal: Seal(d, o.Store, hash), tally: tallyOf(d)}
	c.units()
	c.page()
	if err := c.opening(); err != nil {
		return nil, err
	}
	c.job()
	c.specifications()
	c.materials()
	c.pictures()
	c.table()
	c.proofs()
	c.calipers()
	c.people()
	c.advise()
	c.records()
	return c.feet(s.w.Say("Record of crimping, order %s", d.Order) + "  ·  " + s.w.Say("records %d to %d", d.From, d.To) + "  ·  SHA-256 " + hash[:12] + "…")
}

// units finds in which unit the paper speaks, and how fine.
func (c *certificate) units() {
	specs := specsOf(c.d)
	c.unit = crimp.Millimetres
	for i, s := range specs {
		if u := unitOf(s.what); i == 0 {
			c.unit = u
		} else if u != c.unit {
			c.unit = ""
			break
		}
	}
	c.exact = map[crimp.Unit]int{crimp.Millimetres: 2, crimp.Inches: 3}
	for _, p := range c.d.Pieces {
		u := unitOf(p.Spec)
		for _, k := range p.Crimps {
			for _, r := range k.Readings {
				for c.exact[u] < fine(u) && r.Value%(u.Size()/power(c.exact[u])) != 0 {
					c.exact[u]++
				}
			}
		}
	}
}

// power is ten to a power.
func power(n int) crimp.Length {
	p := crimp.Length(1)
	for range n {
		p *= 10
	}
	return p
}

// headed is a column's head with the unit, where all rows have the same.
func (c *certificate) headed(head string) string {
	if c.unit == "" {
		return head
	}
	return head + ", " + string(c.unit)
}

// opening sets the title, what became of the order, and the code of the record.
func (c *certificate) opening() error {
	const code = 27.0
	w := c.w
	c.face(smallPt, false, soft)
	c.put(margin, 14, c.fit(c.o.Press, c.inner()-40))
	c.end(c.width-margin, 14, c.o.minute(c.d.Latest)+" "+c.o.zoneName(c.d.Latest))
	if err := c.square(c.width-margin-code+1.5, c.y-1, code, c.seal); err != nil {
		return err
	}
	room := c.inner() - code - 4
	c.face(titlePt, true, black)
	for _, line := range c.wrap(w.Say("Record of crimping, order %s", c.d.Order), room) {
		c.put(margin, c.y+5.5, line)
		c.y += titleLine
	}
	c.face(textPt, false, black)
	if c.d.Job != nil && c.d.Job.Reference != "" {
		c.flow(margin, room, textLine, w.Say("Reference: %s", c.d.Job.Reference))
	}
	began, latest, zone := c.o.minute(c.d.Began), c.o.minute(c.d.Latest), c.o.zoneName(c.d.Latest)
	if c.d.Finished {
		c.flow(margin, room, textLine, w.Say("Recorded from %s to %s (%s); the order is finished or set aside.", began, latest, zone))
	} else {
		c.flow(margin, room, textLine, w.Say("Recorded from %s to %s (%s); the order is in work.", began, latest, zone))
	}
	c.clock(room)
	c.y += 2
	c.figures(room)
	c.y = max(c.y, headroom+code)
	return nil
}

// clock says which times are not those of a clock that was kept right.
func (c *certificate) clock(room float64) {
	c.face(smallPt, false, soft)
	if r := c.d.Corrected; r != nil {
		c.flow(margin, room, smallLine, c.w.Say("The clock was not set when records %d to %d were written; their times are corrected by what it was later found to be wrong.", r.From, r.To))
	}
	if r := c.d.Unset; r != nil {
		c.flow(margin, room, smallLine, c.w.Say("Nothing kept the clock right when records %d to %d were written: their times may be wrong.", r.From, r.To))
	}
	c.face(textPt, false, black)
}

// figures sets the quantities, large, each above its word.
func (c *certificate) figures(room float64) {
	w, t := c.w, c.tally
	ordered := "–"
	if t.ordered > 0 {
		ordered = strconv.Itoa(t.ordered)
	}
	complete := w.Say("within limits")
	if len(c.d.Ends) > 0 {
		complete = w.Say("complete")
	}
	c.large([]fact{
		{w.Say("ordered"), ordered},
		{complete, strconv.Itoa(t.complete)},
		{w.Say("crimped again"), strconv.Itoa(t.again)},
		{w.Say("scrapped"), strconv.Itoa(t.scrapped)},
		{w.Say("not measured"), strconv.Itoa(t.unmeasured)},
	}, room)
	c.put(margin, c.y+smallLine, c.counted())
	c.y += smallLine + 1
}

// counted says what the figures count.
func (c *certificate) counted() string {
	if len(c.d.Ends) > 0 {
		return c.w.Say("Ordered, complete and scrapped are assemblies; crimped again and not measured are single ends.")
	}
	return c.w.Say("Counted in single ends.")
}

// specifications sets what each end had to become, as it was kept.
func (c *certificate) specifications() {
	specs := specsOf(c.d)
	if len(specs) == 0 {
		return
	}
	w := c.w
	c.section(w.Say("Crimp specification, as it was kept"), 12)
	ends := len(c.d.Ends) > 0
	g := c.newGrid(columnsIf(ends, []column{
		{head: w.Say("End"), width: 9}, {head: w.Say("Specification"), width: 28}, {head: w.Say("Revision"), width: 20},
		{head: w.Say("Die cage"), width: 18}, {head: w.Say("Target"), width: 36}, {head: w.Say("Limits"), width: 33},
		{head: w.Say("Setting"), width: 12}, {head: w.Say("Crimped again at most")},
	}))
	for _, s := range specs {
		spec, u := s.what, unitOf(s.what)
		again := w.Say("never")
		switch {
		case spec.Recrimps == 1:
			again = w.Say("once")
		case spec.Recrimps > 1:
			again = w.Say("%d times", spec.Recrimps)
		}
		cells := []string{
			s.ends(), spec.ID, dash(spec.Revision), spec.Cage, w.both(spec.Diameter, u, fine(u)),
			w.number(spec.Lower(), u, fine(u)) + " – " + w.Length(spec.Upper(), u, fine(u)), crimp.Dial(spec.Setting), again,
		}
		g.block(false, cells[len(cells)-len(g.cols):]...)
		if more := c.sheetSays(spec); more != "" {
			c.face(smallPt, false, soft)
			in := c.inner() - g.last(7)
			c.flow(margin+in, c.inner()-in, smallLine, more)
		}
		c.y += 0.6
	}
	g.done()
}

// sheetSays is what the maker's sheet says of an end beside its diameter.
func (c *certificate) sheetSays(s crimp.Spec) string {
	w, u := c.w, unitOf(s)
	var all []string
	if parts := strings.Join(nonempty(s.Hose, s.Fitting, s.Size), ", "); parts != "" {
		all = append(all, w.Say("Sheet: %s", parts))
	}
	if s.Skive > 0 {
		all = append(all, w.Say("skive %s", w.Length(s.Skive, u, coarse(u))))
	}
	if s.Insertion > 0 {
		all = append(all, w.Say("insertion depth %s", w.Length(s.Insertion, u, coarse(u))))
	}
	if s.Places == 1 {
		all = append(all, w.Say("one reading makes a verdict"))
	} else if s.Places > 1 {
		all = append(all, w.Say("%d readings make a verdict", s.Places))
	}
	if s.Note != "" {
		all = append(all, s.Note)
	}
	return strings.Join(all, "  ·  ")
}

// columnsIf are columns without the first one, that of the end, where an order has
// no ends.
func columnsIf(ends bool, cols []column) []column {
	if ends {
		return cols
	}
	return cols[1:]
}

// end is an end on paper.
func end(e crimp.EndName) string { return dash(string(e)) }

// dash stands where there is nothing to tell.
func dash(s string) string {
	if strings.TrimSpace(s) == "" {
		return "–"
	}
	return s
}

// nonempty are the texts that say something.
func nonempty(all ...string) []string {
	var some []string
	for _, s := range all {
		if strings.TrimSpace(s) != "" {
			some = append(some, s)
		}
	}
	return some
}
