package panel

import (
	"slices"
	"time"

	"benchtally/agent/crimp"
	"benchtally/agent/station"
)

// cageSheet is the loaded cage: what was done with it and what is to be done.
type cageSheet struct {
	frame
	Cage  string
	Works []workRow
	Key   key
}

// workRow is one work on the cage, or on the press.
type workRow struct {
	Name, Since, Due string
	Now              bool // due
	Key              *key
}

func cageView(a asked) (any, string) {
	t, v := a.t, a.View
	a.Title = t.Say("Cage %s", v.Cage)
	if v.Cage == "" {
		a.Title = t.Say("No cage told")
	}
	sheet := cageSheet{frame: a.frame, Cage: v.Cage, Key: key{Label: t.Say("Load a cage"), Href: "/cage/load"}}
	for _, c := range v.Care {
		sheet.Works = append(sheet.Works, a.workRow(c))
	}
	if !v.Oil.Since.IsZero() || v.Oil.Due || !v.Oil.Last.IsZero() {
		sheet.Works = append(sheet.Works, a.workRow(v.Oil))
	}
	return sheet, ""
}

func (s scene) workRow(c station.CareView) workRow {
	r := workRow{Since: s.t.Say("strokes since %s: %d", s.day(c.Since), c.Strokes), Now: c.Due, Due: s.dueText(c)}
	if c.Work == crimp.Oil {
		r.Since = s.t.Say("since %s", s.day(c.Since))
	}
	do := string(station.DoCare)
	switch c.Work {
	case crimp.Lubricate:
		r.Name, r.Key = s.t.Say("Lubrication"), &key{Form: touch(s.t.Say("Lubricated"), do, "cage", s.View.Cage, "work", string(c.Work))}
	case crimp.Clean:
		r.Name, r.Key = s.t.Say("Cleaning"), &key{Form: touch(s.t.Say("Cleaned"), do, "cage", s.View.Cage, "work", string(c.Work))}
	case crimp.Teardown:
		r.Name, r.Key = s.t.Say("Tear-down"), &key{Label: s.t.Say("Taken down"), Href: "/cage/teardown"}
		if c.By != "" {
			r.Since += ", " + s.t.Say("found %s", s.condition(c.By))
		}
	case crimp.Oil:
		r.Name, r.Key = s.t.Say("Oil of the press"), &key{Form: touch(s.t.Say("Oil checked"), do, "work", string(c.Work))}
	}
	return r
}

// dueText says when a work falls due.
func (s scene) dueText(c station.CareView) string {
	switch over := c.Strokes - c.Limit; {
	case c.Due && c.Limit > 0 && over > 0:
		return s.t.Say("due, strokes over: %d", over)
	case c.Due:
		return s.t.Say("due now")
	case c.Limit > 0 && c.Days >= 0:
		return s.t.Say("strokes left: %d, days about: %d", -over, c.Days)
	case c.Limit > 0:
		return s.t.Say("strokes left: %d", -over)
	case !c.Last.IsZero():
		return s.t.Say("until %s", s.day(c.Last))
	}
	return ""
}

func (s scene) condition(c crimp.Condition) string {
	switch c {
	case crimp.Good:
		return s.t.Say("good")
	case crimp.Worn:
		return s.t.Say("worn")
	case crimp.Out:
		return s.t.Say("out of service")
	}
	return string(c)
}

// day is a date; "–": there is none.
func (s scene) day(t time.Time) string {
	if t.IsZero() {
		return "–"
	}
	return s.t.Date(t.Local())
}

// loadView lets a cage be chosen: those that the order in work wants first.
func loadView(a asked) (any, string) {
	t := a.t
	a.Title = t.Say("Load a cage")
	v := keysView{frame: a.frame, Text: t.Say("Touch the cage that is in, or scan its label")}
	var cages []string
	cages, v.further = part(a, a.cages())
	wanted := a.wantedCages()
	for _, cage := range cages {
		f := touch(cage, string(station.DoLoad), "cage", cage)
		f.ID = ""
		k := key{Form: f, Here: cage == a.View.Cage}
		switch {
		case k.Here:
			k.Note = t.Say("is loaded")
		case slices.Contains(wanted, cage):
			k.Note = t.Say("for the order in work")
		}
		v.Keys = append(v.Keys, k)
	}
	v.typed(a, t.Say("Load"), a.Words("cage", t.Say("Cage"), "", 64), string(station.DoLoad))
	return v, ""
}

// cages are those that the specifications name, those of the order in work first.
func (s scene) cages() []string {
	list := s.wantedCages()
	for _, spec := range s.shop.Specs {
		if !slices.Contains(list, spec.Cage) {
			list = append(list, spec.Cage)
		}
	}
	return list
}

func (s scene) wantedCages() []string {
	o := s.View.Order
	if o == nil {
		return nil
	}
	list := []string{o.Spec.Cage}
	if o.Job != nil {
		for _, e := range o.Ends {
			if spec := s.shop.spec(o.Job.End(e).Spec); spec != nil && !slices.Contains(list, spec.Cage) {
				list = append(list, spec.Cage)
			}
		}
	}
	return list
}

// teardown is how a cage was found that was taken down.
type teardown struct {
	frame
	Cage       string
	Conditions []key
	Wanted     bool // a name is wanted and none is known
}

func teardownView(a asked) (any, string) {
	if a.View.Cage == "" {
		return nil, "/cage"
	}
	a.Title = a.t.Say("Cage %s taken down", a.View.Cage)
	v := teardown{frame: a.frame, Cage: a.View.Cage, Wanted: a.View.Operator == "" && a.Signed == ""}
	for _, c := range crimp.Conditions() {
		v.Conditions = append(v.Conditions, key{ID: string(c), Label: upper(a.condition(c)), Here: c == crimp.Good})
	}
	return v, ""
}
