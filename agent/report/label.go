package report

import (
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"benchtally/agent/crimp"
	"benchtally/agent/station"
)

// Label is what is stuck on an assembly, a cage, a badge or a gauge block, or lies
// beside the press to be scanned.
type Label struct {
	Code  string   // what its codes say, as people read it
	Title string   // large
	Lines []string // below it, as many as there is room for
}

// Sizes of labels that are usual: a roll of 62 mm, and a plate for crates.
var (
	SmallLabel = Size{62 * crimp.Millimetre, 29 * crimp.Millimetre}
	LargeLabel = Size{100 * crimp.Millimetre, 50 * crimp.Millimetre}
)

// Bounds of a label's size in millimetres: smaller ones have no room for a code
// that a scanner reads, larger ones are sheets.
const (
	leastLabel = 20
	mostLabel  = 300
)

// Labels are labels as PDF, one on each page, at is the time that the file is
// dated by. A sign that the type does not have stands as □ and is in the QR code
// all the same.
func Labels(labels []Label, size Size, at time.Time, o Options) ([]byte, error) {
	if w, h := size.Width.MM(), size.Height.MM(); w < leastLabel || h < leastLabel || w > mostLabel || h > mostLabel {
		return nil, fmt.Errorf("a label of %s by %s: want %d to %d mm either way", size.Width, size.Height, leastLabel, mostLabel)
	}
	if len(labels) == 0 {
		return nil, errors.New("no label to print: nothing is crimped or chosen yet")
	}
	s := newSheet(o, size, labels[0].Code, at)
	for _, l := range labels {
		s.page()
		if err := s.label(0, 0, s.width, s.high, l); err != nil {
			return nil, err
		}
	}
	return s.bytes()
}

// Sheet is a sheet of labels to be laid beside the press or cut apart, as PDF.
func Sheet(title string, labels []Label, at time.Time, o Options) ([]byte, error) {
	const high, gap = 36.0, 4.0
	s := newSheet(o, o.Paper.size(), title, at)
	s.page()
	s.face(headPt, true, black)
	s.put(margin, 15, s.fit(title, s.inner()))
	wide := (s.inner() - gap) / 2
	for i, l := range labels {
		side := i % 2
		if side == 0 {
			s.need(high)
		}
		x := margin + float64(side)*(wide+gap)
		s.f.SetDrawColor(faint, faint, faint)
		s.f.SetLineWidth(0.15)
		s.f.Rect(x, s.y, wide, high, "D")
		if err := s.label(x, s.y, wide, high, l); err != nil {
			return nil, err
		}
		if side == 1 {
			s.y += high + gap
		}
	}
	s.y += high
	s.note()
	return s.feet(title)
}

// label sets a label into a field: the QR code to the left, what people read
// beside it, the Code 128 below where it has room.
func (s *sheet) label(x, y, width, high float64, l Label) error {
	const pad = 2.0
	strip := min(9, max(4.5, high*0.2))
	if !s.bars(x+pad, y+high-pad-strip, width-2*pad, strip, l.Code) {
		strip = -pad / 2
	}
	side := min(high-2.5*pad-strip, width*0.45)
	if err := s.square(x+pad/2, y+pad/2, side+pad/2, l.Code); err != nil {
		return err
	}
	left := x + side + 1.5*pad
	room := x + width - pad - left
	pt := min(high*0.5, 20.0)
	for s.face(pt, true, black); pt > 8 && s.long(l.Title) > room; s.face(pt, true, black) {
		pt -= 0.5
	}
	base := y + pad + pt*point*0.8
	s.put(left, base, s.fit(l.Title, room))
	pt = min(11, max(6, high*0.22))
	for s.face(pt, true, black); pt > 6 && s.longest(append(slices.Clone(l.Lines), l.Code)) > room; s.face(pt, true, black) {
		pt -= 0.25
	}
	line := pt * point * 1.25
	base += line * 1.15
	s.face(pt, false, black)
	last := y + pad + side // what is below it belongs to the Code 128
	for _, text := range l.Lines {
		if base+line > last+line*0.4 { // the last line is the code's
			break
		}
		if text != "" {
			s.put(left, base, s.fit(text, room))
			base += line
		}
	}
	s.face(pt, true, black)
	s.put(left, min(base, last), s.fit(l.Code, room))
	return nil
}

// longest is how long the longest of some lines is.
func (s *sheet) longest(lines []string) float64 {
	most := 0.0
	for _, text := range lines {
		most = max(most, s.long(text))
	}
	return most
}

// AssemblyLabels are a label for each assembly of an order that was not given up;
// without a job card one for each piece. Code gives the text of the codes of a
// piece; an assembly has that of its first end.
func AssemblyLabels(d *station.Dossier, code func(piece string) string, o Options) []Label {
	w := words{o.Language}
	var all []Label
	if len(d.Ends) == 0 {
		for _, p := range d.Pieces {
			if p.Scrap == "" && p.Outcome != crimp.Scrap {
				all = append(all, Label{
					Code: code(p.ID), Title: p.ID,
					Lines: []string{join(" – ", p.Parts.Hose.Name, p.Parts.Fitting.Name), join("  ", p.Spec.ID, o.date(p.Crimps[len(p.Crimps)-1].At))},
				})
			}
		}
		return all
	}
	byNumber := map[int]station.PieceEntry{}
	for _, p := range d.Pieces {
		byNumber[p.N] = p
	}
	for _, a := range d.Assemblies {
		if a.State == station.GivenUp {
			continue
		}
		l := Label{Title: d.Order + "  " + strconv.Itoa(a.N)}
		if d.Quantity > 0 {
			l.Title = d.Order + "  " + w.Say("%d of %d", a.N, d.Quantity)
		}
		var ids, fittings []string
		var hose string
		var made time.Time
		for _, e := range d.Ends {
			p, crimped := byNumber[a.Pieces[e]]
			if !crimped {
				continue
			}
			if l.Code == "" {
				l.Code, hose = code(p.ID), p.Parts.Hose.Name
			}
			ids = append(ids, string(e)+" "+p.ID)
			fittings = append(fittings, p.Parts.Fitting.Name)
			made = p.Crimps[len(p.Crimps)-1].At
		}
		if l.Code == "" {
			continue // nothing of it is crimped
		}
		long := ""
		if j := d.Job; j != nil && j.Length > 0 {
			u := lengthUnit(d)
			long = w.Length(j.Length, u, coarse(u))
		}
		l.Lines = []string{join(" – ", append([]string{hose}, fittings...)...), join("  ", long, o.date(made)), strings.Join(ids, "   ")}
		all = append(all, l)
	}
	return all
}

// join joins the texts that say something.
func join(with string, all ...string) string { return strings.Join(nonempty(all...), with) }
