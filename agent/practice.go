package main

import (
	"bytes"
	"context"
	_ "embed"
	"fmt"
	"html/template"
	"net/http"
	"net/url"
	"strings"
	"time"

	"benchtally/agent/crimp"
	"benchtally/agent/rehearsal"
)

//go:embed practice.html
var practiceSource string

//go:embed practice.css
var practiceStyle []byte

var practicePage = template.Must(template.New("practice").Parse(practiceSource))

// practiceKeys are what a person can do at the simulated press and caliper, by
// section.
var practiceKeys = []struct {
	Name string
	Keys []practiceKey
}{
	{"Press", []practiceKey{{"crimp", "Close the press"}, {"retract", "Retract the ring"}}},
	{"Caliper", []practiceKey{
		{"measure", "Measure the next place"}, {"all", "Measure all places"}, {"zero", "Close the jaws"}, {"ring", "Measure the gauge ring"},
	}},
	{"Next hose end", []practiceKey{{"usual", "A usual one"}, {"thick", "A thick wall, comes out large"}, {"thin", "A thin wall, comes out small"}}},
	{"Caliper's cable", []practiceKey{{"unplug", "Pull it"}, {"plug", "Plug it in"}}},
}

type practiceKey struct{ Do, Label string }

// practice is the page of the simulated press and caliper, for the demo alone: a
// real press has no such page, and nothing here could reach one.
type practice struct {
	trial *rehearsal.Trial
	ctx   context.Context // of the demo: what was begun is done even if its page is gone
}

// handler serves the practice page before everything else.
func (p practice) handler(next http.Handler) http.Handler {
	mux := http.NewServeMux()
	mux.Handle("/", next)
	mux.HandleFunc("GET /practice", p.show)
	mux.HandleFunc("GET /practice/practice.css", func(w http.ResponseWriter, _ *http.Request) {
		w.Header().Set("Content-Type", "text/css; charset=utf-8")
		_, _ = w.Write(practiceStyle) // who is gone needs none
	})
	mux.Handle("POST /practice", http.NewCrossOriginProtection().Handler(http.HandlerFunc(p.do)))
	return mux
}

func (p practice) show(w http.ResponseWriter, r *http.Request) {
	var html bytes.Buffer
	if err := practicePage.Execute(&html, map[string]any{"Sections": practiceKeys, "Said": r.URL.Query().Get("said")}); err != nil {
		http.Error(w, err.Error(), http.StatusInternalServerError)
		return
	}
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	w.Header().Set("Content-Security-Policy", "default-src 'self'; form-action 'self'; frame-ancestors 'none'")
	_, _ = w.Write(html.Bytes()) // who is gone needs no page
}

// practiceWithin is how long one thing at the press may take.
const practiceWithin = 30 * time.Second

// do does one thing at the simulated press: the form field do names it.
func (p practice) do(w http.ResponseWriter, r *http.Request) {
	ctx, cancel := context.WithTimeout(p.ctx, practiceWithin)
	defer cancel()
	what := r.PostFormValue("do")
	said, status := "done: "+practiceLabel(what), http.StatusOK
	if err := p.act(ctx, what); err != nil {
		said, status = err.Error(), http.StatusConflict
	}
	if strings.Contains(r.Header.Get("Accept"), "text/html") {
		http.Redirect(w, r, "/practice?said="+url.QueryEscape(said), http.StatusSeeOther)
		return
	}
	w.WriteHeader(status)
	_, _ = fmt.Fprintln(w, said) // who is gone needs no answer
}

func practiceLabel(do string) string {
	for _, s := range practiceKeys {
		for _, k := range s.Keys {
			if k.Do == do {
				return strings.ToLower(k.Label)
			}
		}
	}
	return do
}

func (p practice) act(ctx context.Context, what string) error {
	switch what {
	case "crimp":
		return p.trial.Close(ctx)
	case "retract":
		return p.trial.Retract(ctx)
	case "measure", "all":
		return p.trial.Measure(ctx, what == "all")
	case "zero":
		return p.trial.Show(ctx, 0)
	case "ring":
		value, err := crimp.ParseLength(rehearsal.RingValue)
		if err != nil {
			return err
		}
		return p.trial.Show(ctx, value)
	case "usual", "thick", "thin":
		return p.trial.End(rehearsal.Wall(what))
	case "unplug", "plug":
		return p.trial.Plug(what == "plug")
	}
	return fmt.Errorf("there is no %q at this press", what)
}
