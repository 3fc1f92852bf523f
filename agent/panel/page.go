package panel

import (
	"fmt"
	"strconv"
	"strings"
	"time"
	"unicode/utf8"

	"benchtally/agent/crimp"
	"benchtally/agent/record"
	"benchtally/agent/station"
)

// standing is on every view.
const standing = "Advice only. The hose and fitting maker's current crimp specification, local codes and trained people decide."

// page is what the templates show: words that are ready to be read, and no rules.
type page struct {
	Press, Build, Standing string
	Demo                   bool
	Age                    int64  // of the data, milliseconds
	Stale                  string // how long there has been no data; "": it is fresh
	Said                   string // the answer to the touch before
	Key                    string // of the forms; "": the script gives each touch its own

	Order, Spec, Cage, Piece, Tally string

	Step     string
	StepSize string // "", "long" or "longest"

	Value    *value   // the newest reading or the mean
	Target   *target  // nil: no order
	Judged   *judged  // nil: the crimp in hand has no verdict
	Reading  []string // of the crimp in hand; a place still to be measured is empty
	Note     string
	NoteSize string   // "" or "long"
	Setting  *setting // nil: none was told
	Care     []care
	Links    []link
	Primary  *action // the one large touch; nil: none

	Advised string // three digits to fill in; may be empty
	Again   string // piece that may be measured again; may be empty
	Specs   []choice
	Works   []choice
}

type value struct{ Number, Unit, Name, Off, Side string }

type target struct {
	Number, Unit string
	Lower, Upper string // with unit
	Strip        strip
}

type judged struct {
	Shape string // within, large, scrap or unsure
	Word  string
	Side  string // low, mid or high: where against the limits
}

type setting struct{ Digits, Name, Told string }

type care struct {
	Text string
	Due  bool
}

type link struct {
	Name, State, Text string
	OK                bool
}

type choice struct{ ID, Text string }

// works are what can be done to a cage, in the words of who did it.
var works = []choice{
	{string(crimp.Lubricate), "Lubricated"},
	{string(crimp.Clean), "Cleaned"},
	{string(crimp.Teardown), "Taken down, inspected"},
}

// formOf is what every form carries.
type formOf struct{ Key, Do, Back string }

// Touch is for the form of an action, with the view that shows a refusal.
func (p page) Touch(do, back string) formOf { return formOf{p.Key, do, back} }

// action is one touch: a link or a form of one action.
type action struct {
	Label, Href, Do, Setting, Piece, Cage, Work string
}

// newPage says a snapshot in words.
func newPage(s Snapshot) page {
	v, o := s.View, s.View.Order
	p := page{
		Press: s.Press, Demo: s.Demo, Build: build, Standing: standing,
		Cage: v.Cage, Step: nextStep(s), Setting: newSetting(v),
		Care: newCare(v), Links: newLinks(s), Primary: primary(s), Note: note(v), Works: works,
	}
	switch n := utf8.RuneCountInString(p.Step); {
	case n > 90:
		p.StepSize = "longest"
	case n > 48:
		p.StepSize = "long"
	}
	if utf8.RuneCountInString(p.Note) > 100 {
		p.NoteSize = "long"
	}
	if v.Setting != nil {
		p.Advised = crimp.Dial(*v.Setting)
	}
	if a := advised(v); a != nil {
		p.Advised = crimp.Dial(*a)
	}
	if o == nil {
		return p
	}
	p.Order, p.Spec, p.Again = o.ID, o.Spec.ID, o.Piece
	p.Piece, p.Tally = pieceOf(o), tally(o)
	p.Target = &target{
		Lower: o.Spec.Text(o.Spec.Lower()), Upper: o.Spec.Text(o.Spec.Upper()),
		Strip: newStrip(o.Spec, o.Readings, nil),
	}
	p.Target.Number, p.Target.Unit = split(o.Spec, o.Spec.Diameter)
	for _, r := range o.Readings {
		number, _ := split(o.Spec, r)
		p.Reading = append(p.Reading, number)
	}
	if n := len(o.Readings); n > 0 {
		p.Value = newValue(o.Spec, o.Readings[n-1], fmt.Sprintf("place %d", n))
	}
	if o.Missing > 0 {
		p.Reading = append(p.Reading, make([]string, o.Missing)...)
	}
	if r := verdictInHand(v); r != nil {
		p.Judged = newJudged(o.Spec, r)
		if r.Mean != nil {
			p.Value = newValue(o.Spec, *r.Mean, fmt.Sprintf("mean of %d", r.Readings))
			p.Target.Strip = newStrip(o.Spec, o.Readings, r.Mean)
		}
	}
	return p
}

