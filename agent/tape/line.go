package tape

import (
	"encoding/hex"
	"errors"
	"fmt"
	"time"

	"benchtally/agent/station"
)

// Line is one input. Exactly one of its kinds is given.
type Line struct {
	N int           // of the line in the tape, from 1
	T time.Duration // since the tape began, microseconds count

	Level     *bool // electrical level of the switch line: high?
	Rest      *bool // of the second line of a changeover contact
	Retracted *bool // of the full-retract switch
	Bytes     []byte
	Action    *station.Action
}

// Parse reads one input without regard to its time, as live inputs have it.
func Parse(text []byte) (Line, error) {
	l, _, err := parse(text)
	return l, err
}

// line is every key that a line may have.
type line struct {
	T         *float64 `json:"t"`
	Level     *int     `json:"level"`
	Rest      *int     `json:"rest"`
	Retracted *int     `json:"retracted"`
	Text      *string  `json:"text"`
	Hex       *string  `json:"hex"`
	station.Action
}

func parse(text []byte) (Line, *float64, error) {
	if l, seconds, ok := quick(text); ok {
		return l, &seconds, nil
	}
	return parseAny(text)
}

// parseAny reads a line of any form.
func parseAny(text []byte) (Line, *float64, error) {
	var raw line
	if err := strict(text, &raw); err != nil {
		return Line{}, nil, err
	}
	var l Line
	kinds := 0
	for _, level := range []struct {
		name string
		in   *int
		out  **bool
	}{{"level", raw.Level, &l.Level}, {"rest", raw.Rest, &l.Rest}, {"retracted", raw.Retracted, &l.Retracted}} {
		if level.in == nil {
			continue
		}
		if *level.in != 0 && *level.in != 1 {
			return Line{}, nil, fmt.Errorf("%s %d: want 0 or 1", level.name, *level.in)
		}
		high := *level.in == 1
		*level.out = &high
		kinds = 1 // the levels of several lines may change at once
	}
	if raw.Text != nil {
		l.Bytes = []byte(*raw.Text)
		kinds++
	}
	if raw.Hex != nil {
		b, err := hex.DecodeString(*raw.Hex)
		if err != nil {
			return Line{}, nil, fmt.Errorf("hex %q: want pairs of hexadecimal digits", *raw.Hex)
		}
		l.Bytes = b
		kinds++
	}
	if raw.Do != "" {
		if err := complete(raw.Action); err != nil {
			return Line{}, nil, err
		}
		l.Action = &raw.Action
		kinds++
	} else if raw.Action != (station.Action{}) {
		return Line{}, nil, errors.New(`an action's key without "do"`)
	}
	if kinds != 1 {
		return Line{}, nil, errors.New(`want one input a line: "level", "text", "hex" or "do"`)
	}
	return l, raw.T, nil
}

// complete says which key an action lacks.
func complete(a station.Action) error {
	lacks := func(key string) error { return fmt.Errorf("do %q lacks %q", a.Do, key) }
	switch a.Do {
	case station.DoLoad:
		if a.Cage == "" {
			return lacks("cage")
		}
	case station.DoStart:
		if a.Order == "" {
			return lacks("order")
		}
	case station.DoSet:
		if a.Setting == nil {
			return lacks("setting")
		}
	case station.DoCare:
		if a.Work == "" {
			return lacks("work")
		}
	case station.DoMeasure:
		if a.Piece == "" {
			return lacks("piece")
		}
	case station.DoProof:
		switch {
		case a.Assembly == 0:
			return lacks("assembly")
		case a.Pressure == 0:
			return lacks("pressure_pa")
		case a.Hold == 0:
			return lacks("hold_s")
		}
	case station.DoScrap:
		if a.Reason == "" && !a.Off {
			return lacks("reason")
		}
	case station.DoLot:
		if a.Lot == "" {
			return lacks("lot")
		}
	case station.DoUndo, station.DoDry, station.DoSame, station.DoFinish, station.DoOperator, station.DoTurn, station.DoCheck, station.DoStandard:
	default:
		return fmt.Errorf("do %q: want one of %v", a.Do, station.Dos())
	}
	return nil
}
