package panel

import (
	"net/url"
	"slices"
	"time"

	"benchtally/agent/station"
)

// who is the person at the press: chosen where nobody signs in, else signed in.
type who struct {
	keysView
	Here  string // at the press; "": nobody that is named
	Door  bool   // people sign in
	Out   bool   // somebody can sign out
	Press *form  // that who is signed in is at the press
	Then  string // touch that waits for this
}

func whoView(a asked) (any, string) {
	t := a.t
	a.Title = t.Say("Who")
	v := who{keysView: keysView{frame: a.frame}, Here: a.View.Operator, Door: a.s.desk.Door != nil, Then: a.r.URL.Query().Get("then")}
	v.Text = t.Say("Nobody that is named is at the press")
	if v.Here != "" {
		v.Text = t.Say("At the press: %s", v.Here)
	}
	if !v.Door {
		var names []string
		names, v.further = part(a, a.names())
		for _, name := range names {
			f := touch(name, string(station.DoOperator), "operator", name)
			f.ID = ""
			v.Keys = append(v.Keys, key{Form: f, Here: name == v.Here})
		}
		v.typed(a, t.Say("At the press"), a.Words("operator", t.Say("Operator"), "", 64), string(station.DoOperator))
		return v, ""
	}
	p, ok := a.s.entered(a.r)
	if v.Out = ok; ok {
		v.Text += " · " + t.Say("signed in: %s", p.Called())
		if p.ID != v.Here {
			v.Press = touch(t.Say("I am at the press"), string(station.DoOperator), "operator", p.ID)
		}
	}
	if v.Then != "" {
		v.Text = t.Say("Sign in, or scan your badge. What you touched is done then.")
	}
	people := a.s.desk.Door.People()
	people, v.further = part(a, people)
	for _, p := range people {
		q := url.Values{"operator": {p.ID}}
		if v.Then != "" {
			q.Set("then", v.Then)
		}
		v.Keys = append(v.Keys, key{Label: p.Called(), Note: p.ID, Href: "/who/pin?" + q.Encode(), Here: p.ID == v.Here})
	}
	return v, ""
}

// names are those to choose from where nobody signs in, with the one who is there.
func (s scene) names() []string {
	names := slices.Clone(s.shop.Operators)
	if here := s.View.Operator; here != "" && !slices.Contains(names, here) {
		names = append(names, here)
	}
	return names
}

// pin is for the PIN of one person.
type pin struct {
	frame
	Operator, Called, Then string
	Field                  field
}

func pinView(a asked) (any, string) {
	if a.s.desk.Door == nil {
		return nil, "/who"
	}
	q := a.r.URL.Query()
	v := pin{frame: a.frame, Operator: q.Get("operator"), Then: q.Get("then")}
	v.Called = v.Operator
	for _, p := range a.s.desk.Door.People() {
		if p.ID == v.Operator {
			v.Called = p.Called()
		}
	}
	v.Title = a.t.Say("PIN of %s", v.Called)
	v.Field = field{Name: "pin", Label: v.Title, Pad: "pin", Max: 12, Required: true}
	return v, ""
}

// clock is a time as a clock on the wall shows it.
func (s scene) clock(at time.Time) string { return s.t.Clock(at.Local()) }
