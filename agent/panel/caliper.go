package panel

import "benchtally/agent/station"

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
	list := a.shop.Standards
	list, g.further = part(a, list)
	for _, s := range list {
		f := touch(t.Say("Measure %s", s.Name), string(station.DoStandard), "standard", s.Name)
		f.ID = ""
		g.Keys = append(g.Keys, key{Form: f, Note: a.both(u, s.Value), Here: s.Name == v.Awaited})
	}
	return g, ""
}
