package panel

import (
	"strings"
	"unicode/utf8"

	"benchtally/agent/crimp"
	"benchtally/agent/station"
)

// key is one touch: a link to a view, or the form of an action.
type key struct {
	Label, Note, Href string
	Form              *form
	ID                string
	Mark              string // shape beside the label
	Here              bool   // what is chosen now
	Quiet             bool   // large, and not what is to be done
}

// fit is the class of a label whose longest word would not fit in letters of the
// usual size; "": it does.
func fit(label string) string {
	most := 0
	for _, word := range strings.FieldsFunc(label, func(c rune) bool { return c == ' ' || c == '-' || c == '\u00ad' }) {
		most = max(most, utf8.RuneCountInString(word))
	}
	switch {
	case most > 11:
		return "longest"
	case most > 8:
		return "long"
	}
	return ""
}

// primary is the one large touch of a moment; nil: there is none.
func (s scene) primary() *key {
	v, o := s.View, s.View.Order
	switch {
	case s.At.IsZero():
		return nil
	case v.Awaited != "":
		return &key{Form: touch(s.t.Say("Do not check now"), string(station.DoStandard)), Quiet: true}
	case o == nil:
		return &key{Label: s.t.Say("Start order"), Href: "/start"}
	case o.Missing > 0:
		return nil
	}
	if r := verdictInHand(v); r != nil && r.Outcome == crimp.Unsure {
		return &key{Form: touch(s.t.Say("Measure again"), string(station.DoMeasure), "piece", o.Piece)}
	}
	switch {
	case o.Again == "" && o.Sign != "":
		return &key{Label: s.t.Say("Sign off"), Href: "/sign"}
	case o.Again == "" && o.Look != "":
		return &key{Form: touch(s.t.Say("All good"), string(station.DoCheck), "piece", o.Look)}
	case changes(v):
		digits := crimp.Dial(*v.Advice())
		return &key{Form: touch(s.t.Say("Set to %s", digits), string(station.DoSet), "setting", digits)}
	case o.Again != "":
		return nil
	case complete(o) && unfinished(o) > 0:
		return &key{Label: s.t.Say("Assemblies"), Href: "/assemblies"}
	case complete(o):
		return &key{Form: touch(s.t.Say("Finish order"), string(station.DoFinish), "order", o.ID)}
	case s.otherCage() != "":
		return &key{Form: touch(s.t.Say("Cage %s is in", s.otherCage()), string(station.DoLoad), "cage", s.otherCage())}
	case due(v, crimp.Lubricate):
		return &key{Form: touch(s.t.Say("Lubricated"), string(station.DoCare), "cage", v.Cage, "work", string(crimp.Lubricate))}
	}
	return nil
}
