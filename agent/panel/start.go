package panel

import (
	"strings"

	"benchtally/agent/crimp"
	"benchtally/agent/station"
)

// startView lets an order be chosen from the job cards.
func startView(a asked) (any, string) {
	t := a.t
	a.Title = t.Say("Start order")
	if a.s.desk.Jobs == nil {
		return nil, "/start/typed"
	}
	jobs := a.s.desk.Jobs()
	if len(jobs) == 0 {
		return nil, "/start/typed"
	}
	v := keysView{frame: a.frame}
	jobs, v.further = part(a, jobs)
	v.Type = "/start/typed"
	for _, j := range jobs {
		f := touch(j.Order, string(station.DoStart), "order", j.Order)
		f.ID = ""
		k := key{Form: f, Note: a.jobNote(j)}
		k.Here = a.View.Order != nil && a.View.Order.ID == j.Order
		v.Keys = append(v.Keys, k)
	}
	return v, ""
}

// jobNote is what a job card is about, in short.
func (s scene) jobNote(j crimp.Job) string {
	words := []string{s.t.Say("quantity %d", j.Quantity)}
	for _, w := range []string{j.Reference, j.Hose.Name, strings.Trim(j.Ends[0].Spec+" / "+j.Ends[1].Spec, " /")} {
		if w != "" {
			words = append(words, w)
		}
	}
	return strings.Join(words, " · ")
}

// typed is for an order without a job card.
type typed struct {
	frame
	Specs []key
	Cards bool // there are job cards to choose from
}

func typedView(a asked) (any, string) {
	a.Title = a.t.Say("Start order")
	v := typed{frame: a.frame, Cards: a.s.desk.Jobs != nil}
	if !v.Cards {
		v.Up = "/menu"
	}
	// Those for the loaded cage first: they can be started at once.
	for _, fits := range []bool{true, false} {
		for _, spec := range a.shop.Specs {
			if (spec.Cage == a.View.Cage) == fits {
				v.Specs = append(v.Specs, a.specKey(spec))
			}
		}
	}
	return v, ""
}

func (s scene) specKey(spec crimp.Spec) key {
	words := []string{s.t.Say("cage %s", spec.Cage), s.length(spec.Unit, spec.Diameter)}
	for _, w := range []string{spec.Hose, spec.Fitting, spec.Size} {
		if w != "" {
			words = append(words, w)
		}
	}
	return key{ID: spec.ID, Label: spec.ID, Note: strings.Join(words, " · "), Here: s.View.Cage != "" && spec.Cage == s.View.Cage}
}
