package panel

import (
	"strings"

	"benchtally/agent/station"
)

// gauge is how far the caliper can be trusted, and what tells it.
type gauge struct {
	frame
	Zero, Standard string
	ZeroBad, Bad   bool
	Due            string
	Doubt          string
	Awaited        string
	Stop           *form
	Keys           []key
	Earlier        string // where the earlier checks are told; "" nowhere
	further
}

func caliperView(a asked) (any, string) {
	t, v := a.t, a.View
	a.Title = t.Say("Caliper")
	g := gauge{frame: a.frame, Zero: t.Say("Not checked yet. Close the jaws and send."), Awaited: v.Awaited}
	u := a.unitInWork()
	if z := v.Zero; z != nil {
		g.ZeroBad = !z.OK
		g.Zero = t.Say("%s closed at %s", a.length(u, z.Value), a.clock(z.At))
		if g.ZeroBad {
			g.Zero += ". " + t.Say("Wipe the jaws, zero, send again")
		}
	}
	if s := v.Standard; s != nil {
		g.Bad = !s.OK
		g.Standard = t.Say("%s: %s, should be %s, at %s", s.Name, a.length(u, s.Value), a.length(u, s.Nominal), a.clock(s.At))
	}
	if v.Checks.Due {
		g.Due = t.Say("Check the caliper now")
	}
	if v.Checks.Doubt > 0 {
		g.Doubt = t.Say("Readings from record %d on are in doubt, until the caliper is found good again", v.Checks.Doubt)
	}
	if v.Awaited != "" {
		g.Stop = touch(t.Say("Do not check now"), string(station.DoStandard))
	}
	if a.s.desk.Checks != nil {
		g.Earlier = "/caliper/checks"
	}
	list := a.shop.Standards
	list, g.further = part(a, list)
	for _, s := range list {
		f := touch(t.Say("Measure %s", s.Name), string(station.DoStandard), "standard", s.Name)
		f.ID = ""
		g.Keys = append(g.Keys, key{Form: f, Note: a.both(u, s.Value), Here: s.Name == v.Awaited})
	}
	return g, ""
}

// checked is one check of the caliper as it is told.
type checked struct {
	At, Text string
	Bad      bool
}

// checks are the checks of the caliper, the newest first.
type checks struct {
	frame
	further
	All  []checked
	Text string // why there are none
}

func checksView(a asked) (any, string) {
	t := a.t
	a.Title = t.Say("Checks of the caliper")
	v := checks{frame: a.frame}
	if a.s.desk.Checks == nil {
		return nil, "/caliper"
	}
	list, err := a.s.desk.Checks(a.r.Context())
	switch {
	case err != nil:
		v.Text = t.Say("The records cannot be read: %s", t.Sentence(err.Error()))
	case len(list) == 0:
		v.Text = t.Say("The caliper was not checked yet")
	}
	list, v.further = part(a, list)
	for _, e := range list {
		v.All = append(v.All, checked{At: a.clock(e.At), Text: a.checkText(e), Bad: !e.OK})
	}
	return v, ""
}

// checkText is what a check of the caliper found, and who made it.
func (s scene) checkText(e station.CaliperEntry) string {
	t, u := s.t, s.unitInWork()
	found := t.Say("good")
	if !e.OK {
		found = t.Say("wrong")
	}
	text := upper(t.Say("closed jaws")) + ": " + s.length(u, e.Value)
	if e.Standard != "" {
		text = t.Say("%s: %s, should be %s", e.Standard, s.length(u, e.Value), s.length(u, e.Nominal))
	}
	all := []string{text, found}
	if e.Operator != "" {
		all = append(all, e.Operator)
	}
	text = strings.Join(all, " · ")
	if e.Doubt > 0 {
		text += ". " + t.Say("Readings from record %d to %d are in doubt.", e.Doubt, e.Seq)
	}
	return text
}
