package panel

import (
	"fmt"
	"strings"

	"benchtally/agent/crimp"
	"benchtally/agent/station"
)

// row is one line of a sheet.
type row struct {
	Name, Text string
	Strong     bool // to be read from where the hose is cut
	Mind       bool // not as one would expect
}

// sheet is the order in work as it is to be made.
type sheet struct {
	frame
	Order, Reference string
	Counts           string
	Card             bool // counted in assemblies
	Mixed            string
	Rows             []row
	Ends             []endSheet
}

// endSheet is one end of the hose as it is to be made.
type endSheet struct {
	Name string
	Here bool // in work
	Rows []row
}

func orderView(a asked) (any, string) {
	o := a.View.Order
	if o == nil {
		return nil, "/start"
	}
	a.Title = o.ID
	v := sheet{frame: a.frame, Order: o.ID, Counts: a.counts(o)}
	if o.Job == nil {
		v.Ends = []endSheet{{Rows: a.specRows(o.Spec)}}
	} else {
		v.Reference = o.Job.Reference
		v.Rows, v.Mixed = a.jobRows(o), a.mixed(o.Job)
		for _, e := range o.Ends {
			v.Ends = append(v.Ends, a.endSheet(o, e))
		}
	}
	v.Card = o.Job != nil
	return v, ""
}

// counts is how far the order is.
func (s scene) counts(o *station.OrderView) string {
	var words []string
	if o.Job != nil {
		words = append(words, s.t.Say("complete: %d of %d", o.Done, o.Quantity), s.t.Say("ends crimped: %d", o.Pieces))
	} else {
		words = append(words, s.t.Say("pieces crimped: %d", o.Pieces))
		if o.Quantity > 0 {
			words = append(words, s.t.Say("%d ordered", o.Quantity))
		}
	}
	if text := s.tally(); text != "" {
		words = append(words, text)
	}
	return strings.Join(words, " · ")
}

// jobRows are the hose and the assembly.
func (s scene) jobRows(o *station.OrderView) []row {
	j, u := o.Job, o.Spec.Unit
	var rows []row
	if o.Cut > 0 {
		rows = append(rows, row{Name: s.t.Say("Cut the hose to"), Text: s.long(u, o.Cut), Strong: true})
	}
	if j.Length > 0 {
		text := s.long(u, j.Length)
		if j.Plus != 0 || j.Minus != 0 {
			text += " " + s.tolerance(u, j.Plus, j.Minus, coarse(u))
		}
		rows = append(rows, row{Name: s.t.Say("Overall length"), Text: text})
	}
	if j.Angle != nil {
		rows = append(rows, row{Name: s.t.Say("Angle of the ends"), Text: fmt.Sprintf("%d°", *j.Angle)})
	}
	if j.Working > 0 {
		rows = append(rows, row{Name: s.t.Say("Working pressure"), Text: j.Working.String()})
	}
	if text := s.partText(j.Hose); text != "" {
		rows = append(rows, row{Name: s.t.Say("Hose"), Text: text})
	}
	if j.Note != "" {
		rows = append(rows, row{Name: s.t.Say("Note"), Text: j.Note})
	}
	return rows
}

func (s scene) partText(p crimp.Part) string {
	var words []string
	for _, w := range []string{p.Name, p.Maker} {
		if w != "" {
			words = append(words, w)
		}
	}
	if p.Lot != "" {
		words = append(words, s.t.Say("lot %s", p.Lot))
	}
	return strings.Join(words, " · ")
}

func (s scene) endSheet(o *station.OrderView, e crimp.EndName) endSheet {
	end := o.Job.End(e)
	sheet := endSheet{Name: s.t.Say("End %s", e), Here: o.End == e && !o.InTurn}
	if text := s.partText(end.Fitting); text != "" {
		sheet.Rows = append(sheet.Rows, row{Name: s.t.Say("Fitting"), Text: text})
	}
	spec := s.shop.spec(end.Spec)
	if end.Spec == o.Spec.ID {
		spec = &o.Spec // as it was when the order was started
	}
	if spec == nil {
		sheet.Rows = append(sheet.Rows, row{Name: s.t.Say("Specification"), Text: s.t.Say("%s is not in the specs files", end.Spec), Mind: true})
		return sheet
	}
	sheet.Rows = append(sheet.Rows, s.specRows(*spec)...)
	return sheet
}

