package panel

import (
	"fmt"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"

	"benchtally/agent/crimp"
	"benchtally/agent/record"
	"benchtally/agent/station"
)

// longestStep bounds the step, in characters, so that it fits the page.
const longestStep = 150

// nextStep says in one line what to do now. There is one call at a time: records
// that cannot be kept, then the readings that are missing, then a crimp out of
// its limits, then a device, then the care of the cage.
func nextStep(s Snapshot) string {
	step := plainStep(s)
	if utf8.RuneCountInString(step) <= longestStep {
		return step
	}
	short := string([]rune(step)[:longestStep-1])
	if i := strings.LastIndexByte(short, ' '); i > 0 {
		short = short[:i]
	}
	return short + " …"
}

func plainStep(s Snapshot) string {
	v, o := s.View, s.View.Order
	if s.At.IsZero() {
		return "Waiting for the station"
	}
	if text := s.trouble(linkStore); text != "" {
		return "Nothing is kept now. Store: " + text
	}
	if o == nil {
		return "No order. Start one"
	}
	if o.Missing > 0 {
		return measureStep(s)
	}
	if o.Again != "" {
		return againStep(v)
	}
	switch judged := verdictInHand(v); {
	case judged == nil:
	case judged.Outcome == crimp.Scrap && changes(v):
		return fmt.Sprintf("Scrap this end. Set %s for the next piece", crimp.Dial(*advised(v)))
	case judged.Outcome == crimp.Scrap:
		return "Scrap this end. " + strokeStep(s)
	case judged.Outcome == crimp.Unsure:
		return "Unsure. Measure it again or set this end aside"
	}
	return strokeStep(s)
}

func measureStep(s Snapshot) string {
	o := s.View.Order
	if text := s.trouble(linkCaliper); text != "" {
		return "Caliper: " + text
	}
	if z := s.View.Zero; z != nil && !z.OK {
		return fmt.Sprintf("Caliper reads %s closed. Wipe the jaws, zero it, send again", o.Spec.Text(z.Value))
	}
	return fmt.Sprintf("Measure place %d of %d of piece %s", len(o.Readings)+1, len(o.Readings)+o.Missing, o.Piece)
}

func againStep(v station.View) string {
	step := "Crimp piece " + v.Order.Again + " again"
	if judged := verdictInHand(v); judged != nil && judged.Outcome == crimp.Recrimp {
		step = "Too large. Crimp the same piece again"
	}
	if setting := advised(v); setting != nil {
		step += " at " + crimp.Dial(*setting)
	}
	return step
}

// strokeStep is what comes before the stroke that opens the next piece.
func strokeStep(s Snapshot) string {
	v, o := s.View, s.View.Order
	if text := s.trouble(linkSwitch); text != "" {
		return "Limit switch: " + text
	}
	if text := s.trouble(linkCaliper); text != "" {
		return "Caliper: " + text
	}
	if complete(o) {
		return "All pieces are crimped. Finish the order"
	}
	var first []string
	if due(v, crimp.Lubricate) {
		first = append(first, "lubricate cage "+v.Cage)
	}
	if changes(v) {
		first = append(first, "set "+crimp.Dial(*advised(v)))
	}
	stroke := "stroke: piece " + strconv.Itoa(o.Pieces+1)
	if len(first) == 0 {
		return upper(stroke)
	}
	return upper(strings.Join(first, ", ")) + ", then " + stroke
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

// advised is the setting that the next stroke wants; nil: there is no advice.
func advised(v station.View) *int {
	o := v.Order
	switch {
	case o == nil:
		return nil
	case o.Again != "":
		if r := v.Recrimp; r != nil && r.Piece == o.Again {
			return r.Setting
		}
		return nil
	case v.Next != nil && v.Next.Order == o.ID:
		return v.Next.Setting
	case v.Opening != nil:
		return v.Opening.Setting
	}
	return nil
}

// changes says whether another setting is advised than the one that was told.
func changes(v station.View) bool {
	a := advised(v)
	return a != nil && (v.Setting == nil || *v.Setting != *a)
}

// complete says whether as many pieces as ordered are crimped and not scrap.
func complete(o *station.OrderView) bool {
	return o.Quantity > 0 && o.Pieces-o.Tally[crimp.Scrap] >= o.Quantity
}

func due(v station.View, w crimp.Work) bool {
	for _, c := range v.Care {
		if c.Work == w {
			return c.Due
		}
	}
	return false
}

// upper lets a text begin with a capital letter.
func upper(s string) string {
	first, size := utf8.DecodeRuneInString(s)
	if size == 0 {
		return ""
	}
	return string(unicode.ToUpper(first)) + s[size:]
}
