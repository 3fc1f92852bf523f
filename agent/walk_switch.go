package main

import (
	"context"
	"errors"
	"strings"
	"time"

	"golang.org/x/sync/errgroup"

	"benchtally/sensors"
)

// findSwitch finds the input that the ring's switch is on, and lets it count.
func (w *walk) findSwitch() error {
	w.say("THE SWITCH")
	if w.c.Line != "" {
		w.say("  Its input is given: %s.", w.c.Line)
		return nil
	}
	for {
		lines, ok, err := w.lookForSwitch()
		if err != nil {
			return err
		}
		if ok {
			if ok, err = w.tryOut(lines); err != nil {
				return err
			}
		}
		if ok {
			w.c.Line, w.c.Rest, w.c.Active = lines.Up, lines.Rest, "high"
			if lines.ActiveLow {
				w.c.Active = "low"
			}
			return nil
		}
		if again, err := w.agreed(w.ctx, false, "Look for the switch once more?"); err != nil || !again {
			w.say("  Left as in the example. Later: benchtally ports names the inputs, [switch] in the configuration takes one.")
			return err
		}
	}
}

// lookForSwitch watches all inputs while the ring closes once.
func (w *walk) lookForSwitch() (lines sensors.Lines, ok bool, err error) {
	if _, err := w.ask(w.ctx, "", "Open the ring, nothing in the dies. Then press Enter:"); err != nil {
		return lines, false, err
	}
	for _, up := range []bool{true, false} {
		found, err := w.watchBoard(up)
		if err != nil || w.ctx.Err() != nil {
			return lines, false, errors.Join(err, w.ctx.Err())
		}
		switch {
		case found == nil:
			return lines, false, nil
		case len(found.Moved) == 0 && up:
			w.say("  Nothing moved within %s. Now for contacts that pull the other way:", w.c.Wait)
			continue
		case len(found.Moved) == 0:
			w.say("  Nothing moved. Does the switch close when it is pushed by hand? Is its supply on, and its wire on an input that is looked at?")
			w.say("  Other inputs are looked at with --among; benchtally ports names them.")
			return lines, false, nil
		}
		w.say("  %s while the ring was closed.", moves(found.Moved))
		if lines, ok = found.Lines(up); !ok {
			w.say("  That is not one switch, so it is not clear which is meant. Pull the other plugs, or name the inputs to look at with --among.")
			return lines, false, nil
		}
		lines.Retracted = w.c.Retracted
		if lines.Rest != "" {
			w.say("  A changeover switch: %s is made while the ring is up, %s while it is not.", lines.Up, lines.Rest)
		}
		return lines, true, nil
	}
	return lines, false, nil
}

// watchBoard watches all inputs that may be meant, and tells what it cannot look at;
// nil if it can look at none.
func (w *walk) watchBoard(up bool) (*sensors.Found, error) {
	board, held, err := hardware.board(w.c.Among, up)
	for _, l := range held {
		if l.Name != w.c.Retracted {
			w.say("  %s is used by another program%s and not looked at%s.", l.Name, some(" (%s)", l.User), hintOf(l.User))
		}
	}
	if err != nil {
		w.say("  No input can be looked at: %s", err)
		return nil, nil
	}
	w.say("  Looking at %s.", strings.Join(board.Names(), ", "))
	w.say("Close the ring once, or push the switch by hand, and open it again.")
	found, err := sensors.Search(w.ctx, board, w.c.Wait, time.Now)
	if err := errors.Join(err, board.Close()); err != nil {
		if w.ctx.Err() != nil {
			return nil, w.ctx.Err()
		}
		w.say("  The inputs cannot be read: %s", err)
		return nil, nil
	}
	if len(found.Restless) > 0 {
		w.say("  Not looked at, because they move by themselves: %s.", strings.Join(found.Restless, ", "))
	}
	return &found, nil
}

func hintOf(user string) string {
	if strings.HasPrefix(user, "benchtally") {
		return "; sudo systemctl stop benchtally frees it"
	}
	return ""
}

// moves says which lines moved, and how.
func moves(moved []sensors.Moved) string {
	parts := make([]string, len(moved))
	for i, m := range moved {
		parts[i] = m.Name + " went high"
		if m.Low {
			parts[i] = m.Name + " went low"
		}
	}
	if n := len(parts); n > 1 {
		return strings.Join(parts[:n-1], ", ") + " and " + parts[n-1]
	}
	return parts[0]
}

// tryOut counts a stroke by what was found, as the agent will.
func (w *walk) tryOut(lines sensors.Lines) (bool, error) {
	try := *w.c
	try.Line, try.Rest, try.Active = lines.Up, lines.Rest, "high"
	if lines.ActiveLow {
		try.Active = "low"
	}
	cfg, err := trial("", try.values())
	if err != nil {
		w.say("  This cannot be written down: %s", err)
		return false, nil
	}
	w.say("Close the ring once more, for as long as a crimp takes: it must count one stroke.")
	strokes, why := w.count(func() (sensors.Contacts, error) { return hardware.contacts(switchLines(cfg)) }, filterSettings(cfg))
	switch {
	case w.ctx.Err() != nil:
		return false, w.ctx.Err()
	case strokes == 1:
		w.say("  Counted one stroke.")
		return true, nil
	case strokes > 1:
		w.say("  Counted %d strokes. If the ring was closed once, raise cycle in [switch].", strokes)
		return true, nil
	case why != "":
		w.say("  Nothing was counted: %s.", why)
	default:
		w.say("  Nothing was counted. Was it closed for a moment only? A contact that opens while the ring is up, on one input alone, needs a resistor of its own: take the contact that closes.")
	}
	return false, nil
}

// count counts strokes for the time that it is waited for one, and a moment longer,
// or tells why there were none.
func (w *walk) count(open func() (sensors.Contacts, error), s sensors.Settings) (strokes int, why string) {
	ctx, cancel := w.within(w.c.Wait)
	defer cancel()
	events := make(chan sensors.Event, 64)
	var watch errgroup.Group
	watch.Go(func() error {
		defer close(events)
		return sensors.Watch(ctx, open, sensors.NewFilter(s), time.Now, events)
	})
	for e := range events {
		switch e.Kind {
		case sensors.Stroke:
			if strokes++; strokes == 1 {
				time.AfterFunc(hardware.count, cancel)
			}
		case sensors.Fault:
			why = e.Reason
		case sensors.Clear:
			why = ""
		case sensors.Retract:
		}
	}
	if err := watch.Wait(); err != nil && !errors.Is(err, context.Canceled) {
		why = err.Error()
	}
	return strokes, why
}
