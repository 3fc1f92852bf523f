package report

import (
	"slices"
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
	c.y += 2
	c.figures(room)
	c.y = max(c.y, headroom+code)
	return nil
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

// mostPlate is how many pieces the picture on a paper shows.
const mostPlate = 120

// pictures sets the deviations of all pieces, or of the latest of them, what was
// dialled, and the offset of each cage. One piece shows no course.
func (c *certificate) pictures() {
	s := SeriesOfDossier(c.d).unlabelled()
	if len(s.Crimps) == 0 {
		return
	}
	c.plate(52, func(on plate, width, height float64) { deviations(on, width, height, s, mostPlate, c.w) })
	if len(s.firsts()) < 2 {
		return
	}
	c.plate(35, func(on plate, width, height float64) { settings(on, width, height, s, s.last(mostPlate), c.w) })
	for _, cage := range s.cages() {
		c.plate(35, func(on plate, width, height float64) {
			offsets(on, width, height, s.of(cage).firsts(), c.w.Say("%s, strokes from the order's first crimp on", cage), c.w)
		})
	}
}

// plate sets a picture as wide as the paper, and so many millimetres high.
func (c *certificate) plate(height float64, draw func(on plate, width, height float64)) {
	c.need(height + 6)
	c.y += 5
	scale := platePt * point / svgText
	out := edgeUnits * scale // so that its words begin where the others do
	draw(plate{c.sheet, margin - out, c.y, scale}, (c.inner()+2*out)/scale, height/scale)
	c.y += height
}

// cages are those that the crimps were made with, in their order.
func (s Series) cages() []string {
	var all []string
	for _, c := range s.Crimps {
		if !slices.Contains(all, c.Spec.Cage) {
			all = append(all, c.Spec.Cage)
		}
	}
	return all
}

// of are the crimps of a cage.
func (s Series) of(cage string) Series {
	var some Series
	for _, c := range s.Crimps {
		if c.Spec.Cage == cage {
			some.Crimps = append(some.Crimps, c)
		}
	}
	return some
}

// unlabelled is a series that does not name its order: the paper does.
func (s Series) unlabelled() Series {
	crimps := make([]Crimp, len(s.Crimps))
	for i, c := range s.Crimps {
		c.Order = ""
		crimps[i] = c
	}
	return Series{Crimps: crimps, Next: s.Next}
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
