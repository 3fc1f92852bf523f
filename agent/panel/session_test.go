package panel

import (
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"benchtally/agent/people"
	"benchtally/agent/station"
)

// guarded is a desk with a door, through which kj comes with the PIN 2748 and mr
// with a badge.
type guarded struct {
	*desk
	door  *people.Door
	now   time.Time
	badge string
}

func newGuarded(t *testing.T, options Options) *guarded {
	t.Helper()
	file := filepath.Join(t.TempDir(), "operators.csv")
	var roll people.Roll
	for _, p := range []people.Person{{ID: "kj", Name: "Kim J."}, {ID: "mr"}} {
		if err := roll.Add(p); err != nil {
			t.Fatal(err)
		}
	}
	if err := roll.SetPIN("kj", "2748"); err != nil {
		t.Fatal(err)
	}
	badge, err := roll.SetBadge("mr")
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(file, roll.CSV(), 0o600); err != nil {
		t.Fatal(err)
	}
	g := &guarded{desk: &desk{Board: NewBoard("north-bench", testShop())}, now: began, badge: badge}
	ready := ready(g.act)
	g.door = people.NewDoor(file, people.Settings{Now: func() time.Time { return g.now }})
	ready.Door = g.door
	g.Handler = g.Board.Handler(ready, options)
	return g
}

// send posts a form in a session; nil: in none.
func (g *guarded) send(path, body string, session *http.Cookie, json bool) *httptest.ResponseRecorder {
	r := httptest.NewRequest(http.MethodPost, "http://localhost:8737"+path, strings.NewReader(body))
	r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	if json {
		r.Header.Set("Accept", "application/json")
	}
	if session != nil {
		r.AddCookie(session)
	}
	w := httptest.NewRecorder()
	g.ServeHTTP(w, r)
	return w
}

func (g *guarded) signIn(t *testing.T) *http.Cookie {
	t.Helper()
	w := g.send("/in", "operator=kj&pin=2748", nil, false)
	cookies := w.Result().Cookies()
	if w.Code != http.StatusSeeOther || len(cookies) != 1 {
		t.Fatalf("got %d with %v", w.Code, cookies)
	}
	return cookies[0]
}

// A touch without a session asks who it is, and is done in their name when that
// is told: once.
func TestTouchWaitsForSigningIn(t *testing.T) {
	g := newGuarded(t, Options{})
	w := g.send("/do", "do=set&setting=119&key=k1&operator=nobody", nil, true)
	if want := `{"done":false,"to":"/who?then=k1"}` + "\n"; w.Code != http.StatusUnauthorized || w.Body.String() != want {
		t.Fatalf("got %d %s, want %s", w.Code, w.Body, want)
	}
	if w = g.send("/do", "do=set&setting=119&key=k1&operator=nobody", nil, false); w.Header().Get("Location") != "/who?then=k1" {
		t.Fatalf("without script: got %d to %q", w.Code, w.Header().Get("Location"))
	}
	if g.acted != nil {
		t.Fatalf("it acted: %+v", g.acted)
	}
	page := get(t, g, "/who?then=k1").Body.String()
	if !strings.Contains(page, `href="/who/pin?operator=kj&amp;then=k1"`) || !strings.Contains(page, "What you touched is done then") {
		t.Errorf("the page does not lead on:\n%s", page)
	}
	if w = g.send("/in", "operator=kj&pin=2748&then=k1", nil, false); w.Code != http.StatusSeeOther || w.Header().Get("Location") != "/" {
		t.Fatalf("got %d to %q: %s", w.Code, w.Header().Get("Location"), w.Body)
	}
	g.send("/in", "operator=kj&pin=2748&then=k1", nil, false)
	var set []station.Action
	for _, a := range g.acted {
		if a.Do == station.DoSet {
			set = append(set, a)
		}
	}
	if len(set) != 1 || set[0].Operator != "kj" || *set[0].Setting != 119 {
		t.Errorf("got %+v", set)
	}
}

// What waited too long is not done any more.
func TestTouchWaitsNotForEver(t *testing.T) {
	var w waiting
	form := url.Values{"do": {"undo"}, "key": {"k1"}}
	w.keep(form, began)
	if _, ok := w.take("k1", began.Add(waitFor)); ok {
		t.Error("a form was kept too long")
	}
	for i := range 3 * mostWaiting {
		w.keep(url.Values{"key": {strings.Repeat("k", i+1)}}, began)
	}
	if len(w.forms) != mostWaiting || len(w.keys) != mostWaiting {
		t.Errorf("%d forms with %d keys wait, want %d", len(w.forms), len(w.keys), mostWaiting)
	}
}

func TestSession(t *testing.T) {
	g := newGuarded(t, Options{Secure: func(*http.Request) bool { return true }})
	session := g.signIn(t)
	if !session.Secure || !session.HttpOnly || session.SameSite != http.SameSiteStrictMode {
		t.Errorf("the cookie is open: %v", session)
	}
	g.send("/do", "do=undo&operator=mr", session, false)
	if len(g.acted) != 1 || g.acted[0].Operator != "kj" {
		t.Fatalf("got %+v, want it by kj", g.acted)
	}
	g.now = g.now.Add(29 * time.Minute)
	g.send("/do", "do=dry", session, false)
	g.now = g.now.Add(29 * time.Minute)
	if w := g.send("/do", "do=dry&key=k9", session, false); w.Header().Get("Location") != "/" || len(g.acted) != 3 {
		t.Errorf("a touch does not keep the session: to %q", w.Header().Get("Location"))
	}
	g.now = g.now.Add(30 * time.Minute)
	if w := g.send("/do", "do=dry&key=k10", session, false); w.Header().Get("Location") != "/who?then=k10" || len(g.acted) != 3 {
		t.Errorf("the session does not end: to %q, acted %d times", w.Header().Get("Location"), len(g.acted))
	}
}

