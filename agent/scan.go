package main

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"sync"
	"time"

	"benchtally/agent/crimp"
	"benchtally/agent/label"
	"benchtally/agent/panel"
	"benchtally/agent/record"
	"benchtally/agent/station"
)

// scanAgain is how soon the same label is taken for one that was read twice:
// scanners read again while the trigger is held (common practice, no source).
const scanAgain = 2 * time.Second

// scans remembers the label that was scanned last, and what became of it.
type scans struct {
	mu   sync.Mutex
	text string
	at   time.Time
	got  panel.Scanned
}

// again says whether a label was scanned just before, and what to answer then: it
// is not done again, and what was refused is said again.
func (s *scans) again(text string, now time.Time) (panel.Scanned, bool) {
	s.mu.Lock()
	defer s.mu.Unlock()
	twice := s.text == text && now.Sub(s.at).Abs() < scanAgain
	s.text, s.at = text, now
	switch {
	case !twice:
		s.got = panel.Scanned{}
	case s.got.Refused == "":
		return panel.Scanned{Said: "read twice, done once", Person: s.got.Person}, true
	}
	return s.got, twice
}

// done remembers what became of a label; of one that was not kept nothing did, so
// that it may be scanned again at once.
func (s *scans) done(text string, got panel.Scanned, kept bool) {
	s.mu.Lock()
	defer s.mu.Unlock()
	switch {
	case s.text != text: // another one came meanwhile
	case kept:
		s.got = got
	default:
		s.text = ""
	}
}

// scan does what a scanned label says, in the name of who is signed in; "": of who
// is at the press. What cannot be done is kept as a refusal, like any other. An
// error says that nothing of it was kept.
func (a *agent) scan(ctx context.Context, text, operator string) (panel.Scanned, error) {
	text = label.Trim(text)
	if got, again := a.scans.again(text, time.Now()); again {
		return got, nil
	}
	got, err := a.scanOnce(ctx, text, operator)
	a.scans.done(text, got, err == nil)
	return got, err
}

func (a *agent) scanOnce(ctx context.Context, text, operator string) (panel.Scanned, error) {
	v := a.health.seen()
	m, err := a.read(text, v)
	if err == nil && a.door != nil && operator == "" && m.person == "" && v.Operator == "" {
		err = errors.New("scan your badge first: here it is told who does what")
	}
	switch {
	case err != nil:
		if label.Secret(text) {
			text = ""
		}
		ctx, cancel := context.WithTimeout(ctx, 10*time.Second)
		defer cancel()
		_, kept := a.bench.ask(ctx, station.Refusal{At: a.now(), Source: record.Action, Reason: err.Error(), Raw: text})
		return panel.Scanned{Refused: err.Error()}, kept
	case m.action.Do == "":
		return panel.Scanned{Said: m.said}, nil
	}
	if m.action.Operator == "" {
		m.action.Operator = operator
	}
	records, err := a.act(ctx, m.action)
	if err != nil {
		return panel.Scanned{}, err
	}
	if refused := refusal(records); refused != "" {
		return panel.Scanned{Refused: refused}, nil
	}
	return panel.Scanned{Said: m.said, Person: m.person}, nil
}

// meant is what a label asks for.
type meant struct {
	action station.Action // without a Do nothing is left to be done
	said   string         // when it is done
	person string         // whose badge it was; "": it was none
}

// read is what a label asks for, as things stand.
func (a *agent) read(text string, v station.View) (meant, error) {
	l, err := label.Parse(text)
	if none := (label.NoLabelError{}); errors.As(err, &none) {
		l, err = a.bare(text, err)
	}
	if err != nil {
		return meant{}, err
	}
	switch l.Kind {
	case label.Order:
		if v.Order != nil && v.Order.ID == l.ID { // a new start would forget what is dialled
			return meant{said: fmt.Sprintf("order %s is in work", l.ID)}, nil
		}
		return meant{action: station.Action{Do: station.DoStart, Order: l.ID}, said: fmt.Sprintf("order %s is in work", l.ID)}, nil
	case label.Cage:
		return meant{action: station.Action{Do: station.DoLoad, Cage: l.ID}, said: fmt.Sprintf("cage %s is loaded", l.ID)}, nil
	case label.Piece:
		return meant{action: station.Action{Do: station.DoMeasure, Piece: l.ID}, said: fmt.Sprintf("piece %s is measured again", l.ID)}, nil
	case label.Check:
		return meant{action: station.Action{Do: station.DoStandard, Standard: l.ID}, said: fmt.Sprintf("measure %s now", l.ID)}, nil
	case label.Badge:
		return a.holder(l.ID)
	case label.Do:
		return commandOf(l.ID, v)
	}
	return meant{}, err
}

// bare takes the number of an order that has a job card, or of a cage that the
// specifications name, from a barcode that others made; else the error it is given.
func (a *agent) bare(text string, err error) (label.Label, error) {
	if _, known := a.jobs.Of(text); known {
		return label.Label{Kind: label.Order, ID: text}, nil
	}
	if slices.ContainsFunc(a.cfg.Specs, func(s crimp.Spec) bool { return s.Cage == text }) {
		return label.Label{Kind: label.Cage, ID: text}, nil
	}
	return label.Label{}, err
}

// holder lets who has a badge be at the press.
func (a *agent) holder(token string) (meant, error) {
	if a.holders == nil {
		return meant{}, errors.New("badges are not read here: the configuration names no operators")
	}
	p, known := a.holders.Holder(token)
	if !known {
		return meant{}, errors.New("nobody has this badge: it was replaced, or is of another shop")
	}
	return meant{station.Action{Do: station.DoOperator, Operator: p.ID}, fmt.Sprintf("%s is at the press", p.ID), p.ID}, nil
}

// commandOf is what a command label asks for.
func commandOf(id string, v station.View) (meant, error) {
	o := v.Order
	if o == nil {
		o = &station.OrderView{} // what wants an order is refused by the station
	}
	m := func(said string, action station.Action) (meant, error) { return meant{action: action, said: said}, nil }
	switch id {
	case label.Undo:
		return m("the last reading is taken back", station.Action{Do: station.DoUndo})
	case label.Same:
		return m("the last stroke was on the piece before", station.Action{Do: station.DoSame})
	case label.Dry:
		return m("the last stroke crimped nothing", station.Action{Do: station.DoDry})
	case label.Finish:
		return m("the order is finished or set aside", station.Action{Do: station.DoFinish})
	case label.Good:
		return m("looked at, all good", station.Action{Do: station.DoCheck, Piece: o.Look})
	case label.First:
		return m("the first piece is signed off", station.Action{Do: station.DoCheck, Piece: o.Sign, Points: station.PointFirst})
	case label.Scrap:
		return m("the piece is scrap", station.Action{Do: station.DoScrap, Reason: "scanned at the press"})
	case label.Lubricated:
		return m("the cage is lubricated", station.Action{Do: station.DoCare, Work: crimp.Lubricate})
	case label.Cleaned:
		return m("the cage is cleaned", station.Action{Do: station.DoCare, Work: crimp.Clean})
	case label.Turn:
		end := crimp.NoEnd
		if o.Job != nil {
			end = o.NextEnd.Other()
		}
		return m("the other end comes next", station.Action{Do: station.DoTurn, End: end})
	case label.Set:
		advice := v.Advice()
		if advice == nil {
			return meant{}, errors.New("no setting is advised now: tell the one that is dialled at the page")
		}
		return m(fmt.Sprintf("set to %s", crimp.Dial(*advice)), station.Action{Do: station.DoSet, Setting: advice})
	}
	return meant{}, fmt.Errorf("%q is no command", id)
}
