package panel

import (
	"benchtally/agent/crimp"
	"benchtally/agent/station"
)

// sign is the first piece of a set-up, to be signed off by name.
type sign struct {
	frame
	Piece, Text string
	Judged      *judged
	Value       *value
	People      []key // to choose from where nobody signs in
	Named       string
}

func signView(a asked) (any, string) {
	o := a.View.Order
	if o == nil || o.Sign == "" {
		return nil, "/"
	}
	a.Title = a.t.Say("First piece")
	v := sign{frame: a.frame, Piece: o.Sign, Text: upper(a.pieceText(o.Sign)), Named: a.Signed}
	if p := pieceView(o, o.Sign); p != nil && p.Mean != nil {
		v.Value = a.newValue(o.Spec, *p.Mean, "")
		v.Judged = &judged{Shape: shapeOf(p.Outcome), Word: a.outcomeWord(p.Outcome)}
	}
	if a.s.desk.Door == nil {
		for _, name := range a.names() {
			f := touch(name, string(station.DoCheck), "piece", o.Sign, "points", station.PointFirst, "operator", name)
			f.ID = ""
			v.People = append(v.People, key{Form: f})
		}
	}
	return v, ""
}

// Form is the signing by who is signed in.
func (v sign) Sign() form {
	return v.Form(touch(v.Say("Sign off"), string(station.DoCheck), "piece", v.Piece, "points", station.PointFirst))
}

func (s scene) outcomeWord(o crimp.Outcome) string {
	switch o {
	case crimp.Pass:
		return s.t.Say("Within limits")
	case crimp.Recrimp:
		return s.t.Say("Too large")
	case crimp.Scrap:
		return s.t.Say("Scrap")
	case crimp.Unsure:
		return s.t.Say("Unsure")
	}
	return s.t.Say("Not judged")
}