func TestSignOut(t *testing.T) {
	g := newGuarded(t, Options{})
	session := g.signIn(t)
	w := g.send("/out", "", session, false)
	if c := w.Result().Cookies(); len(c) != 1 || c[0].MaxAge >= 0 {
		t.Errorf("the cookie stays: %v", c)
	}
	if w = g.send("/do", "do=undo&key=k1", session, true); w.Code != http.StatusUnauthorized || g.acted != nil {
		t.Errorf("got %d, acted %+v", w.Code, g.acted)
	}
}

func TestWrongPIN(t *testing.T) {
	g := newGuarded(t, Options{})
	w := g.send("/in", "operator=kj&pin=1111&then=k1", nil, false)
	to := w.Header().Get("Location")
	if !strings.HasPrefix(to, "/who/pin?") || !strings.Contains(to, "then=k1") || len(w.Result().Cookies()) != 0 {
		t.Fatalf("got %d to %q", w.Code, to)
	}
	if page := get(t, g, to).Body.String(); !strings.Contains(page, "do not belong together") || !strings.Contains(page, "PIN of Kim J.") {
		t.Errorf("the page does not say so:\n%s", page)
	}
	for range 4 {
		w = g.send("/in", "operator=kj&pin=1111", nil, true)
	}
	if !strings.Contains(w.Body.String(), "5 wrong PINs for kj. Try again at ") {
		t.Errorf("it is not said until when: %s", w.Body)
	}
	if w = g.send("/in", "operator=kj&pin=2748", nil, false); len(w.Result().Cookies()) != 0 {
		t.Error("the lock does not hold")
	}
}

func TestBadge(t *testing.T) {
	g := newGuarded(t, Options{})
	w := g.send("/scan", "text=CAGE+C-21", nil, true)
	if w.Code != http.StatusUnauthorized || !strings.Contains(w.Body.String(), "Scan your badge first") {
		t.Fatalf("without a session: got %d %s", w.Code, w.Body)
	}
	g.send("/do", "do=undo&key=k1", nil, true)
	w = g.send("/scan", url.Values{"text": {"BADGE " + g.badge}, "then": {"k1"}}.Encode(), nil, true)
	if len(w.Result().Cookies()) != 1 || len(g.acted) != 1 || g.acted[0].Operator != "mr" {
		t.Fatalf("got %d %s, acted %+v", w.Code, w.Body, g.acted)
	}
	w = g.send("/scan", "text=CAGE+C-21", w.Result().Cookies()[0], true)
	if w.Code != http.StatusOK || !strings.Contains(w.Body.String(), `"said":"cage C-21 loaded"`) {
		t.Errorf("got %d %s", w.Code, w.Body)
	}
	if w = g.send("/scan", "text=BADGE+forged", nil, true); w.Code != http.StatusConflict || len(w.Result().Cookies()) != 0 {
		t.Errorf("a forged badge: got %d %s", w.Code, w.Body)
	}
}

// Where the shop wants it so, who has not signed in sees nothing.
func TestClosed(t *testing.T) {
	g := newGuarded(t, Options{Closed: true})
	for _, path := range []string{"/", "/order", "/papers", "/paper?kind=handover", "/links"} {
		if w := get(t, g, path); w.Code != http.StatusSeeOther || w.Header().Get("Location") != "/who" {
			t.Errorf("%s: got %d to %q", path, w.Code, w.Header().Get("Location"))
		}
	}
	if w := get(t, g, "/events"); w.Code != http.StatusUnauthorized {
		t.Errorf("events: got %d", w.Code)
	}
	for _, path := range []string{"/who", "/who/pin?operator=kj", "/static/panel.css"} {
		if w := get(t, g, path); w.Code != http.StatusOK {
			t.Errorf("%s: got %d", path, w.Code)
		}
	}
	session := g.signIn(t)
	r := httptest.NewRequest(http.MethodGet, "http://localhost/order/change", nil)
	r.AddCookie(session)
	w := httptest.NewRecorder()
	g.ServeHTTP(w, r)
	if w.Header().Get("Location") != "/start" {
		t.Errorf("signed in: got %d to %q", w.Code, w.Header().Get("Location"))
	}
}

// What is watched ends with the session of who watches.
func TestWatchingEnds(t *testing.T) {
	g := newGuarded(t, Options{})
	s := &server{board: g.Board, desk: Desk{Door: g.door}, options: Options{Closed: true}}
	r := httptest.NewRequest(http.MethodGet, "http://localhost/events", nil)
	r.AddCookie(g.signIn(t))
	if !s.mayLook(r) {
		t.Error("signed in, and nothing is shown")
	}
	g.now = g.now.Add(31 * time.Minute)
	if s.mayLook(r) {
		t.Error("it goes on after the session has ended")
	}
}
