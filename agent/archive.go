package main

import (
	"fmt"
	"maps"
	"math"
	"slices"
	"time"

	"benchtally/agent/crimp"
	"benchtally/agent/record"
	"benchtally/agent/report"
	"benchtally/agent/station"
	"benchtally/store"
)

// archive is what the records of a station tell when they are looked back on.
type archive struct {
	kept  *store.Store
	rules station.Rules
}

// after folds the records kept after seq, each with the time at which it happened,
// as far as that is known.
func (a archive) after(seq uint64, fold func(record.Record) error) error {
	times := corrections{kept: a.kept}
	return (&keeper{Store: a.kept}).After(seq, func(r record.Record) error { return fold(times.right(r)) })
}

// within is the same for those from one seq to another.
func (a archive) within(e station.Extent, fold func(record.Record) error) error {
	return a.each([]station.Extent{e}, fold)
}

// each is the same for those that lie in extents.
func (a archive) each(lie []station.Extent, fold func(record.Record) error) error {
	times := corrections{kept: a.kept}
	for _, e := range lie {
		err := (&keeper{Store: a.kept}).within(e, func(r record.Record) error { return fold(times.right(r)) })
		if err != nil {
			return err
		}
	}
	return nil
}

// noOrderError says that no record speaks of an order.
type noOrderError string

func (e noOrderError) Error() string { return fmt.Sprintf("no record speaks of order %s", string(e)) }

// dossier is what the records leave of an order. First is the seq of the first
// start of the order in work; 0: it is another one, or not known.
func (a archive) dossier(order string, first uint64) (*station.Dossier, error) {
	log := &keeper{Store: a.kept}
	pages := station.Pages{Order: station.Extent{From: first, To: math.MaxUint64}}
	if first == 0 {
		var err error
		if pages, err = station.PagesOf(log, order); err != nil {
			return nil, err
		}
	}
	clerk, err := station.NewClerk(a.rules, order)
	if err != nil {
		return nil, err
	}
	if err := a.within(pages.Order, clerk.Add); err != nil {
		return nil, err
	}
	for _, seq := range pages.Checks {
		if err := a.within(station.Extent{From: seq, To: seq}, func(r record.Record) error { clerk.Later(r); return nil }); err != nil {
			return nil, err
		}
	}
	if pages.Latest != (station.Extent{}) {
		again := false // the order is in work again, or was
		err := a.within(pages.Latest, func(r record.Record) error {
			clerk.Later(r)
			again = again || r.Order == order
			return nil
		})
		switch {
		case err != nil:
			return nil, err
		case again:
			return a.dossier(order, pages.Order.From)
		}
	}
	d, known := clerk.Dossier()
	if !known {
		return nil, noOrderError(order)
	}
	return d, nil
}

// seriesRecords is how far back the pictures look: some hundreds of pieces.
const seriesRecords = 8192

// series are the latest crimps of a cage that stand judged, with what had been
// advised; strokes is the cage's count now. "" is whatever cage was last used.
func (a archive) series(cage string, strokes int) (report.Series, error) {
	history, err := station.NewHistory(a.rules, func(_, of, _ string, _ time.Time) bool { return cage == "" || of == cage })
	if err != nil {
		return report.Series{}, err
	}
	var advice []report.Advice
	seen := 0 // strokes of the cage among the records
	after := a.kept.Last()
	after -= min(after, seriesRecords)
	err = a.after(after, func(r record.Record) error {
		switch {
		case r.Kind == record.Correction && r.Setting != nil:
			advice = append(advice, report.Advice{Seq: r.Seq, Order: r.Order, Piece: r.Piece, Again: r.For == record.ForRecrimp, Setting: *r.Setting, Aim: lengthOf(r.Aim)})
		case r.Kind == record.Start && r.Advised != nil:
			advice = append(advice, report.Advice{Seq: r.Seq, Order: r.Order, Setting: *r.Advised, Aim: lengthOf(r.Aim)})
		case r.Kind == record.Stroke && r.Cage == cage:
			seen++
		}
		return history.Add(r)
	})
	if err != nil {
		return report.Series{}, err
	}
	judged := history.Judged()
	for i := range judged { // counted from the first of these records on: now from the cage's first stroke
		judged[i].Stroke += max(0, strokes-seen)
	}
	return report.SeriesOf(judged, advice), nil
}

// mostChecks is how many checks of the caliper are looked back on.
const mostChecks = 60

// checks are the latest checks of the caliper among the latest records, the newest
// first.
func (a archive) checks() ([]station.CaliperEntry, error) {
	var all []station.CaliperEntry
	after := a.kept.Last()
	after -= min(after, seriesRecords)
	err := a.after(after, func(r record.Record) error {
		if e, ok := station.CaliperCheck(r); ok {
			all = append(all, e)
		}
		return nil
	})
	if err != nil {
		return nil, err
	}
	slices.Reverse(all)
	return all[:min(len(all), mostChecks)], nil
}

