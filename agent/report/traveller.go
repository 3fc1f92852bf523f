package report

import (
	"strconv"
	"time"

	"benchtally/agent/crimp"
)

// Traveller is what goes with an order through the shop.
type Traveller struct {
	Job   crimp.Job     // with the tolerance of its length
	Cut   crimp.Length  // 0: not known
	Specs [2]crimp.Spec // of the ends, as the specs file has them; one without an id is not crimped here
	Code  string        // of the order, for the scanner
	At    time.Time     // when it was made up; zero: it is not told
}

// JobCard is the job card of an order on one sheet, as PDF.
func JobCard(t Traveller, o Options) ([]byte, error) {
	w := words{o.Language}
	title := w.Say("Job card, order %s", t.Job.Order)
	s := newSheet(o, o.Paper.size(), title, t.At)
	s.page()
	const code = 27.0
	s.face(smallPt, false, soft)
	s.put(margin, 14, s.fit(o.Press, s.inner()-40))
	if !t.At.IsZero() {
		s.end(s.width-margin, 14, o.minute(t.At)+" "+o.zoneName(t.At))
	}
	if err := s.square(s.width-margin-code+1.5, s.y-1, code, t.Code); err != nil {
		return nil, err
	}
	room := s.inner() - code - 4
	s.face(titlePt, true, black)
	for _, line := range s.wrap(title, room) {
		s.put(margin, s.y+5.5, line)
		s.y += titleLine
	}
	s.face(textPt, false, black)
	if t.Job.Reference != "" {
		s.flow(margin, room, textLine, w.Say("Reference: %s", t.Job.Reference))
	}
	s.face(smallPt, false, soft)
	s.put(margin, s.y+smallLine, s.fit(t.Code, room))
	s.y += 6
	unit := unitOf(t.Specs[0])
	s.large([]fact{
		{w.Say("assemblies"), strconv.Itoa(t.Job.Quantity)},
		{w.Say("cut length"), s.lengthOr(t.Cut, unit)},
		{w.Say("overall length"), s.lengthOr(t.Job.Length, unit)},
	}, room)
	s.y = max(s.y, headroom+code)

	s.section(w.Say("Ordered"), 8)
	hose := t.Job.Hose
	s.facts(append([]fact{
		{w.Say("Hose"), dash(join(", ", hose.Name, hose.Maker))},
		{w.Say("Hose lot"), dash(hose.Lot)},
	}, jobFacts(w, &t.Job, t.Cut, unit)...))
	for i, name := range []crimp.EndName{crimp.EndA, crimp.EndB} {
		s.endCard(name, t.Job.Ends[i], t.Specs[i])
	}
	s.steps(t)
	s.advise()
	s.note()
	return s.feet(title)
}

// lengthOr is a length, or a dash when it is not known.
func (s *sheet) lengthOr(l crimp.Length, u crimp.Unit) string {
	if l <= 0 {
		return "–"
	}
	return s.w.Length(l, u, coarse(u))
}

// endCard sets what one end wants.
func (s *sheet) endCard(name crimp.EndName, e crimp.End, spec crimp.Spec) {
	w := s.w
	if spec.ID == "" && e.Fitting == (crimp.Part{}) {
		return
	}
	s.section(w.Say("End %s", string(name)), 16)
	u := unitOf(spec)
	all := []fact{
		{w.Say("Fitting"), dash(join(", ", e.Fitting.Name, e.Fitting.Maker))},
		{w.Say("Fitting lot"), dash(e.Fitting.Lot)},
	}
	if spec.ID == "" {
		s.facts(append(all, fact{w.Say("Specification"), w.Say("not crimped here")}))
		return
	}
	all = append(all,
		fact{w.Say("Specification"), join(", ", spec.ID, spec.Revision)},
		fact{w.Say("Die cage"), spec.Cage},
		fact{w.Say("Target"), w.both(spec.Diameter, u, fine(u))},
		fact{w.Say("Limits"), w.number(spec.Lower(), u, fine(u)) + " – " + w.Length(spec.Upper(), u, fine(u))},
		fact{w.Say("Setting on the sheet"), crimp.Dial(spec.Setting)},
		fact{w.Say("Cut-off"), s.lengthOr(e.CutOff, u)},
		fact{w.Say("Skive"), s.lengthOr(spec.Skive, u)},
		fact{w.Say("Insertion depth"), s.lengthOr(spec.Insertion, u)},
	)
	if spec.Note != "" {
		all = append(all, fact{w.Say("Note"), spec.Note})
	}
	s.facts(all)
}

// steps sets the steps of the work with room to sign each.
func (s *sheet) steps(t Traveller) {
	w := s.w
	all := []string{w.Say("Cut to length")}
	if t.Specs[0].Skive > 0 || t.Specs[1].Skive > 0 {
		all = append(all, w.Say("Skive"))
	}
	all = append(all, w.Say("Push the fittings on, mark the insertion depth"))
	for i, name := range []crimp.EndName{crimp.EndA, crimp.EndB} {
		if t.Specs[i].ID != "" {
			all = append(all, w.Say("Crimp and measure end %s", string(name)))
		}
	}
	all = append(all, w.Say("Look at the ends, measure the length"), w.Say("Flush and cap"))
	if t.Job.Working > 0 {
		// ISO 6605:2017, 5.2.1: twice the maximum working pressure, 30 s to 60 s.
		all = append(all, w.Say("Proof test: %s, 30 to 60 s", w.pressure(2*t.Job.Working)))
	}
	s.section(w.Say("Steps"), 30)
	g := s.newGrid([]column{
		{head: w.Say("Step"), width: 88}, {head: w.Say("How many"), width: 26}, {head: w.Say("By"), width: 30}, {head: w.Say("Date")},
	})
	for _, step := range all {
		s.y += 1.2
		g.block(false, step, "", "", "")
		s.y += 1.2
		s.rule(s.y, faint)
	}
	g.done()
}
