package main

import (
	"encoding/json"
	"fmt"
	"maps"
	"slices"
	"time"

	"benchtally/agent/config"
	"benchtally/agent/record"
	"benchtally/agent/station"
	"benchtally/agent/tape"
	"benchtally/caliper"
	"benchtally/sensors"
)

// intake turns the lines of a tape into the station's inputs, by the same stroke
// filter and caliper reader that hardware goes through. Time is what its callers
// say it is.
type intake struct {
	filter    *sensors.Filter
	reader    *caliper.Reader
	levels    sensors.Levels
	activeLow bool
	causes    causes
	out       []station.Input
}

// idlePoll is how often the filter wants to see contacts at rest.
const idlePoll = 250 * time.Millisecond

// newIntake begins at a time with all contacts at rest. Pushed says that every
// frame was sent on purpose, however close they come.
func newIntake(c *config.Config, at time.Time, pushed bool) (*intake, error) {
	settings := readerSettings(c)
	settings.Pushed = pushed
	reader, err := caliper.NewReader(settings)
	if err != nil {
		return nil, err
	}
	reader.Restart(at.Add(-time.Second))
	in := &intake{
		filter: sensors.NewFilterAtRest(filterSettings(c), at), reader: reader,
		levels: sensors.Levels{Rest: true}, activeLow: c.Switch.ActiveLow, causes: causes{},
	}
	return in, nil
}

// take takes one line in at a time and returns the inputs that are due, valid
// until the next call.
func (in *intake) take(l tape.Line, at time.Time) []station.Input {
	in.out = in.out[:0]
	in.pass(at)
	switch {
	case l.Bytes != nil:
		in.strokes(in.filter.Claim(at))
		in.readings(in.reader.Feed(l.Bytes, at))
	case l.Action != nil:
		in.strokes(in.filter.Claim(at))
		a := *l.Action
		a.At = at
		in.out = append(in.out, a)
	default:
		in.set(&in.levels.Up, l.Level)
		in.set(&in.levels.Rest, l.Rest)
		in.set(&in.levels.Retracted, l.Retracted)
		in.strokes(in.filter.Step(in.levels, at))
	}
	return in.out
}

// idle lets time pass without an input.
func (in *intake) idle(at time.Time) []station.Input {
	in.out = in.out[:0]
	in.pass(at)
	return in.out
}

// forever is a wait for a line, when time alone changes nothing.
const forever = time.Hour

// wait is how long the intake may be left alone.
func (in *intake) wait(at time.Time) time.Duration {
	wait := in.filter.Wait(at)
	if wait >= idlePoll && in.levels == (sensors.Levels{Rest: true}) {
		wait = forever // live contacts are polled because an edge may be lost; lines are not
	}
	if reader := in.reader.Wait(at); reader > 0 {
		wait = min(wait, reader)
	}
	return wait
}

// frameGap is the silence that ends a frame without a terminator.
const frameGap = 100 * time.Millisecond

// end gives out what is still held back when no more will come. A ring that is
// still up has not made its stroke.
func (in *intake) end(at time.Time) []station.Input {
	in.out = in.out[:0]
	if !in.levels.Up {
		in.strokes(in.filter.Claim(at))
	}
	if wait := in.reader.Wait(at); wait > 0 && wait <= frameGap {
		before, err := json.Marshal(in.reader)
		last := in.reader.Tick(at.Add(wait))
		if err == nil && !slices.ContainsFunc(last, func(e caliper.Event) bool { return e.Kind == caliper.Reading }) {
			// Half a frame: the rest of the tape may have its other half.
			if err := json.Unmarshal(before, in.reader); err == nil {
				last = nil
			}
		}
		in.readings(last)
	}
	return in.out
}

func (in *intake) pass(at time.Time) {
	in.strokes(in.filter.Step(in.levels, at))
	in.readings(in.reader.Tick(at))
}

func (in *intake) set(contact *bool, high *bool) {
	if high != nil {
		*contact = *high != in.activeLow
	}
}

func (in *intake) strokes(events []sensors.Event) {
	for _, e := range events {
		in.out = append(in.out, fromSwitch(e))
	}
}

func (in *intake) readings(events []caliper.Event) {
	for _, e := range events {
		in.out = append(in.out, in.causes.input(e))
	}
}

// fromSwitch is a switch's event as the station takes it.
func fromSwitch(e sensors.Event) station.Input {
	switch e.Kind {
	case sensors.Stroke:
		return station.Stroke{At: e.At, Held: e.Held}
	case sensors.Retract:
		return station.Retract{At: e.At}
	case sensors.Fault, sensors.Clear:
		return station.Fault{At: e.At, Source: record.Switch, On: e.Kind == sensors.Fault, Reason: e.Reason}
	}
	panic("benchtally: a switch event of unknown kind " + string(e.Kind))
}

// causes are the troubles that a caliper has now, each with its reason. To the
// station they are one fault, which ends with the last of them.
type causes map[caliper.Cause]string

// input is a caliper's event as the station takes it.
func (c causes) input(e caliper.Event) station.Input {
	switch e.Kind {
	case caliper.Reading:
		return station.Reading{At: e.At, Value: e.Value, Step: e.Step, Raw: e.Raw}
	case caliper.Refused:
		return station.Refusal{At: e.At, Source: record.Caliper, Reason: e.Reason, Raw: e.Raw}
	case caliper.Fault:
		c[e.Cause] = e.Reason
		return station.Fault{At: e.At, Source: record.Caliper, On: true, Reason: e.Reason, Since: e.Since}
	case caliper.Clear:
		delete(c, e.Cause)
		for _, cause := range slices.Sorted(maps.Keys(c)) {
			return station.Fault{At: e.At, Source: record.Caliper, On: true, Reason: c[cause]}
		}
		return station.Fault{At: e.At, Source: record.Caliper, Reason: e.Reason}
	}
	panic("benchtally: a caliper event of unknown kind " + string(e.Kind))
}

// held is the part of an intake that a continued tape goes on from.
type held struct {
	Filter *sensors.Filter `json:"filter"`
	Reader *caliper.Reader `json:"reader"`
	Levels sensors.Levels  `json:"levels"`
	Causes causes          `json:"causes"`
}

func (in *intake) save() (json.RawMessage, error) {
	return json.Marshal(held{in.filter, in.reader, in.levels, in.causes})
}

func (in *intake) restore(kept json.RawMessage) error {
	h := held{Filter: in.filter, Reader: in.reader, Causes: in.causes}
	if err := json.Unmarshal(kept, &h); err != nil {
		return fmt.Errorf("go on from where the inputs stood: %w", err)
	}
	in.levels = h.Levels
	return nil
}
