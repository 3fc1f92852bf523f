package report

import (
	"slices"
	"strconv"
	"strings"

	"benchtally/agent/crimp"
	"benchtally/agent/station"
)

// doubted marks a reading in doubt.
const doubted = "†"

// assemblies is the table of a certificate: an assembly with its ends and their
// crimps, or single ends.
type assemblies struct {
	*certificate
	g     *grid
	ends  bool // there are assemblies and ends
	known bool // a conformity was set
	plan  bool // a piece that the shop's plan does not measure was set
}

// table sets what was crimped.
func (c *certificate) table() {
	w := c.w
	t := &assemblies{certificate: c, ends: len(c.d.Ends) > 0}
	title := w.Say("Pieces")
	if t.ends {
		title = w.Say("Assemblies")
	}
	c.section(title, 45)
	if len(c.d.Pieces) == 0 {
		c.face(textPt, false, black)
		c.flow(margin, c.inner(), textLine, w.Say("Nothing is crimped yet."))
		return
	}
	readings := 31.0
	if c.unit != crimp.Millimetres {
		readings = 36
	}
	cols := []column{{head: w.Say("Piece"), width: 19}, {head: w.Say("Setting"), width: 11.5, right: true}}
	if c.unit == "" {
		cols = append(cols, column{head: w.Say("Unit"), width: 8})
	}
	cols = append(cols,
		column{head: c.headed(w.Say("Readings")), width: readings}, column{head: c.headed(w.Say("Mean")), width: 13.5, right: true},
		column{head: c.headed(w.Say("Deviation")), width: 15, right: true}, column{head: c.headed(w.Say("Ovality")), width: 13, right: true},
		column{head: w.Say("Conformity"), width: 15.5, right: true}, column{head: w.Say("What it says")})
	if t.ends {
		cols = append([]column{{head: w.Say("Assembly"), width: 14}, {head: w.Say("End"), width: 8}}, cols...)
	} else {
		cols[0].width += 10 // what the other columns leave
	}
	t.g = c.newGrid(cols)
	if t.ends {
		for _, a := range c.d.Assemblies {
			t.assembly(a)
		}
	}
	for _, p := range c.d.Pieces {
		if !t.ends || p.Assembly == 0 {
			t.need(t.height(p))
			t.piece(p, "")
			t.between()
		}
	}
	t.g.done()
	t.explain()
}

// between parts what stands together from what comes next.
func (t *assemblies) between() {
	t.y += 0.7
	t.rule(t.y, faint)
	t.y += 0.7
}

// height is how high the rows of a piece are, about.
func (t *assemblies) height(p station.PieceEntry) float64 {
	h := 0.0
	for i := range p.Crimps {
		h += float64(min(i+1, 2))*textLine + smallLine
	}
	return h
}

// assembly sets one assembly: its ends, and a line on how it stands and what was
// checked of the whole.
func (t *assemblies) assembly(a station.AssemblyEntry) {
	const keep = 45.0 // what is higher may be parted by the end of a page
	high := 2 * smallLine
	var ends []station.PieceEntry
	for _, e := range t.d.Ends {
		if p, found := t.find(a.Pieces[e]); found {
			ends = append(ends, p)
			high += t.height(p)
		}
	}
	t.need(min(high, keep))
	number := strconv.Itoa(a.N)
	for _, e := range t.d.Ends {
		if p, found := t.find(a.Pieces[e]); found {
			t.piece(p, number)
		} else {
			t.row(number, string(e), "–")
		}
		number = ""
	}
	var said []string
	for _, c := range a.Checks {
		said = append(said, t.checked(c))
	}
	if missing := t.missing(a, ends); len(missing) > 0 && a.State != station.GivenUp {
		said = append(said, t.w.Say("not checked, or not good: %s", strings.Join(missing, ", ")))
	}
	if a.Scrap != "" {
		said = append(said, t.w.Sentence(a.Scrap))
	}
	t.stands(stateWords(t.w, a.State), strings.Join(said, "  ·  "))
	t.between()
}

// row sets a row, the number of the assembly bold.
func (t *assemblies) row(number string, cells ...string) {
	all := make([]string, len(t.g.cols))
	if t.ends {
		copy(all[1:], cells)
	} else {
		copy(all, cells)
	}
	t.face(textPt, false, black)
	t.need(float64(t.g.lines(all...))*textLine + smallLine)
	t.face(textPt, true, black)
	t.put(margin, t.y+textLine*0.75, number)
	t.face(textPt, false, black)
	t.g.row(all...)
}

// stands sets how an assembly stands, bold, and behind it what else there is to
// say, on as many lines as it needs.
func (t *assemblies) stands(state, more string) {
	x := margin + t.g.cols[0].width
	width := t.width - margin - x
	t.need(smallLine)
	t.face(smallPt, true, black)
	t.put(x, t.y+smallLine*0.75, state)
	behind := t.long(state) + 2
	t.face(smallPt, false, soft)
	words := strings.Fields(more)
	n := len(words)
	for n > 0 && t.long(strings.Join(words[:n], " ")) > width-behind {
		n--
	}
	t.put(x+behind, t.y+smallLine*0.75, strings.Join(words[:n], " "))
	t.y += smallLine
	t.flow(x, width, smallLine, strings.Join(words[n:], " "))
}

