package panel

import (
	"mime"
	"net/http"
	"net/url"
	"slices"
	"strconv"

	"benchtally/agent/words"
)

// kinds of papers, of which those of an order want its name.
var papersOfOrder = []string{"certificate", "card", "labels", "table"}

func papersView(a asked) (any, string) {
	t := a.t
	a.Title = t.Say("Papers")
	v := keysView{frame: a.frame}
	if a.s.desk.Paper != nil {
		v.Keys = a.paperKeys()
		if a.View.Order == nil {
			v.Text = t.Say("Papers of an order: take it into work first")
		}
	}
	if a.s.desk.Series != nil {
		v.Keys = append(v.Keys, key{Label: t.Say("Pictures"), Note: a.View.Cage, Href: "/pictures"})
	}
	return v, ""
}

func (a asked) paperKeys() []key {
	t := a.t
	keys := []key{
		{Label: t.Say("Hand-over"), Note: t.Say("of the shift"), Href: "/paper?kind=handover"},
		{Label: t.Say("Command sheet"), Note: t.Say("labels to scan"), Href: "/paper?kind=commands"},
		{Label: t.Say("Labels of the shop"), Note: t.Say("cages, orders, gauge rings"), Href: "/paper?kind=shop"},
	}
	o := a.View.Order
	if o == nil {
		return keys
	}
	of := "&id=" + url.QueryEscape(o.ID)
	return append([]key{
		{Label: t.Say("Certificate"), Note: o.ID, Href: "/paper?kind=certificate" + of},
		{Label: t.Say("Labels"), Note: o.ID, Href: "/paper?kind=labels" + of},
		{Label: t.Say("Job card"), Note: o.ID, Href: "/paper?kind=card" + of},
		{Label: t.Say("Table"), Note: o.ID, Href: "/paper?kind=table" + of},
	}, keys...)
}

// paper answers with a file to be printed or kept.
func (s *server) paper(w http.ResponseWriter, r *http.Request) {
	t := words.In(s.language(r))
	q := r.URL.Query()
	p := PaperRequest{Kind: q.Get("kind"), ID: q.Get("id"), Language: s.language(r)}
	known := append([]string{"label", "commands", "shop", "handover"}, papersOfOrder...)
	if s.desk.Paper == nil || !slices.Contains(known, p.Kind) {
		http.Error(w, t.Say("There is no such paper"), http.StatusNotFound)
		return
	}
	if slices.Contains(papersOfOrder, p.Kind) && p.ID == "" {
		http.Error(w, t.Say("Name the order that the paper is of"), http.StatusBadRequest)
		return
	}
	paper, err := s.desk.Paper(r.Context(), p)
	if err != nil {
		http.Error(w, t.Say("The paper cannot be made: %s", t.Sentence(err.Error())), http.StatusConflict)
		return
	}
	h := w.Header()
	h.Set("Content-Type", paper.Type)
	h.Set("Content-Length", strconv.Itoa(len(paper.Body)))
	h.Set("Content-Disposition", mime.FormatMediaType("inline", map[string]string{"filename": paper.Name}))
	_, _ = w.Write(paper.Body) // who is gone needs no paper
}
