package report

import (
	"bytes"
	"encoding/csv"
	"fmt"
	"strconv"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"benchtally/agent/crimp"
	"benchtally/agent/station"
)

// byteOrderMark tells spreadsheets that the table is UTF-8.
const byteOrderMark = "\ufeff"

// Table is every crimp of an order as CSV for a spreadsheet: one row each, units
// in the head, times in UTC and in the shop's zone. A language that writes a
// decimal comma has semicolons between the columns, as its spreadsheets expect.
//
// Numbers are numbers. A text that a spreadsheet would take for a formula gets an
// apostrophe before it.
func Table(d *station.Dossier, o Options) ([]byte, error) {
	t := newTable(d, o)
	var b bytes.Buffer
	b.WriteString(byteOrderMark)
	out := csv.NewWriter(&b)
	out.UseCRLF = true
	if t.w.comma() {
		out.Comma = ';'
	}
	rows := [][]string{t.head()}
	for _, p := range d.Pieces {
		for i := range p.Crimps {
			rows = append(rows, t.row(p, i))
		}
	}
	if err := out.WriteAll(rows); err != nil {
		return nil, fmt.Errorf("table of order %s: %w", d.Order, err)
	}
	return b.Bytes(), nil
}

// table is a table in the making.
type table struct {
	d      *station.Dossier
	o      Options
	w      words
	unit   crimp.Unit // of every length in it
	places int        // readings, at most
}

func newTable(d *station.Dossier, o Options) table {
	t := table{d: d, o: o, w: words{o.Language}, unit: crimp.Inches}
	for _, s := range specsOf(d) {
		if unitOf(s.what) != crimp.Inches {
			t.unit = crimp.Millimetres // exact, whatever the sheets are written in
		}
	}
	if len(specsOf(d)) == 0 {
		t.unit = crimp.Millimetres
	}
	for _, p := range d.Pieces {
		for _, c := range p.Crimps {
			t.places = max(t.places, len(c.Readings))
		}
	}
	return t
}

// head names the columns.
func (t table) head() []string {
	w := t.w
	in := func(what string) string { return what + " (" + string(t.unit) + ")" }
	local := w.Say("time here")
	if z := t.o.zone().String(); z != "Local" && z != "" {
		local = w.Say("time (%s)", z)
	}
	all := []string{
		w.Say("order"), w.Say("assembly"), w.Say("end"), w.Say("piece"), w.Say("crimp"), w.Say("record"), w.Say("time (%s)", "UTC"), local,
		w.Say("specification"), w.Say("revision"), w.Say("die cage"), w.Say("setting (counts)"),
		in(w.Say("target")), in(w.Say("lower limit")), in(w.Say("upper limit")),
	}
	for i := range t.places {
		all = append(all, in(w.Say("reading %d", i+1)))
	}
	return append(all,
		w.Say("readings in doubt"), in(w.Say("mean")), in(w.Say("deviation")), in(w.Say("ovality")), in(w.Say("standard uncertainty")), w.Say("conformity, per cent"),
		w.Say("what it says"), w.Say("reason"), w.Say("given up"), w.Say("operator"),
		w.Say("hose"), w.Say("hose maker"), w.Say("hose lot"), w.Say("fitting"), w.Say("fitting maker"), w.Say("fitting lot"))
}

// row is one crimp of a piece.
func (t table) row(p station.PieceEntry, i int) []string {
	c, w := p.Crimps[i], t.w
	all := []string{
		text(t.d.Order), count(p.Assembly), text(string(p.End)), text(p.ID), count(i + 1), strconv.FormatUint(c.Seq, 10),
		moment(c.At, time.UTC), moment(c.At, t.o.zone()), text(p.Spec.ID), text(p.Spec.Revision), text(p.Cage), strconv.Itoa(c.Setting),
		t.length(p.Spec.Diameter), t.length(p.Spec.Lower()), t.length(p.Spec.Upper()),
	}
	doubt := 0
	for n := range t.places {
		if n >= len(c.Readings) {
			all = append(all, "")
			continue
		}
		if c.Readings[n].Doubt {
			doubt++
		}
		all = append(all, t.length(c.Readings[n].Value))
	}
	mean, deviation, ovality, u, conformity := "", "", "", "", ""
	if c.Outcome != "" && len(c.Readings) > 0 {
		mean, deviation, ovality = t.length(c.Mean), t.length(c.Deviation), t.length(c.Ovality)
		if c.U > 0 {
			u = t.length(c.U)
		}
		if c.Conformity >= 0 {
			conformity = t.decimal(strconv.FormatFloat(round(c.Conformity*100, 1e4), 'f', -1, 64))
		}
	}
	says := w.Say("not measured")
	switch last := i == len(p.Crimps)-1; {
	case len(c.Readings) > 0:
		says = outcomeWords(w, c.Outcome, last, i > 0)
	case last && !p.Plan:
		says = w.Say("not measured, as planned")
	}
	reason := ""
	if c.Reason != "" {
		reason = w.Sentence(c.Reason)
	}
	h, f := p.Parts.Hose, p.Parts.Fitting
	return append(all, strconv.Itoa(doubt), mean, deviation, ovality, u, conformity,
		text(says), text(reason), text(p.Scrap), text(c.Operator), text(h.Name), text(h.Maker), text(h.Lot), text(f.Name), text(f.Maker), text(f.Lot))
}

// length is a length in the table's unit: exact in millimetres, in inches exact
// or to a millionth.
func (t table) length(l crimp.Length) string {
	if t.unit == crimp.Inches {
		number := strings.TrimSuffix(l.Text(crimp.Inches, 6), " in")
		return t.decimal(strings.TrimSuffix(strings.TrimRight(number, "0"), "."))
	}
	return t.decimal(string(l.AppendMM(nil)))
}

// decimal is a number with the language's decimal sign.
func (t table) decimal(number string) string {
	if t.w.comma() {
		return strings.Replace(number, ".", ",", 1)
	}
	return number
}

// moment is a time as spreadsheets read it.
func moment(t time.Time, zone *time.Location) string {
	if t.IsZero() {
		return ""
	}
	return t.In(zone).Format(time.DateTime)
}

// count is a number; nothing where there is none to tell.
func count(n int) string {
	if n == 0 {
		return ""
	}
	return strconv.Itoa(n)
}

// text is a text that no spreadsheet takes for a formula: where it begins like
// one, an apostrophe stands before it (OWASP, CSV injection, from memory; its
// signs, and the same signs in their full width). Blanks and signs that nobody
// sees, before it, do not hide one.
func text(s string) string {
	begin := strings.TrimLeftFunc(s, func(r rune) bool { return unicode.IsSpace(r) || unicode.In(r, unicode.Cc, unicode.Cf) })
	first, _ := utf8.DecodeRuneInString(begin)
	if begin != "" && strings.ContainsRune("=+-@|%＝＋－＠", first) {
		return "'" + s
	}
	return s
}
