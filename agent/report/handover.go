package report

import (
	"strconv"
	"strings"
	"time"

	"benchtally/agent/crimp"
	"benchtally/agent/station"
)

// Handover is what one shift leaves to the next.
type Handover struct {
	From, To time.Time
	FirstSeq uint64 // of the records of the shift; 0: there are none
	LastSeq  uint64
	People   []string // that were named
	Cage     string   // loaded; "": none
	Setting  *int     // dialled; nil: not told
	Advised  *int     // for the next piece; nil: nothing
	Orders   []HandoverOrder
	Care     []HandoverCare         // due, or due soon
	Calipers []station.CaliperEntry // checks in the shift
	Doubt    []HandoverDoubt        // readings in doubt
	Faults   []HandoverFault        // still on
}

// HandoverOrder is an order that was worked on, or is held.
type HandoverOrder struct {
	ID, Reference string
	Spec          string // in work, or of both ends
	State         HandoverState
	Quantity      int      // ordered; 0: not told
	Made          int      // pieces crimped in the shift
	Complete      int      // assemblies complete; without a job card pieces within limits
	Again         int      // pieces that were crimped again
	Scrapped      int      // assemblies given up; without a job card pieces
	Unmeasured    []string // pieces that are not measured
	Singles       bool     // counted in single ends
}

// HandoverState is how an order is left.
type HandoverState string

// The states in which an order is left.
const (
	InWork   HandoverState = "in work"
	Held     HandoverState = "held" // set aside, and not done
	Finished HandoverState = "finished"
)

// HandoverCare is work that is due on a cage, or on the press.
type HandoverCare struct {
	Cage    string // "": the press
	Work    crimp.Work
	Due     bool
	Strokes int
	Limit   int // strokes; 0: by no count
	Days    int // until it falls due; -1: not known
}

// HandoverDoubt are readings in doubt.
type HandoverDoubt struct {
	From, To uint64 // seq
	Pieces   []string
}

// HandoverFault is a trouble that is still on.
type HandoverFault struct {
	Source string
	Reason string
	Since  time.Time // zero: not told
}

// ShiftSheet is what one shift leaves to the next, as PDF.
func ShiftSheet(h Handover, o Options) ([]byte, error) {
	w := words{o.Language}
	title := w.Say("Hand-over of the shift, %s", o.date(h.To))
	s := newSheet(o, o.Paper.size(), title, h.To)
	s.page()
	s.face(smallPt, false, soft)
	s.put(margin, 14, s.fit(o.Press, s.inner()))
	s.face(titlePt, true, black)
	s.put(margin, s.y+5.5, title)
	s.y += titleLine
	s.face(textPt, false, black)
	people := strings.Join(h.People, ", ")
	if people == "" {
		people = w.Say("nobody is named")
	}
	s.flow(margin, s.inner(), textLine, w.Say("From %s to %s (%s). At the press: %s.", o.minute(h.From), o.minute(h.To), o.zoneName(h.To), people))
	s.y += 3
	s.large([]fact{
		{w.Say("die cage loaded"), dash(h.Cage)}, {w.Say("setting dialled"), dial(h.Setting)}, {w.Say("advised for the next piece"), dial(h.Advised)},
	}, s.inner())
	s.orders(h)
	s.care(h)
	s.section(w.Say("Checks of the caliper"), 12)
	if len(h.Calipers) == 0 {
		s.nothing(w.Say("None in this shift."))
	} else {
		s.caliperTable(h.Calipers)
	}
	for _, d := range h.Doubt {
		s.face(textPt, true, black)
		s.flow(margin, s.inner(), textLine, w.Say("In doubt: readings from record %d to %d, of %s.", d.From, d.To, dash(strings.Join(d.Pieces, ", "))))
	}
	s.section(w.Say("Faults that are still on"), 8)
	if len(h.Faults) == 0 {
		s.nothing(w.Say("None."))
	}
	for _, f := range h.Faults {
		s.face(textPt, true, black)
		s.flow(margin, s.inner(), textLine, join("  ·  ", w.Sentence(f.Source), w.Sentence(f.Reason), w.since(o, f.Since)))
	}
	s.section(w.Say("For the next shift"), 36)
	s.y += 4
	for range 3 {
		s.rule(s.y+3, black)
		s.y += 8
	}
	s.toFill(w.Say("Handed over by"), w.Say("Taken over by"), w.Say("Time"))
	s.y += 3
	s.face(smallPt, true, black)
	s.flow(margin, s.inner(), smallLine, w.Say(Advisory))
	s.note()
	return s.feet(join("  ·  ", title, w.Say("store %s", dash(o.Store)), w.Say("records %d to %d", h.FirstSeq, h.LastSeq)))
}

