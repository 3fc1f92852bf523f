package panel

import (
	"bytes"
	"context"
	"crypto/rand"
	"fmt"
	"net/http"
	"strconv"
	"strings"

	"benchtally/agent/crimp"
	"benchtally/agent/station"
)

// Act does one action of an operator. Refused says in plain words why it makes
// no sense now; an error says that nothing of it was kept. The action's time is
// left empty, for Act to stamp.
type Act func(ctx context.Context, a station.Action) (refused string, err error)

// policy lets the page load from here only.
const policy = "default-src 'self'; object-src 'none'; base-uri 'none'; form-action 'self'; frame-ancestors 'none'"

// server answers requests for one board.
type server struct {
	board   *Board
	act     Act
	touches touches
}

// Handler serves the page to localhost and to the allowed hosts, which may carry
// a port; one that means all addresses (such as 0.0.0.0) allows every numeric
// address. A request that watches the page ends with its context only: let the
// server's BaseContext end before it is shut down.
func (b *Board) Handler(act Act, allowedHosts ...string) http.Handler {
	s := &server{board: b, act: act}
	mux := http.NewServeMux()
	mux.HandleFunc("GET /{$}", s.page("page"))
	mux.HandleFunc("GET /work", s.page("work"))
	mux.HandleFunc("GET /events", s.events)
	mux.HandleFunc("POST /do", s.do)
	mux.Handle("GET /static/", http.FileServerFS(static))

	origin := http.NewCrossOriginProtection()
	origin.SetDenyHandler(http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) {
		http.Error(w, "This did not come from this page. Open the page itself and touch there.", http.StatusForbidden)
	}))
	return headers(newHosts(allowedHosts).only(origin.Handler(mux)))
}

// headers go with every answer. The referrer policy must let browsers send the
// Origin of a form, which is what the cross-site check reads.
func headers(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		h := w.Header()
		h.Set("Content-Security-Policy", policy)
		h.Set("X-Content-Type-Options", "nosniff")
		h.Set("Referrer-Policy", "same-origin")
		h.Set("Cross-Origin-Resource-Policy", "same-origin")
		h.Set("Cache-Control", "no-store")
		next.ServeHTTP(w, r)
	})
}

// page answers with one of the two views as it stands.
func (s *server) page(view string) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		p := newPage(s.board.Now()).stale(s.board.age())
		p.Key = rand.Text()
		p.Said = s.touches.said(r.URL.Query().Get("answer"))
		if view == "work" {
			p.Specs = choices(s.board.specs)
		}
		var html bytes.Buffer
		if err := templates.ExecuteTemplate(&html, view, p); err != nil {
			http.Error(w, fmt.Sprintf("The page cannot be drawn: %s", err), http.StatusInternalServerError)
			return
		}
		w.Header().Set("Content-Type", "text/html; charset=utf-8")
		w.Header().Set("Content-Length", strconv.Itoa(html.Len()))
		_, _ = w.Write(html.Bytes()) // who is gone needs no page
	}
}

func choices(specs []crimp.Spec) []choice {
	list := make([]choice, len(specs))
	for i, spec := range specs {
		words := []string{spec.ID, "cage " + spec.Cage, spec.Text(spec.Diameter)}
		for _, w := range []string{spec.Hose, spec.Fitting, spec.Size} {
			if w != "" {
				words = append(words, w)
			}
		}
		list[i] = choice{spec.ID, strings.Join(words, " · ")}
	}
	return list
}
