package main

import (
	"fmt"
	"strings"

	"benchtally/agent/crimp"
	"benchtally/agent/record"
)

// tell says in the words of the trade what a record tells of, without its time.
func tell(r record.Record) string {
	switch r.Kind {
	case record.Start:
		return fmt.Sprintf("order %s started with %s", r.Order, r.Spec) + some(", revision %s", r.Revision) + some(", end %s", string(r.End)) +
			fmt.Sprintf(": %s, cage %s, setting %s", plural(r.Quantity, counted(r)), r.Cage, dial(r.Setting)) + some(", operator %s", r.Operator) + tellAdvised(r)
	case record.Finish:
		return fmt.Sprintf("order %s finished or set aside after %s", r.Order, plural(r.Pieces, "piece"))
	case record.Set:
		return "setting dialled: " + dial(r.Setting)
	case record.Load:
		return "cage " + r.Cage + " loaded"
	case record.Retract:
		return "ring fully retracted: was the cage changed?"
	case record.Measure:
		return "the next readings belong to piece " + r.Piece
	case record.Stroke:
		return tellStroke(r)
	case record.Reading:
		if r.Piece == "" {
			return fmt.Sprintf("reading %s, booked to no piece", both(r.Diameter))
		}
		return fmt.Sprintf("piece %s, place %d: %s", r.Piece, r.Place, both(r.Diameter))
	case record.Verdict:
		return tellVerdict(r)
	case record.Correction:
		return tellCorrection(r)
	case record.Care:
		return tellCare(r)
	case record.Zero:
		if r.OK != nil && *r.OK {
			return fmt.Sprintf("jaws closed: %s, good", both(r.Value))
		}
		return fmt.Sprintf("jaws closed: %s. Wipe the jaws, zero the caliper, send again", both(r.Value)) + inDoubt(r)
	case record.Undo:
		return fmt.Sprintf("reading withdrawn (record %d)", r.Of)
	case record.Dry:
		return fmt.Sprintf("the last stroke crimped nothing (record %d)", r.Of)
	case record.Same:
		return fmt.Sprintf("the last stroke was on piece %s, its crimp %d", r.Piece, r.Crimp)
	case record.Fault:
		if r.State == record.On {
			return fmt.Sprintf("%s: %s", r.Source, r.Reason)
		}
		return fmt.Sprintf("%s works again", r.Source) + some(": %s", r.Reason)
	case record.Refused:
		if r.Source == record.Action {
			return "refused: " + r.Reason
		}
		return fmt.Sprintf("not taken from the %s: %s", r.Source, r.Reason)
	case record.Operator:
		if r.Operator == "" {
			return "nobody that is named is at the press"
		}
		return r.Operator + " is at the press"
	case record.Turn:
		if r.End == crimp.NoEnd {
			return "the ends come in turn"
		}
		return fmt.Sprintf("the next pieces are of end %s", r.End)
	case record.Lot:
		return tellLot(r)
	case record.Check:
		return tellCheck(r)
	case record.Proof:
		return fmt.Sprintf("%s: proof test at %s for %d s", item(r), r.Pressure, r.Hold) + told(r)
	case record.Scrap:
		if r.State == record.Off {
			return item(r) + ": not scrap after all" + by(r)
		}
		return item(r) + ": scrap, " + r.Reason + by(r)
	case record.Standard:
		return tellStandard(r)
	}
	return string(r.Kind)
}

// counted is what the quantity of an order counts.
func counted(r record.Record) string {
	if r.End != crimp.NoEnd {
		return "assembly"
	}
	return "piece"
}

func tellCare(r record.Record) string {
	what := "cage " + r.Cage
	if r.Work == crimp.Oil {
		what = "press"
	}
	state := "done"
	if r.State == record.Due {
		state = "is due"
	}
	return fmt.Sprintf("%s: %s %s after %s", what, work(r.Work), state, plural(number(r.Strokes), "stroke")) +
		some(" (%s)", r.Reason) + some("; found %s", string(r.Condition)) + some(": %s", r.Finding) + by(r)
}

func tellLot(r record.Record) string {
	j := r.Job
	if j == nil {
		return "lots changed"
	}
	text := fmt.Sprintf("order %s goes on with", r.Order)
	for _, part := range []struct{ what, maker, lot string }{
		{"hose", j.HoseMaker, j.HoseLot}, {"fitting A", j.AMaker, j.ALot}, {"fitting B", j.BMaker, j.BLot},
	} {
		if part.lot != "" {
			text += fmt.Sprintf(" %s lot %s", part.what, part.lot) + some(" of %s", part.maker) + ","
		}
	}
	return strings.TrimSuffix(text, ",") + some(". %s", r.Hint)
}

