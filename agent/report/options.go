package report

import (
	"strings"
	"time"

	"benchtally/agent/crimp"
)

// Tongue is a language in which papers and pictures speak. English is the key.
type Tongue interface {
	Say(english string, args ...any) string                      // with its verbs filled in, as fmt has them
	Sentence(english string) string                              // that a record carries in English
	Length(l crimp.Length, unit crimp.Unit, decimals int) string // with its unit
	Number(f float64, decimals int) string
}

// Options are what all papers have in common.
type Options struct {
	Language Tongue         // must be there
	Press    string         // the press's name and place, at the head of each paper; may be empty
	Store    string         // id of the store that the records are in; may be empty
	Zone     *time.Location // of the times on the paper; nil: UTC
	Paper    Paper          // of sheets; "" is A4
}

// Paper is a size of sheets.
type Paper string

// The sizes of sheets.
const (
	A4     Paper = "A4"
	Letter Paper = "letter"
)

// Size is what is printed on.
type Size struct{ Width, Height crimp.Length }

// size is the size of a sheet (ISO 216; ANSI Y14.1 size A; both from memory).
func (p Paper) size() Size {
	if p == Letter {
		return Size{crimp.Inch * 17 / 2, crimp.Inch * 11}
	}
	return Size{210 * crimp.Millimetre, 297 * crimp.Millimetre}
}

// zone is where the times of the paper are told.
func (o Options) zone() *time.Location {
	if o.Zone == nil {
		return time.UTC
	}
	return o.Zone
}

// date writes a day, in the one form that no reader takes for another (ISO 8601).
func (o Options) date(t time.Time) string { return o.told(t, time.DateOnly) }

// minute writes a time to the minute.
func (o Options) minute(t time.Time) string { return o.told(t, "2006-01-02 15:04") }

func (o Options) told(t time.Time, layout string) string {
	if t.IsZero() {
		return "–"
	}
	return t.In(o.zone()).Format(layout)
}

// zoneName is how the paper calls its zone at a time.
func (o Options) zoneName(t time.Time) string { return t.In(o.zone()).Format("MST") }

// words are a language with the forms that papers and pictures have beside it.
type words struct{ Tongue }

// number is a length without its unit.
func (w words) number(l crimp.Length, unit crimp.Unit, decimals int) string {
	return minus(strings.TrimSuffix(w.Length(l, unit, decimals), " "+string(unit)))
}

// signed is a difference without its unit, its sign before it.
func (w words) signed(l crimp.Length, unit crimp.Unit, decimals int) string {
	text := w.number(l, unit, decimals)
	if l > 0 && text != w.number(0, unit, decimals) {
		return "+" + text
	}
	return text
}

// both is a length in a unit, with the other unit beside it.
func (w words) both(l crimp.Length, unit crimp.Unit, decimals int) string {
	other, places := crimp.Inches, decimals+1
	if unit == crimp.Inches {
		other, places = crimp.Millimetres, max(0, decimals-1)
	}
	return minus(w.Length(l, unit, decimals) + " (" + w.Length(l, other, places) + ")")
}

// comma says whether the language writes decimals behind a comma.
func (w words) comma() bool { return strings.Contains(w.Number(0.5, 1), ",") }

// minus makes the hyphen before a number a minus sign.
func minus(s string) string {
	if rest, ok := strings.CutPrefix(s, "-"); ok {
		return "−" + rest
	}
	return s
}

// unitOf is the unit in which a specification is answered.
func unitOf(s crimp.Spec) crimp.Unit {
	if s.Unit == crimp.Inches {
		return crimp.Inches
	}
	return crimp.Millimetres
}

// fine is how many decimals a diameter is told with: what Spec.Text shows.
func fine(u crimp.Unit) int {
	if u == crimp.Inches {
		return 4
	}
	return 3
}

// coarse is how many decimals the length of an assembly is told with.
func coarse(u crimp.Unit) int {
	if u == crimp.Inches {
		return 3
	}
	return 1
}