// stale marks a page whose data is old.
func (p page) stale(age time.Duration) page {
	p.Age = age.Milliseconds()
	if age >= staleAfter {
		p.Stale = fmt.Sprintf("No data for %d s", int(age.Seconds()))
	}
	return p
}

// pieceOf says which piece is in work, of how many.
func pieceOf(o *station.OrderView) string {
	n := pieceNumber(o.Piece)
	text := fmt.Sprintf("Piece %d", n)
	switch {
	case n == 0 && o.Quantity == 0:
		return "No piece yet"
	case n == 0:
		return fmt.Sprintf("%d ordered", o.Quantity)
	case n <= o.Quantity:
		text += fmt.Sprintf(" of %d", o.Quantity)
	case o.Quantity > 0:
		text += fmt.Sprintf(", %d ordered", o.Quantity)
	}
	if o.Crimp > 1 {
		text += fmt.Sprintf(", crimp %d", o.Crimp)
	}
	return text
}

// pieceNumber is n of <order>/<n>; 0: there is no piece.
func pieceNumber(piece string) int {
	n, _ := strconv.Atoi(piece[strings.LastIndexByte(piece, '/')+1:]) // no number, no piece
	return n
}

func tally(o *station.OrderView) string {
	if n := o.Tally[crimp.Scrap]; n > 0 {
		return fmt.Sprintf("%d scrap", n)
	}
	return ""
}

func newValue(spec crimp.Spec, l crimp.Length, name string) *value {
	v := &value{Name: name}
	v.Number, v.Unit = split(spec, l)
	switch off := l - spec.Diameter; {
	case off > 0:
		v.Off, v.Side = spec.Text(off), "above target"
	case off < 0:
		v.Off, v.Side = spec.Text(-off), "below target"
	default:
		v.Side = "on target"
	}
	return v
}

// newJudged gives each outcome a word, a shape and a side of its own.
func newJudged(spec crimp.Spec, r *record.Record) *judged {
	j := &judged{Side: "mid"}
	switch {
	case r.Mean != nil && *r.Mean > spec.Upper():
		j.Side = "high"
	case r.Mean != nil && *r.Mean < spec.Lower():
		j.Side = "low"
	}
	switch r.Outcome {
	case crimp.Pass:
		j.Word, j.Shape = "Within limits", "within"
	case crimp.Recrimp:
		j.Word, j.Shape = "Too large", "large"
	case crimp.Scrap:
		j.Word, j.Shape = "Scrap", "scrap"
	case crimp.Unsure:
		j.Word, j.Shape = "Unsure", "unsure"
		if r.Mean == nil {
			j.Word = "Not judged"
		}
	}
	return j
}

// note is the one line of what else is worth knowing now.
func note(v station.View) string {
	r := verdictInHand(v)
	switch {
	case v.Retract:
		return "The ring was fully retracted. If the cage was changed, load it under More."
	case r != nil && r.Hint != "":
		return upper(r.Hint)
	case r != nil && r.Outcome != crimp.Pass:
		return upper(r.Reason)
	case r == nil && v.Order != nil && v.Verdict != nil && v.Verdict.Order == v.Order.ID && v.Verdict.Mean == nil:
		return fmt.Sprintf("Piece %d %s", pieceNumber(v.Verdict.Piece), v.Verdict.Reason)
	}
	for _, c := range v.Care {
		if over := c.Strokes - c.Limit; c.Work == crimp.Lubricate && c.Due && over > 0 {
			return fmt.Sprintf("Lubrication of cage %s is %d strokes over", v.Cage, over)
		}
	}
	switch {
	case r != nil && v.Next != nil && v.Next.Reason != "":
		return upper(v.Next.Reason)
	case r == nil && v.Opening != nil && v.Order.Pieces == 0:
		return upper(v.Opening.Reason)
	}
	return ""
}

// split is a length for people, its number and its unit apart.
func split(spec crimp.Spec, l crimp.Length) (number, unit string) {
	number, unit, _ = strings.Cut(spec.Text(l), " ")
	return number, unit
}