func tellCheck(r record.Record) string {
	text := fmt.Sprintf("%s: %s", item(r), strings.ReplaceAll(r.Points, ",", ", "))
	if r.Value != nil {
		text += " " + both(r.Value)
	}
	if r.Angle != nil {
		text += fmt.Sprintf(" %g degrees", *r.Angle)
	}
	return text + told(r)
}

func tellStandard(r record.Record) string {
	switch {
	case r.State == record.Due:
		return "the next reading is of " + r.Standard + by(r)
	case r.State == record.Off:
		return "the next reading is of no gauge block or ring"
	case r.OK != nil && *r.OK:
		return fmt.Sprintf("caliper on %s: %s, off by %s, good", r.Standard, both(r.Diameter), both(r.Deviation)) + by(r)
	default:
		return fmt.Sprintf("caliper on %s: %s, off by %s: more than it may be", r.Standard, both(r.Diameter), both(r.Deviation)) + by(r) + inDoubt(r)
	}
}

// item is the end or the assembly that something was done to.
func item(r record.Record) string {
	if r.Piece != "" {
		return "piece " + r.Piece
	}
	return fmt.Sprintf("order %s, assembly %d", r.Order, r.Assembly)
}

// told says how a check came out, and who told it.
func told(r record.Record) string {
	text := ", as it should be"
	if r.OK != nil && !*r.OK {
		text = ", not as it should be"
	}
	return text + some(" (%s)", r.Reason) + by(r)
}

func by(r record.Record) string { return some(", by %s", r.Operator) }

// inDoubt says which readings are in doubt.
func inDoubt(r record.Record) string {
	if r.Doubt == 0 {
		return ""
	}
	return fmt.Sprintf("; readings from record %d on are in doubt", r.Doubt)
}

func tellStroke(r record.Record) string {
	where := "no order in work"
	if r.Piece != "" {
		where = fmt.Sprintf("piece %s, crimp %d, setting %s", r.Piece, r.Crimp, dial(r.Setting))
	}
	return "stroke: " + where + some(", cage %s", r.Cage)
}

func tellVerdict(r record.Record) string {
	word := map[crimp.Outcome]string{
		crimp.Pass:    "within limits",
		crimp.Recrimp: "too large, crimp again",
		crimp.Scrap:   "scrap",
		crimp.Unsure:  "unsure",
	}[r.Outcome]
	s := fmt.Sprintf("piece %s: %s", r.Piece, word)
	if r.Mean != nil {
		s += fmt.Sprintf(", mean %s, off target by %s", both(r.Mean), both(r.Deviation))
	}
	if r.Outcome != crimp.Pass {
		s += some(" (%s)", r.Reason)
	}
	return s + some("; %s", r.Hint)
}

func tellCorrection(r record.Record) string {
	switch {
	case r.For == record.ForRecrimp:
		return "crimp the same piece again at " + dial(r.Setting) + some(" (%s)", r.Reason)
	case number(r.Change) == 0:
		return "leave the setting at " + dial(r.Setting) + some(" (%s)", r.Reason)
	default:
		return fmt.Sprintf("set %s for the next piece (%+d)", dial(r.Setting), number(r.Change)) + some(" (%s)", r.Reason)
	}
}

// tellAdvised says what was advised for the first piece of an order.
func tellAdvised(r record.Record) string {
	if r.Advised == nil {
		return ""
	}
	return fmt.Sprintf("; advised %s", dial(r.Advised)) + some(" (%s)", r.Reason)
}

func work(w crimp.Work) string {
	switch w {
	case crimp.Lubricate:
		return "lubrication"
	case crimp.Clean:
		return "cleaning"
	case crimp.Teardown:
		return "tear-down and inspection"
	case crimp.Oil:
		return "oil level check"
	}
	return string(w)
}

// both writes a length in inches and millimetres.
func both(l *crimp.Length) string {
	if l == nil {
		return "-"
	}
	return l.Text(crimp.Inches, 4) + " (" + l.Text(crimp.Millimetres, 3) + ")"
}

// plural writes how many there are of something.
func plural(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	if stem, y := strings.CutSuffix(what, "y"); y && !strings.HasSuffix(stem, "a") { // a day
		what = stem + "ie"
	}
	return fmt.Sprintf("%d %ss", n, what)
}

func dial(setting *int) string {
	if setting == nil {
		return "not told"
	}
	return crimp.Dial(*setting)
}

func number(n *int) int {
	if n == nil {
		return 0
	}
	return *n
}

// some is the text with s in it, or nothing when s is empty.
func some(format, s string) string {
	if s == "" {
		return ""
	}
	return fmt.Sprintf(format, s)
}
