package main

import (
	"cmp"
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"benchtally/agent/config"
	"benchtally/agent/label"
	"benchtally/agent/panel"
	"benchtally/agent/report"
	"benchtally/agent/station"
	"benchtally/agent/words"
)

// shiftHours is how far back a hand-over looks: a shift is eight hours in most
// shops (common practice, no source).
const shiftHours = 8 * time.Hour

// papers makes what is printed or handed on, of the records and the
// configuration.
type papers struct {
	archive
	cfg  *config.Config
	jobs *jobs
	view func() station.View
	now  func() time.Time
}

// paperKinds are the papers that there are, each with what its id names; "":
// nothing.
var paperKinds = map[string]string{
	"certificate": "order", "card": "order", "labels": "order", "table": "order",
	"label": "order and assembly, such as A-1001/3", "commands": "", "shop": "", "handover": "",
}

const pdf = "application/pdf"

// paper makes one paper. That it cannot be made is an error for people.
func (p papers) paper(r panel.PaperRequest) (panel.Paper, error) {
	of, known := paperKinds[r.Kind]
	switch {
	case !known:
		return panel.Paper{}, invalid{fmt.Errorf("there is no paper %q", r.Kind)}
	case of != "" && r.ID == "":
		return panel.Paper{}, invalid{fmt.Errorf("a paper %q wants the id of its %s", r.Kind, of)}
	}
	o := report.Options{Language: words.In(cmp.Or(r.Language, p.cfg.Page.Language)), Press: p.cfg.Press.Name, Store: p.kept.ID(), Zone: time.Local}
	pdfOf := func(body []byte, err error) (panel.Paper, error) {
		return panel.Paper{Name: r.Name(), Type: pdf, Body: body}, err
	}
	switch r.Kind {
	case "commands":
		return pdfOf(report.Sheet(o.Language.Say("Commands to scan"), commandLabels(o), p.now(), o))
	case "shop":
		return pdfOf(report.Sheet(o.Language.Say("Labels of the shop"), p.shopLabels(o), p.now(), o))
	case "handover":
		now := p.now()
		h, err := p.handover(now.Add(-shiftHours), now, p.view())
		if err != nil {
			return panel.Paper{}, err
		}
		return pdfOf(report.ShiftSheet(h, o))
	case "card":
		card, err := p.card(r.ID)
		if err != nil {
			return panel.Paper{}, err
		}
		return pdfOf(report.JobCard(card, o))
	}
	order, assembly := r.ID, 0
	if r.Kind == "label" {
		id, n, ok := cutLast(r.ID)
		if !ok {
			return panel.Paper{}, invalid{fmt.Errorf("%q: want an order and an assembly, such as A-1001/3", r.ID)}
		}
		order, assembly = id, n
	}
	d, err := p.dossier(order, p.first(order))
	if err != nil {
		return panel.Paper{}, err
	}
	switch r.Kind {
	case "table":
		body, err := report.Table(d, o)
		return panel.Paper{Name: r.Name(), Type: "text/csv; charset=utf-8", Body: body}, err
	case "label":
		d.Assemblies = slices.DeleteFunc(d.Assemblies, func(e station.AssemblyEntry) bool { return e.N != assembly })
		d.Pieces = slices.DeleteFunc(d.Pieces, func(e station.PieceEntry) bool { return len(d.Ends) == 0 && e.N != assembly })
		return pdfOf(report.Labels(report.AssemblyLabels(d, pieceCode, o), report.SmallLabel, d.Latest, o))
	case "labels":
		return pdfOf(report.Labels(report.AssemblyLabels(d, pieceCode, o), report.SmallLabel, d.Latest, o))
	}
	return pdfOf(report.Certificate(d, o))
}

// first is the seq of the first start of the order in work; 0: it is another one.
func (p papers) first(order string) uint64 {
	if o := p.view().Order; o != nil && o.ID == order {
		return o.First
	}
	return 0
}

// cutLast parts "A-1001/3" at its last slash.
func cutLast(id string) (before string, n int, ok bool) {
	i := strings.LastIndexByte(id, '/')
	if i <= 0 {
		return "", 0, false
	}
	n, err := strconv.Atoi(id[i+1:])
	return id[:i], n, err == nil && n > 0
}

// card is the job card of an order, of its file, or as it was taken into work.
func (p papers) card(order string) (report.Traveller, error) {
	job, ok := p.jobs.Of(order)
	if !ok {
		d, err := p.dossier(order, p.first(order))
		if err != nil {
			return report.Traveller{}, errors.Join(fmt.Errorf("order %s has no job card in the files", order), err)
		}
		if d.Job == nil {
			return report.Traveller{}, fmt.Errorf("order %s has no job card: it is counted in single ends", order)
		}
		job = *d.Job
	}
	if job.Length > 0 {
		if plus, minus, err := job.Tolerance(p.cfg.Order.Lengths); err == nil {
			job.Plus, job.Minus = plus, minus
		}
	}
	t := report.Traveller{Job: job, Code: label.Label{Kind: label.Order, ID: order}.Text(), At: p.now()}
	t.Cut, _ = job.Cut() // 0 where it is not known
	for i, end := range job.Ends {
		for _, s := range p.cfg.Specs {
			if s.ID == end.Spec {
				t.Specs[i] = s
			}
		}
	}
	return t, nil
}

func pieceCode(piece string) string { return label.Label{Kind: label.Piece, ID: piece}.Text() }

// commandLabels are the commands that lie beside the press.
func commandLabels(o report.Options) []report.Label {
	title := map[string]string{
		label.Undo: "Undo reading", label.Same: "Same piece", label.Dry: "Dry stroke", label.Set: "Set as advised",
		label.Good: "All good", label.First: "Sign off", label.Turn: "The other end", label.Lubricated: "Lubricated",
		label.Cleaned: "Cleaned", label.Finish: "Finish or set aside", label.Scrap: "Scrap",
	}
	var all []report.Label
	for _, c := range label.Commands() {
		all = append(all, report.Label{Code: label.Label{Kind: label.Do, ID: c}.Text(), Title: o.Language.Say(title[c])})
	}
	return all
}

// shopLabels are those of cages, gauge rings and orders.
func (p papers) shopLabels(o report.Options) []report.Label {
	t := o.Language
	var all []report.Label
	var cages []string
	for _, s := range p.cfg.Specs {
		if !slices.Contains(cages, s.Cage) {
			cages = append(cages, s.Cage)
			all = append(all, report.Label{Code: label.Label{Kind: label.Cage, ID: s.Cage}.Text(), Title: t.Say("Cage %s", s.Cage)})
		}
	}
	for _, s := range p.cfg.Standards {
		all = append(all, report.Label{
			Code: label.Label{Kind: label.Check, ID: s.Name}.Text(), Title: s.Name, Lines: []string{t.Length(s.Value, "mm", 3)},
		})
	}
	for _, j := range p.jobs.All() {
		all = append(all, report.Label{
			Code: label.Label{Kind: label.Order, ID: j.Order}.Text(), Title: t.Say("Order %s", j.Order), Lines: []string{j.Reference},
		})
	}
	return all
}
