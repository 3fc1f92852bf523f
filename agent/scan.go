package main

import (
	"context"
	"errors"
	"fmt"
	"strings"
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

// scans remembers the label that was scanned last.
type scans struct {
	mu   sync.Mutex
	text string
	at   time.Time
}

// twice says whether a label was scanned just before.
func (s *scans) twice(text string, now time.Time) bool {
	s.mu.Lock()
	defer s.mu.Unlock()
	again := s.text == text && now.Sub(s.at).Abs() < scanAgain
	s.text, s.at = text, now
	return again
}

// scan does what a scanned label says, in the name of who is signed in; "": of who
// is at the press. What cannot be done is kept as a refusal, like any other.
func (a *agent) scan(ctx context.Context, text, operator string) (panel.Scanned, error) {
	text = strings.TrimSpace(text)
	if a.scans.twice(text, time.Now()) {
		return panel.Scanned{Said: "read twice, done once"}, nil
	}
	action, said, person, err := a.read(text)
	if err != nil {
		if label.Secret(text) {
			text = "" // a badge's secret is not kept
		}
		ctx, cancel := context.WithTimeout(ctx, 10*time.Second)
		defer cancel()
		_, kept := a.bench.ask(ctx, station.Refusal{At: a.now(), Source: record.Action, Reason: err.Error(), Raw: text})
		return panel.Scanned{Refused: err.Error()}, kept
	}
	if action.Operator == "" {
		action.Operator = operator
	}
	records, err := a.act(ctx, action)
	if err != nil {
		return panel.Scanned{}, err
	}
	return panel.Scanned{Said: said, Refused: refusal(records), Person: person}, nil
}

// scanned takes a label from the scanner on a port of its own. There is nobody to
// answer but the board.
func (a *agent) scanned(ctx context.Context, text string) {
	got, err := a.scan(ctx, text, "")
	if err != nil {
		got.Refused = err.Error()
	}
	a.health.board.Tell(got)
}

// read is the action that a label stands for, and what is said when it is done.
func (a *agent) read(text string) (action station.Action, said, person string, err error) {
	v := a.health.seen()
	l, err := label.Parse(text)
	if none := (label.NoLabelError{}); errors.As(err, &none) {
		if _, known := a.jobs.Of(text); known { // the office's own barcode of an order
			l, err = label.Label{Kind: label.Order, ID: text}, nil
		}
	}
	if err != nil {
		return action, "", "", err
	}
	switch l.Kind {
	case label.Order:
		return station.Action{Do: station.DoStart, Order: l.ID}, fmt.Sprintf("order %s is in work", l.ID), "", nil
	case label.Cage:
		return station.Action{Do: station.DoLoad, Cage: l.ID}, fmt.Sprintf("cage %s is loaded", l.ID), "", nil
	case label.Piece:
		return station.Action{Do: station.DoMeasure, Piece: l.ID}, fmt.Sprintf("piece %s is measured again", l.ID), "", nil
	case label.Check:
		return station.Action{Do: station.DoStandard, Standard: l.ID}, fmt.Sprintf("measure %s now", l.ID), "", nil
	case label.Badge:
		if a.holders == nil {
			return action, "", "", errors.New("badges are not read here: the configuration names no operators")
		}
		p, known := a.holders.Holder(l.ID)
		if !known {
			return action, "", "", errors.New("nobody has this badge: it was replaced, or is of another shop")
		}
		return station.Action{Do: station.DoOperator, Operator: p.ID}, fmt.Sprintf("%s is at the press", p.ID), p.ID, nil
	case label.Do:
		return commandOf(l.ID, v)
	}
	return action, "", "", label.NoLabelError{Text: text}
}

// commandOf is the action of a command label, as things stand.
func commandOf(id string, v station.View) (a station.Action, said, person string, err error) {
	switch id {
	case label.Undo:
		return station.Action{Do: station.DoUndo}, "the last reading is taken back", "", nil
	case label.Same:
		return station.Action{Do: station.DoSame}, "the last stroke was on the piece before", "", nil
	case label.Dry:
		return station.Action{Do: station.DoDry}, "the last stroke crimped nothing", "", nil
	case label.Finish:
		return station.Action{Do: station.DoFinish}, "the order is finished or set aside", "", nil
	case label.Good:
		return station.Action{Do: station.DoCheck}, "looked at, all good", "", nil
	case label.First:
		a = station.Action{Do: station.DoCheck, Points: station.PointFirst}
		if v.Order != nil && v.Order.Sign != "" {
			a.Piece = v.Order.Sign
		}
		return a, "the first piece is signed off", "", nil
	case label.Scrap:
		return station.Action{Do: station.DoScrap, Reason: "scanned at the press"}, "the piece is scrap", "", nil
	case label.Lubricated:
		return station.Action{Do: station.DoCare, Work: crimp.Lubricate}, "the cage is lubricated", "", nil
	case label.Cleaned:
		return station.Action{Do: station.DoCare, Work: crimp.Clean}, "the cage is cleaned", "", nil
	case label.Turn:
		a = station.Action{Do: station.DoTurn}
		if v.Order != nil && v.Order.Job != nil {
			a.End = v.Order.NextEnd.Other()
		}
		return a, "the other end comes next", "", nil
	case label.Set:
		advice := v.Advice()
		if advice == nil {
			return a, "", "", errors.New("no setting is advised now: tell the one that is dialled at the page")
		}
		return station.Action{Do: station.DoSet, Setting: advice}, fmt.Sprintf("set to %s", crimp.Dial(*advice)), "", nil
	}
	return a, "", "", fmt.Errorf("%q is no command", id)
}