// find is a piece by its number.
func (t *assemblies) find(n int) (station.PieceEntry, bool) {
	i, found := slices.BinarySearchFunc(t.d.Pieces, n, func(p station.PieceEntry, n int) int { return p.N - n })
	if !found || n == 0 {
		return station.PieceEntry{}, false
	}
	return t.d.Pieces[i], true
}

// stateWords is how an assembly stands.
func stateWords(w words, s station.AssemblyState) string {
	switch s {
	case station.ToCrimp:
		return w.Say("Still to be crimped.")
	case station.ToJudge:
		return w.Say("Crimped, not judged.")
	case station.ToCheck:
		return w.Say("Crimped, not all checked.")
	case station.Complete:
		return w.Say("Complete.")
	case station.GivenUp:
		return w.Say("Scrap.")
	}
	return ""
}

// piece sets the crimps of an end, the first row with the assembly's number, each
// with a line on when and by whom it was made, and the last with what was checked.
func (t *assemblies) piece(p station.PieceEntry, assembly string) {
	id, name := p.ID, string(p.End)
	t.face(textPt, false, black)
	for i, k := range p.Crimps {
		cells := append([]string{t.fit(id, t.column(0).width-cellGap)}, t.cells(p, k, i)...)
		if t.ends {
			cells = append([]string{name}, cells...)
		}
		t.row(assembly, cells...)
		t.under(p, k, i == len(p.Crimps)-1)
		assembly, id, name = "", "", ""
	}
}

// column is a column, counted from that of the piece.
func (t *assemblies) column(n int) column {
	if t.ends {
		n += 2
	}
	return t.g.cols[n]
}

// indent and room are where a line under a row stands.
func (t *assemblies) indent() float64 {
	if t.ends {
		return margin + t.g.cols[0].width + t.g.cols[1].width
	}
	return margin
}

func (t *assemblies) room() float64 { return t.width - margin - t.indent() }

// cells are what one crimp has in the columns behind that of the piece.
func (t *assemblies) cells(p station.PieceEntry, k station.CrimpEntry, i int) []string {
	w, u := t.w, unitOf(p.Spec)
	var readings []string
	for _, r := range k.Readings {
		text := w.number(r.Value, u, t.exact[u])
		if r.Doubt {
			text += doubted
			t.doubt = true
		}
		readings = append(readings, text)
	}
	mean, deviation, ovality, conformity := "–", "–", "–", "–"
	if k.Outcome != "" && len(k.Readings) > 0 {
		mean, deviation, ovality = w.number(k.Mean, u, fine(u)), w.signed(k.Deviation, u, fine(u)), w.number(k.Ovality, u, fine(u))
		if k.Conformity >= 0 {
			conformity = w.percent(k.Conformity)
			t.known = true
		}
	}
	cells := []string{crimp.Dial(k.Setting)}
	if t.unit == "" {
		cells = append(cells, string(u))
	}
	return append(cells, dash(strings.Join(readings, " ")), mean, deviation, ovality, conformity, t.says(p, k, i == len(p.Crimps)-1, i > 0))
}

// percent is a probability; what rounds to nothing or to all of it is told as
// less or more.
func (w words) percent(p float64) string {
	switch {
	case p >= 0.9995:
		return ">" + w.Number(99.9, 1) + " %"
	case p < 0.0005:
		return "<" + w.Number(0.1, 1) + " %"
	}
	return w.Number(p*100, 1) + " %"
}

// says is what the readings of a crimp say.
func (t *assemblies) says(p station.PieceEntry, k station.CrimpEntry, last, again bool) string {
	if len(k.Readings) == 0 {
		if !last {
			return t.w.Say("not measured, crimped again")
		}
		if !p.Plan {
			t.plan = true
			return t.w.Say("not measured, as planned")
		}
		t.blank = true
		return t.w.Say("not measured")
	}
	return outcomeWords(t.w, k.Outcome, last, again)
}

// outcomeWords says an outcome, of the last crimp of a piece or of one before it.
func outcomeWords(w words, o crimp.Outcome, last, again bool) string {
	switch o {
	case crimp.Pass:
		if again {
			return w.Say("within limits, crimped again")
		}
		return w.Say("within limits")
	case crimp.Recrimp:
		if !last {
			return w.Say("too large, crimped again")
		}
		return w.Say("too large, to be crimped again")
	case crimp.Scrap:
		return w.Say("scrap")
	case crimp.Unsure:
		return w.Say("too near a limit to tell")
	}
	return w.Say("not judged")
}

// explain tells what the marks and words of the table mean, as far as they stand
// in it.
func (t *assemblies) explain() {
	t.face(smallPt, false, soft)
	say := func(text string) { t.flow(margin, t.inner(), smallLine, text) }
	t.y += 1
	if t.doubt {
		say(doubted + " " + t.w.Say("A reading in doubt: the caliper was found wrong afterwards, and was last found good before it was taken."))
	}
	if t.blank {
		say(t.w.Say("Not measured: no reading of this crimp is kept, and nothing is known of its diameter."))
	}
	if t.plan {
		say(t.w.Say("Not measured, as planned: by the shop's plan not every piece is measured, and nothing is known of this one's diameter."))
	}
	if t.known {
		// JCGM 106:2012, clause 7.
		say(t.w.Say("Conformity: how probable it is that the true diameter is within the limits, by the readings and the caliper's uncertainty."))
	}
}
