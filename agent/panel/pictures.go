package panel

import (
	"html/template"

	"benchtally/agent/report"
)

// pictures are drawn by the server, of what was judged with the loaded cage.
type pictures struct {
	frame
	Keys    []key
	Picture template.HTML // escaped by the package that draws it
	Text    string        // why there is none
}

func picturesView(a asked) (any, string) {
	t := a.t
	a.Title = t.Say("Pictures")
	v := pictures{frame: a.frame}
	which := a.r.URL.Query().Get("of")
	if which == "" {
		which = "deviations"
	}
	for _, k := range []key{
		{ID: "deviations", Label: t.Say("Deviations")}, {ID: "offsets", Label: t.Say("Offset")}, {ID: "settings", Label: t.Say("Settings")},
	} {
		k.Href, k.Here = "/pictures?of="+k.ID, k.ID == which
		v.Keys = append(v.Keys, k)
	}
	if a.s.desk.Series == nil {
		return nil, "/menu"
	}
	series, err := a.s.desk.Series(a.r.Context())
	switch {
	case err != nil:
		v.Text = t.Say("The picture cannot be drawn: %s", t.Sentence(err.Error()))
	case len(series.Crimps) == 0:
		v.Text = t.Say("Nothing was judged with this cage yet")
	case which == "offsets":
		v.Picture = template.HTML(report.Offsets(series, a.View.Cage, a.t))
	case which == "settings":
		v.Picture = template.HTML(report.Settings(series, a.t))
	default:
		v.Picture = template.HTML(report.Deviations(series, a.t))
	}
	return v, ""
}
