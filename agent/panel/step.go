package panel

import (
	"strings"
	"unicode/utf8"

	"benchtally/agent/crimp"
	"benchtally/agent/record"
	"benchtally/agent/station"
)

// step is what to do now: a call that is read from two metres, and what belongs
// to it.
type step struct {
	Head string
	More string
}

// The call stands in two lines of large letters; one that is longer than that is
// set smaller. A second text has room below a call of one line.
const (
	oneLine  = 24 // characters
	twoLines = 46
	smaller  = 56  // two lines of smaller letters
	longest  = 150 // of what belongs to it
)

// Size is the class of the call's letters.
func (s step) Size() string {
	switch n := utf8.RuneCountInString(s.Head); {
	case n > smaller:
		return "longest"
	case n > twoLines:
		return "long"
	}
	return ""
}

// Below says whether what belongs to the call has room below it.
func (s step) Below() bool { return s.More != "" && utf8.RuneCountInString(s.Head) <= oneLine }

// nextStep says what to do now. There is one call at a time: records that cannot
// be kept, then the reading that is waited for, then a crimp out of its limits,
// then a device, then what is still to be looked at, then the care of the cage.
func nextStep(s scene) step {
	call := s.call()
	call.More = shorten(call.More)
	return call
}

// shorten cuts a text that others wrote at a word.
func shorten(text string) string {
	if utf8.RuneCountInString(text) <= longest {
		return text
	}
	short := string([]rune(text)[:longest-1])
	if i := strings.LastIndexByte(short, ' '); i > 0 {
		short = short[:i]
	}
	return short + " …"
}

func (s scene) call() step {
	v, o := s.View, s.View.Order
	switch {
	case s.At.IsZero():
		return step{Head: s.t.Say("Waiting for the station")}
	case s.Held != nil:
		return step{s.t.Say("Nothing is kept now"), s.t.Say("Waiting: strokes %d, other %d. Store: %s", s.Held.Strokes, s.Held.Other, s.t.Sentence(s.Held.Why))}
	case v.Awaited != "":
		return step{s.t.Say("Measure %s", v.Awaited), s.t.Say("It checks the caliper. The reading counts for no piece.")}
	case o == nil:
		return step{Head: s.t.Say("No order. Start one")}
	case o.Missing > 0:
		return s.measureCall()
	case o.Again != "":
		return s.againCall()
	}
	if judged := verdictInHand(v); judged != nil {
		switch judged.Outcome {
		case crimp.Scrap:
			return s.scrapCall()
		case crimp.Unsure:
			return step{s.t.Say("Unsure. Measure it again"), s.t.Say("or set this end aside")}
		case crimp.Pass, crimp.Recrimp:
		}
	}
	if call, ok := s.deviceCall(); ok {
		return call
	}
	switch {
	case o.Sign != "":
		return step{s.t.Say("First piece: have it signed off"), s.pieceText(o.Sign)}
	case o.Look != "":
		return s.lookCall()
	}
	return s.strokeCall()
}

func (s scene) measureCall() step {
	o := s.View.Order
	if text := s.trouble(linkCaliper); text != "" {
		return step{s.t.Say("Look at the caliper"), upper(s.t.Sentence(text))}
	}
	if z := s.View.Zero; z != nil && !z.OK {
		return step{s.t.Say("Wipe the jaws, zero, send again"), s.t.Say("Caliper reads %s closed", s.length(o.Spec.Unit, z.Value))}
	}
	return step{s.t.Say("Measure place %d of %d", len(o.Readings)+1, len(o.Readings)+o.Missing), s.pieceText(o.Piece)}
}

func (s scene) againCall() step {
	v, o := s.View, s.View.Order
	more := s.pieceText(o.Again)
	if judged := verdictInHand(v); judged != nil && judged.Outcome == crimp.Recrimp {
		more = s.t.Say("Too large") + " · " + more
	}
	if setting := v.Advice(); setting != nil {
		return step{s.t.Say("Crimp again at %s", crimp.Dial(*setting)), more}
	}
	return step{s.t.Say("Crimp again"), more}
}