// specRows are what the maker's sheet says of an end.
func (s scene) specRows(spec crimp.Spec) []row {
	u := spec.Unit
	var rows []row
	if spec.Skive > 0 {
		rows = append(rows, row{Name: s.t.Say("Skive"), Text: s.long(u, spec.Skive), Strong: true})
	}
	if spec.Insertion > 0 {
		rows = append(rows, row{Name: s.t.Say("Mark the insertion at"), Text: s.long(u, spec.Insertion), Strong: true})
	}
	rows = append(rows,
		row{Name: s.t.Say("Crimp diameter"), Text: s.both(u, spec.Diameter) + " " + s.tolerance(u, spec.Plus, spec.Minus, decimals(u))},
		row{Name: s.t.Say("Cage"), Text: spec.Cage, Mind: s.View.Cage != "" && spec.Cage != s.View.Cage})
	text := spec.ID
	if spec.Revision != "" {
		text += " · " + s.t.Say("revision %s", spec.Revision)
	}
	rows = append(rows, row{Name: s.t.Say("Specification"), Text: text})
	for _, r := range []row{{Name: s.t.Say("Hose"), Text: spec.Hose}, {Name: s.t.Say("Fitting"), Text: spec.Fitting}, {Name: s.t.Say("Size"), Text: spec.Size}, {Name: s.t.Say("Note"), Text: spec.Note}} {
		if r.Text != "" && (s.View.Order == nil || s.View.Order.Job == nil || r.Name == s.t.Say("Note")) {
			rows = append(rows, r)
		}
	}
	return rows
}

// mixed minds who has parts of different makers in hand; "": nobody has.
func (s scene) mixed(j *crimp.Job) string {
	var ends []string
	for _, e := range j.Mixed() {
		ends = append(ends, string(e))
	}
	if len(ends) == 0 {
		return ""
	}
	return s.t.Say("Hose and fitting are of different makers at end %s. Both makers must have agreed to it in writing.", strings.Join(ends, ", "))
}

// changeView are the touches by which an order goes on otherwise.
func changeView(a asked) (any, string) {
	o := a.View.Order
	if o == nil {
		return nil, "/start"
	}
	a.Title = a.t.Say("Change")
	return keysView{frame: a.frame, Keys: a.changeKeys(o)}, ""
}

func (s scene) changeKeys(o *station.OrderView) []key {
	var keys []key
	if o.Job != nil {
		keys = append(keys, key{Label: s.t.Say("Another lot"), Href: "/order/lots"})
		if o.InTurn {
			keys = append(keys, key{Form: touch(s.t.Say("Next is end %s", o.NextEnd.Other()), string(station.DoTurn), "end", string(o.NextEnd.Other()))})
			if o.Turn != crimp.NoEnd {
				keys = append(keys, key{Form: touch(s.t.Say("Ends in turn"), string(station.DoTurn))})
			}
		}
	}
	return append(keys,
		key{Label: s.t.Say("Another order"), Href: "/start"},
		key{Form: touch(s.t.Say("Finish or set aside"), string(station.DoFinish), "order", o.ID)})
}

// lots are for telling that another lot was opened.
type lots struct {
	frame
	Parts []lotPart
}

type lotPart struct {
	Name, End, Now, Maker string
}

func lotsView(a asked) (any, string) {
	o := a.View.Order
	if o == nil || o.Job == nil {
		return nil, "/order"
	}
	t := a.t
	a.Title = t.Say("Another lot")
	v := lots{frame: a.frame}
	v.Parts = append(v.Parts, lotPart{Name: t.Say("Hose"), Now: a.partText(o.Job.Hose), Maker: o.Job.Hose.Maker})
	for _, e := range o.Ends {
		f := o.Job.End(e).Fitting
		v.Parts = append(v.Parts, lotPart{Name: t.Say("Fitting of end %s", e), End: string(e), Now: a.partText(f), Maker: f.Maker})
	}
	return v, ""
}