func lengthOf(l *crimp.Length) crimp.Length {
	if l == nil {
		return 0
	}
	return *l
}

// handover is what was done since a time, and how the station stands.
func (a archive) handover(since, now time.Time, v station.View) (report.Handover, error) {
	h := report.Handover{From: since, To: now, Cage: v.Cage, Setting: v.Setting}
	if next := v.Advice(); next != nil {
		h.Advised = next
	}
	people, made := map[string]bool{}, map[string]int{}
	var orders []string
	lie, err := placesOf(a.kept, since, time.Time{})
	if err != nil {
		return h, err
	}
	err = a.each(lie, func(r record.Record) error {
		if r.At.Before(since) {
			return nil
		}
		if h.FirstSeq == 0 {
			h.FirstSeq = r.Seq
		}
		h.LastSeq = r.Seq
		if r.Operator != "" {
			people[r.Operator] = true
		}
		if r.Order != "" && !slices.Contains(orders, r.Order) {
			orders = append(orders, r.Order)
		}
		if r.Kind == record.Stroke && r.Crimp == 1 {
			made[r.Order]++
		}
		if e, ok := station.CaliperCheck(r); ok {
			h.Calipers = append(h.Calipers, e)
		}
		return nil
	})
	if err != nil {
		return h, err
	}
	h.People = slices.Sorted(maps.Keys(people))
	for _, id := range orders {
		d, err := a.dossier(id, 0)
		if err != nil {
			return h, err
		}
		h.Orders = append(h.Orders, handedOver(d, made[id], v))
		h.Doubt = append(h.Doubt, doubts(d, since)...)
	}
	h.Care = careOf(v)
	for _, source := range slices.Sorted(maps.Keys(v.Faults)) {
		h.Faults = append(h.Faults, report.HandoverFault{Source: string(source), Reason: v.Faults[source]})
	}
	return h, nil
}

// handedOver is an order as a shift leaves it.
func handedOver(d *station.Dossier, made int, v station.View) report.HandoverOrder {
	o := report.HandoverOrder{ID: d.Order, Quantity: d.Quantity, Made: made, Singles: len(d.Ends) == 0, State: report.Held}
	switch {
	case d.Finished:
		o.State = report.Finished
	case v.Order != nil && v.Order.ID == d.Order:
		o.State = report.InWork
	}
	var specs []string
	for _, s := range d.Starts {
		if !slices.Contains(specs, s.Spec.ID) {
			specs = append(specs, s.Spec.ID)
		}
	}
	for i, s := range specs {
		if o.Spec += s; i < len(specs)-1 {
			o.Spec += ", "
		}
	}
	if d.Job != nil {
		o.Reference = d.Job.Reference
	}
	for _, p := range d.Pieces {
		if len(p.Crimps) > 1 {
			o.Again++
		}
		switch {
		case p.Outcome == crimp.Unsure || p.Outcome == "" && p.Plan:
			o.Unmeasured = append(o.Unmeasured, p.ID)
		case !o.Singles:
		case p.Outcome == crimp.Pass:
			o.Complete++
		case p.Outcome == crimp.Scrap:
			o.Scrapped++
		}
	}
	for _, e := range d.Assemblies {
		switch e.State {
		case station.Complete:
			o.Complete++
		case station.GivenUp:
			o.Scrapped++
		case station.ToCrimp, station.ToJudge, station.ToCheck:
		}
	}
	return o
}

// doubts are the readings of an order since a time that are in doubt.
func doubts(d *station.Dossier, since time.Time) []report.HandoverDoubt {
	var doubt report.HandoverDoubt
	for _, p := range d.Pieces {
		of := false
		for _, c := range p.Crimps {
			for _, r := range c.Readings {
				if !r.Doubt || c.At.Before(since) {
					continue
				}
				of = true
				if doubt.From == 0 {
					doubt.From = r.Seq
				}
				doubt.From, doubt.To = min(doubt.From, r.Seq), max(doubt.To, r.Seq)
			}
		}
		if of {
			doubt.Pieces = append(doubt.Pieces, p.ID)
		}
	}
	if doubt.From == 0 {
		return nil
	}
	return []report.HandoverDoubt{doubt}
}

// careOf is the care of the loaded cage and of the press.
func careOf(v station.View) []report.HandoverCare {
	var all []report.HandoverCare
	for _, c := range v.Care {
		if c.Limit > 0 || c.Due {
			all = append(all, report.HandoverCare{Cage: v.Cage, Work: c.Work, Due: c.Due, Strokes: c.Strokes, Limit: c.Limit, Days: c.Days})
		}
	}
	if c := v.Oil; c.Due || c.Days >= 0 {
		all = append(all, report.HandoverCare{Work: c.Work, Due: c.Due, Strokes: c.Strokes, Days: c.Days})
	}
	return all
}
