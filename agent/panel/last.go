package panel

import (
	"net/url"
	"slices"

	"benchtally/agent/station"
)

// last is what can be told of the latest stroke, reading and piece.
type last struct {
	frame
	Keys  []key
	Scrap *key
	Look  []cell // points of the latest piece
	Piece string
	Good  *form
	Amiss *form
}

func lastView(a asked) (any, string) {
	t, o := a.t, a.View.Order
	a.Title = t.Say("Last stroke")
	v := last{frame: a.frame}
	v.Keys = []key{
		{Form: touch(t.Say("Undo reading"), string(station.DoUndo))},
		{Form: touch(t.Say("Dry stroke"), string(station.DoDry))},
		{Form: touch(t.Say("Same piece"), string(station.DoSame))},
	}
	if o == nil {
		return v, ""
	}
	v.Keys = append(v.Keys, key{Label: t.Say("Measure again"), Href: "/last/measure"})
	if len(o.Latest) == 0 {
		return v, ""
	}
	p := o.Latest[len(o.Latest)-1]
	v.Piece = upper(a.pieceText(p.ID))
	for _, point := range o.Points.End {
		mark, looked := p.Looked[point]
		if !looked {
			mark = station.MarkOpen
		}
		v.Look = append(v.Look, a.cell(a.point(point), mark))
	}
	if len(v.Look) > 0 {
		v.Good = touch(t.Say("All good"), string(station.DoCheck), "piece", p.ID)
		v.Amiss = touch(t.Say("Not good"), string(station.DoCheck), "piece", p.ID, "ok", "no")
	}
	if p.Given {
		v.Scrap = &key{Form: touch(t.Say("Not scrap after all"), string(station.DoScrap), "piece", p.ID, "off", "yes")}
	} else {
		v.Scrap = &key{Label: t.Say("Scrap this end"), Href: "/scrap?piece=" + url.QueryEscape(p.ID)}
	}
	return v, ""
}

// measureView lets a piece be chosen whose readings are taken anew.
func measureView(a asked) (any, string) {
	o := a.View.Order
	if o == nil {
		return nil, "/last"
	}
	t := a.t
	a.Title = t.Say("Measure again")
	v := keysView{frame: a.frame}
	latest := slices.Clone(o.Latest)
	slices.Reverse(latest)
	latest, v.further = part(a, latest)
	for _, p := range latest {
		f := touch(t.Say("Piece %d", p.N), string(station.DoMeasure), "piece", p.ID)
		f.ID = ""
		k := key{Form: f, Mark: shapeOf(p.Outcome), Note: a.outcomeWord(p.Outcome)}
		if p.Assembly > 0 {
			k.Note = t.Say("assembly %d, end %s", p.Assembly, p.End)
		}
		v.Keys = append(v.Keys, k)
	}
	v.typed(a, t.Say("Measure again"), a.Words("piece", t.Say("Piece"), o.ID+"/", 80), string(station.DoMeasure))
	return v, ""
}

// settingView is for the setting that was dialled.
type settingSheet struct {
	frame
	Field field
	Text  string
}

func settingView(a asked) (any, string) {
	a.Title = a.t.Say("Setting dialled")
	v := settingSheet{frame: a.frame, Field: a.Digits("setting", a.t.Say("Three digits"), a.dial(), 3)}
	if n := a.newSetting(); n != nil {
		v.Text = n.Name + " " + n.Digits
		if n.Told != "" {
			v.Text += ", " + n.Told
		}
	}
	return v, ""
}