func (s scene) scrapCall() step {
	if _, ill := s.deviceCall(); !ill && changes(s.View) {
		head := s.t.Say("Scrap this end. Set %s for the next piece", crimp.Dial(*s.View.Advice()))
		if utf8.RuneCountInString(head) <= twoLines {
			return step{Head: head}
		}
	}
	next := s.strokeCall()
	if call, ill := s.deviceCall(); ill {
		next = call
	}
	more := s.t.Say("Then: %s", next.Head)
	if next.More != "" {
		more += " · " + next.More
	}
	return step{s.t.Say("Scrap this end"), more}
}

// deviceCall is of a device without which the next piece would not be seen.
func (s scene) deviceCall() (step, bool) {
	if text := s.trouble(linkSwitch); text != "" {
		return step{s.t.Say("Look at the limit switch"), upper(s.t.Sentence(text))}, true
	}
	if text := s.trouble(linkCaliper); text != "" {
		return step{s.t.Say("Look at the caliper"), upper(s.t.Sentence(text))}, true
	}
	return step{}, false
}

func (s scene) lookCall() step {
	o := s.View.Order
	points := make([]string, len(o.Points.End))
	for i, p := range o.Points.End {
		points[i] = s.point(p)
	}
	return step{s.t.Say("Look at this end"), strings.Join(append([]string{s.pieceText(o.Look)}, points...), " · ")}
}

// strokeCall is what comes before the stroke that opens the next piece.
func (s scene) strokeCall() step {
	v, o := s.View, s.View.Order
	if complete(o) {
		if n := unfinished(o); n > 0 {
			return step{s.t.Say("All ends are crimped"), s.t.Say("Assemblies still to be judged or checked: %d", n)}
		}
		return step{Head: s.t.Say("All pieces are crimped. Finish the order")}
	}
	if cage := s.otherCage(); cage != "" {
		return step{s.t.Say("Load cage %s", cage), s.t.Say("for end %s", o.End.Other())}
	}
	next := s.t.Say("piece %d", o.Pieces+1)
	if o.Next > 0 {
		next = s.t.Say("assembly %d, end %s", o.Next, o.NextEnd)
	}
	switch lubricate, set := due(v, crimp.Lubricate), changes(v); {
	case lubricate && set:
		return step{s.t.Say("Lubricate, set %s, then stroke", crimp.Dial(*v.Advice())), next}
	case lubricate:
		return step{s.t.Say("Lubricate, then stroke"), next}
	case set:
		return step{s.t.Say("Set %s, then stroke", crimp.Dial(*v.Advice())), next}
	case o.Next > 0:
		return step{s.t.Say("Stroke: end %s", o.NextEnd), s.t.Say("assembly %d", o.Next)}
	}
	return step{Head: s.t.Say("Stroke: piece %d", o.Pieces+1)}
}

// otherCage is the cage of the other end, where the end in work is done and the
// other one is not; "": there is nothing to change.
func (s scene) otherCage() string {
	o := s.View.Order
	if o.Job == nil || !o.EndDone || o.Crimped || o.InTurn {
		return ""
	}
	spec := s.shop.spec(o.Job.End(o.End.Other()).Spec)
	if spec == nil || spec.Cage == s.View.Cage {
		return ""
	}
	return spec.Cage
}

// verdictInHand is the verdict on the latest crimp of the piece in work; nil:
// there is none.
func verdictInHand(v station.View) *record.Record {
	o, r := v.Order, v.Verdict
	if o == nil || r == nil || o.Piece == "" || o.Missing > 0 || r.Piece != o.Piece || r.Crimp != o.Crimp {
		return nil
	}
	return r
}

// changes says whether another setting is advised than the one that was told.
func changes(v station.View) bool {
	a := v.Advice()
	return a != nil && (v.Setting == nil || *v.Setting != *a)
}

// complete says whether as much as ordered is crimped and not scrap.
func complete(o *station.OrderView) bool {
	if o.Job != nil {
		return o.Crimped
	}
	return o.Quantity > 0 && o.Pieces-o.Tally[crimp.Scrap] >= o.Quantity
}

// unfinished is how many assemblies still want a verdict or a look.
func unfinished(o *station.OrderView) int {
	n := 0
	for i := range o.Marks.Len() {
		switch o.Marks.State(i+1, o.Ends, o.Points) {
		case station.ToJudge, station.ToCheck:
			n++
		case station.ToCrimp, station.Complete, station.GivenUp:
		}
	}
	return n
}

func due(v station.View, w crimp.Work) bool {
	for _, c := range v.Care {
		if c.Work == w {
			return c.Due
		}
	}
	return false
}
