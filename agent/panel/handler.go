package panel

import (
	"bytes"
	"crypto/rand"
	"fmt"
	"net/http"
	"strconv"
	"time"

	"benchtally/agent/crimp"
	"benchtally/agent/words"
)

// Options are how the page is reached.
type Options struct {
	// Hosts are the names under which it answers beside localhost; they may carry
	// a port. One that means all addresses (such as 0.0.0.0) allows every numeric
	// address.
	Hosts  []string
	Closed bool // without having signed in nothing is shown either; wants a door
	// Secure says whether a request came by TLS, so that its cookies go over nothing
	// else; nil: as its connection did.
	Secure func(*http.Request) bool
	// Remote is the address that a request comes from; nil: that of its connection.
	Remote func(*http.Request) string
}

// policy lets the page load from here only.
const policy = "default-src 'self'; object-src 'none'; base-uri 'none'; form-action 'self'; frame-ancestors 'none'"

// server answers requests for one board.
type server struct {
	board   *Board
	desk    Desk
	options Options
	touches touches
	waits   waiting
}

// Handler serves the page. A request that watches the page ends with its context
// only: let the server's BaseContext end before it is shut down.
func (b *Board) Handler(desk Desk, options Options) http.Handler {
	s := &server{board: b, desk: desk, options: options}
	mux := http.NewServeMux()
	for path, v := range views() {
		mux.HandleFunc("GET "+path, s.shown(v))
	}
	mux.HandleFunc("GET /events", s.events)
	mux.HandleFunc("GET /paper", s.paper)
	mux.HandleFunc("POST /do", s.do)
	mux.HandleFunc("POST /scan", s.scan)
	mux.HandleFunc("POST /in", s.in)
	mux.HandleFunc("POST /out", s.out)
	mux.HandleFunc("POST /language", s.chooseLanguage)
	mux.Handle("GET /static/", http.FileServerFS(static))

	origin := http.NewCrossOriginProtection()
	origin.SetDenyHandler(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		http.Error(w, words.In(s.language(r)).Say("This did not come from this page. Open the page itself and touch there."), http.StatusForbidden)
	}))
	return headers(newHosts(options.Hosts).only(origin.Handler(s.closed(mux))))
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

// view is one page: what it is called, where Back leads, and what it shows.
// A view that has nothing to show sends elsewhere.
type view struct {
	name, up string
	of       func(a asked) (any, string)
}

// asked is one request for a view.
type asked struct {
	frame
	s *server
	r *http.Request
}

func (s *server) shown(v view) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		data, elsewhere := v.of(asked{s.frame(r, v), s, r})
		if elsewhere != "" {
			http.Redirect(w, r, elsewhere, http.StatusSeeOther)
			return
		}
		var html bytes.Buffer
		if err := templates().ExecuteTemplate(&html, v.name, data); err != nil {
			http.Error(w, fmt.Sprintf("The page cannot be drawn: %s", err), http.StatusInternalServerError)
			return
		}
		w.Header().Set("Content-Type", "text/html; charset=utf-8")
		w.Header().Set("Content-Length", strconv.Itoa(html.Len()))
		_, _ = w.Write(html.Bytes()) // who is gone needs no page
	}
}

// frame is what stands around a view that was asked for.
func (s *server) frame(r *http.Request, v view) frame {
	sc := s.board.scene(s.board.Now(), s.language(r))
	f := frame{scene: sc, Name: v.name, Build: build, Key: rand.Text(), Path: r.URL.Path, Up: v.up, Call: nextStep(sc)}
	if p, ok := s.entered(r); ok {
		f.Signed = p.Called()
	}
	if a, ok := s.touches.get(r.URL.Query().Get("answer")); ok {
		f.Said = a.text(sc.t)
		if a.offer != nil && time.Since(a.at) < offerFor {
			f.Offer = a.offer
		}
	}
	return f.stale(s.board.age())
}

// unit is the unit of a length that is typed without one; "": that is not clear.
func (s *server) unit() crimp.Unit {
	o := s.board.Now().View.Order
	if o == nil {
		return ""
	}
	return unit(o.Spec.Unit)
}
