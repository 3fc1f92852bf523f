package panel

import (
	"net"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"sync"
	"time"

	"benchtally/agent/people"
	"benchtally/agent/station"
	"benchtally/agent/words"
)

// entered is who has signed in, and whether what this request asks for is taken.
// Looking on keeps no session alive, so that a page may renew itself without
// anybody before it; a touch does.
func (s *server) entered(r *http.Request) (who people.Person, ok bool) {
	switch {
	case s.desk.Door == nil:
		return people.Person{}, true
	case r.Method == http.MethodPost:
		return s.desk.Door.Touch(people.TokenOf(r))
	}
	return s.desk.Door.Who(people.TokenOf(r))
}

// closed lets nobody read who has not signed in, where the shop wants it so.
func (s *server) closed(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if open(r.URL.Path) || s.mayLook(r) {
			next.ServeHTTP(w, r)
			return
		}
		if r.Method != http.MethodGet || r.URL.Path == "/events" {
			http.Error(w, words.In(s.language(r)).Say("Sign in first"), http.StatusUnauthorized)
			return
		}
		http.Redirect(w, r, "/who", http.StatusSeeOther)
	})
}

// mayLook says whether a request may still read what it asked for: a session can
// end while a page is watched.
func (s *server) mayLook(r *http.Request) bool {
	if s.desk.Door == nil || !s.options.Closed {
		return true
	}
	_, ok := s.entered(r)
	return ok
}

// open says whether a path is of those that lead in.
func open(path string) bool {
	return strings.HasPrefix(path, "/who") || path == "/in" || path == "/do" || path == "/scan" || path == "/language" || strings.HasPrefix(path, "/static/")
}

// remote is the address of who asks, for the lock on wrong PINs.
func (s *server) remote(r *http.Request) string {
	if s.options.Remote != nil {
		return s.options.Remote(r)
	}
	host, _, err := net.SplitHostPort(r.RemoteAddr)
	if err != nil {
		return r.RemoteAddr
	}
	return host
}

// secure says whether who asks came by TLS.
func (s *server) secure(r *http.Request) bool {
	if s.options.Secure != nil {
		return s.options.Secure(r)
	}
	return r.TLS != nil
}

// askWho keeps a touch until its sender has signed in, and then goes on with it.
func (s *server) askWho(w http.ResponseWriter, r *http.Request, form url.Values) {
	to := "/who?then=" + s.waits.keep(form, time.Now())
	s.reply(w, r, http.StatusUnauthorized, to, answer{})
}

// in signs somebody in by a PIN, and goes on with the touch that waited for it.
func (s *server) in(w http.ResponseWriter, r *http.Request) {
	form, status, err := readForm(w, r)
	if err != nil {
		s.reply(w, r, status, "/who", answer{Refused: err.Error()})
		return
	}
	if s.desk.Door == nil {
		http.Error(w, words.In(s.language(r)).Say("Nobody signs in here"), http.StatusNotFound)
		return
	}
	token, person, err := s.desk.Door.PIN(form.Get("operator"), form.Get("pin"), s.remote(r))
	if err != nil {
		s.notLetIn(w, r, form.Get("operator"), form.Get("then"), err)
		return
	}
	s.letIn(w, r, token, person, form.Get("then"))
}

// letIn gives the browser its session and does the touch that waited.
func (s *server) letIn(w http.ResponseWriter, r *http.Request, token string, person people.Person, then string) {
	http.SetCookie(w, people.Cookie(token, s.secure(r)))
	if waited, ok := s.waits.take(then, time.Now()); ok {
		s.carryOut(w, r, waited, person.ID)
		return
	}
	if ip := net.ParseIP(s.remote(r)); ip != nil && ip.IsLoopback() { // it is the panel at the press
		s.atPress(r, person.ID)
	}
	s.reply(w, r, http.StatusOK, "/", answer{Done: true})
}

// atPress tells the station who is there now. That somebody signed in does not
// hang on it.
func (s *server) atPress(r *http.Request, who string) {
	if s.board.Now().View.Operator != who {
		_, _ = s.desk.Act(r.Context(), station.Action{Do: station.DoOperator, Operator: who})
	}
}

// notLetIn says why, on the view that the PIN was typed on.
func (s *server) notLetIn(w http.ResponseWriter, r *http.Request, operator, then string, why error) {
	a := answer{Refused: why.Error()}
	q := url.Values{"operator": {operator}, "answer": {s.touches.tell(a)}}
	if then != "" {
		q.Set("then", then)
	}
	s.reply(w, r, http.StatusConflict, "/who/pin?"+q.Encode(), a)
}

// out ends a session.
func (s *server) out(w http.ResponseWriter, r *http.Request) {
	if s.desk.Door != nil {
		s.desk.Door.Leave(people.TokenOf(r))
		http.SetCookie(w, people.Cookie("", s.secure(r)))
	}
	s.reply(w, r, http.StatusOK, "/", answer{Done: true})
}

// waiting are touches whose senders are to sign in first. The zero value is ready.
type waiting struct {
	mu    sync.Mutex
	forms map[string]waitingForm
	keys  []string // of forms, oldest first
}

type waitingForm struct {
	form url.Values
	at   time.Time
}

const (
	mostWaiting = 32
	waitFor     = 3 * time.Minute // long enough to type a PIN, too short to be forgotten
)

// keep keeps a form under its key.
func (w *waiting) keep(form url.Values, now time.Time) string {
	w.mu.Lock()
	defer w.mu.Unlock()
	key := form.Get("key")
	if w.forms == nil {
		w.forms = map[string]waitingForm{}
	}
	if len(w.keys) >= mostWaiting {
		delete(w.forms, w.keys[0])
		w.keys = w.keys[1:]
	}
	w.keys = append(slices.DeleteFunc(w.keys, func(k string) bool { return k == key }), key)
	w.forms[key] = waitingForm{form, now}
	return url.QueryEscape(key)
}

// take gives a form out, once.
func (w *waiting) take(key string, now time.Time) (url.Values, bool) {
	w.mu.Lock()
	defer w.mu.Unlock()
	f, ok := w.forms[key]
	delete(w.forms, key)
	w.keys = slices.DeleteFunc(w.keys, func(k string) bool { return k == key })
	return f.form, ok && now.Sub(f.at) < waitFor
}
