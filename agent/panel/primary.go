package panel

import (
	"benchtally/agent/crimp"
	"benchtally/agent/station"
)

// primary is the one large touch of a moment.
func primary(s Snapshot) *action {
	v, o := s.View, s.View.Order
	switch {
	case s.At.IsZero():
		return nil
	case o == nil:
		return &action{Label: "Start order", Href: "/work"}
	}
	if r := verdictInHand(v); r != nil && r.Outcome == crimp.Unsure {
		return &action{Label: "Measure again", Do: string(station.DoMeasure), Piece: o.Piece}
	}
	switch {
	case changes(v):
		digits := crimp.Dial(*advised(v))
		return &action{Label: "Set to " + digits, Do: string(station.DoSet), Setting: digits}
	case o.Missing > 0 || o.Again != "":
		return nil
	case due(v, crimp.Lubricate):
		return &action{Label: "Lubricated", Do: string(station.DoCare), Cage: v.Cage, Work: string(crimp.Lubricate)}
	case complete(o):
		return &action{Label: "Finish order", Do: string(station.DoFinish)}
	}
	return nil
}