// dial is a setting as it is dialled; nil is not told.
func dial(setting *int) string {
	if setting == nil {
		return "–"
	}
	return crimp.Dial(*setting)
}

// since says from when on, if it is told.
func (w words) since(o Options, t time.Time) string {
	if t.IsZero() {
		return ""
	}
	return w.Say("since %s", o.minute(t))
}

// nothing says that there is nothing.
func (s *sheet) nothing(text string) {
	s.face(textPt, false, black)
	s.flow(margin, s.inner(), textLine, text)
}

// orders sets what was made, and what is held.
func (s *sheet) orders(h Handover) {
	w := s.w
	s.section(w.Say("Orders"), 14)
	if len(h.Orders) == 0 {
		s.nothing(w.Say("None in this shift."))
		return
	}
	g := s.newGrid([]column{
		{head: w.Say("Order"), width: 30}, {head: w.Say("Specification"), width: 32}, {head: w.Say("State"), width: 22},
		{head: w.Say("Made in this shift"), width: 18, right: true}, {head: w.Say("Complete"), width: 18, right: true}, {head: w.Say("Ordered"), width: 18, right: true},
		{head: w.Say("Crimped again"), width: 18, right: true}, {head: w.Say("Scrapped"), right: true},
	})
	singles := false
	for _, o := range h.Orders {
		id := o.ID
		if o.Singles {
			id += " *"
			singles = true
		}
		quantity := "–"
		if o.Quantity > 0 {
			quantity = strconv.Itoa(o.Quantity)
		}
		g.block(false, id, dash(o.Spec), o.State.words(w), strconv.Itoa(o.Made), strconv.Itoa(o.Complete), quantity, strconv.Itoa(o.Again), strconv.Itoa(o.Scrapped))
		s.face(smallPt, false, black)
		if o.Reference != "" {
			s.flow(margin, s.inner(), smallLine, w.Say("Reference: %s", o.Reference))
		}
		if len(o.Unmeasured) > 0 {
			s.flow(margin, s.inner(), smallLine, w.Say("Not measured: %s", strings.Join(o.Unmeasured, ", ")))
		}
		s.y += 0.6
		s.rule(s.y, faint)
		s.y += 0.6
	}
	g.done()
	s.face(smallPt, false, soft)
	s.flow(margin, s.inner(), smallLine, w.Say("Made and crimped again are single ends; complete, ordered and scrapped are assemblies."))
	if singles {
		s.flow(margin, s.inner(), smallLine, "* "+w.Say("Counted in single ends; complete are those within limits."))
	}
}

// words is how an order is left, for people.
func (h HandoverState) words(w words) string {
	switch h {
	case InWork:
		return w.Say("in work")
	case Held:
		return w.Say("held")
	case Finished:
		return w.Say("finished")
	}
	return "–"
}

// care sets the work that is due.
func (s *sheet) care(h Handover) {
	w := s.w
	s.section(w.Say("Care"), 12)
	if len(h.Care) == 0 {
		s.nothing(w.Say("Nothing is due."))
		return
	}
	g := s.newGrid([]column{
		{head: w.Say("Die cage"), width: 34}, {head: w.Say("Work"), width: 44}, {head: w.Say("Strokes since"), width: 24, right: true},
		{head: w.Say("Due at"), width: 22, right: true}, {head: w.Say("State")},
	})
	for _, c := range h.Care {
		cage, limit, strokes := c.Cage, "–", strconv.Itoa(c.Strokes)
		if cage == "" {
			cage, strokes = w.Say("the press"), "–"
		}
		if c.Limit > 0 {
			limit = strconv.Itoa(c.Limit)
		}
		state := w.Say("not due yet")
		switch {
		case c.Due:
			state = w.Say("due")
		case c.Days == 0:
			state = w.Say("due today")
		case c.Days == 1:
			state = w.Say("due tomorrow")
		case c.Days > 1:
			state = w.Say("due in %d days", c.Days)
		}
		g.block(c.Due, cage, workWords(w, c.Work), strokes, limit, state)
	}
	g.done()
}

// workWords is a work for people.
func workWords(w words, work crimp.Work) string {
	switch work {
	case crimp.Lubricate:
		return w.Say("lubricate")
	case crimp.Clean:
		return w.Say("clean")
	case crimp.Teardown:
		return w.Say("take apart and inspect")
	case crimp.Oil:
		return w.Say("check the oil level")
	}
	return string(work)
}
