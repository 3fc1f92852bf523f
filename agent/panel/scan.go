package panel

import (
	"context"
	"encoding/json"
	"net/http"
	"strings"

	"benchtally/agent/label"
	"benchtally/agent/words"
)

// maxScan is longer than any label; what is longer was no label.
const maxScan = 256 // bytes

// scan takes one label that was read into the page by a scanner that types.
func (s *server) scan(w http.ResponseWriter, r *http.Request) {
	form, status, err := readForm(w, r)
	t := words.In(s.language(r))
	if err != nil {
		s.scanned(w, status, answer{Refused: err.Error()})
		return
	}
	text := strings.TrimSpace(form.Get("text"))
	switch {
	case s.desk.Scan == nil:
		s.scanned(w, http.StatusNotFound, answer{Said: t.Say("Labels are not read here")})
		return
	case text == "" || len(text) > maxScan:
		s.scanned(w, http.StatusBadRequest, answer{Said: t.Say("That was no label")})
		return
	}
	if l, err := label.Parse(text); err == nil && l.Kind == label.Badge && s.desk.Door != nil {
		s.scanBadge(w, r, l.ID)
		return
	}
	who, ok := s.entered(r)
	if !ok {
		s.scanned(w, http.StatusUnauthorized, answer{Said: t.Say("Scan your badge first, or sign in"), To: "/who"})
		return
	}
	ctx, cancel := context.WithTimeout(context.WithoutCancel(r.Context()), actWithin)
	defer cancel()
	got, err := s.desk.Scan(ctx, text, who.ID)
	switch {
	case err != nil:
		s.scanned(w, http.StatusServiceUnavailable, answer{Fault: err.Error(), Said: answer{Fault: err.Error()}.text(t)})
	case got.Refused != "":
		s.scanned(w, http.StatusConflict, answer{Refused: got.Refused, Said: answer{Refused: got.Refused}.text(t)})
	default:
		s.scanned(w, http.StatusOK, answer{Done: true, Said: t.Sentence(got.Said)})
	}
}

// scanBadge signs in who holds a badge.
func (s *server) scanBadge(w http.ResponseWriter, r *http.Request, token string) {
	t := words.In(s.language(r))
	session, person, err := s.desk.Door.Badge(token)
	if err != nil {
		s.scanned(w, http.StatusConflict, answer{Refused: err.Error(), Said: t.Sentence(err.Error())})
		return
	}
	s.letIn(w, r, session, person, r.PostForm.Get("then"))
}

// scanned answers the script; without it nothing is scanned into a page.
func (s *server) scanned(w http.ResponseWriter, status int, a answer) {
	w.Header().Set("Content-Type", "application/json")
	w.WriteHeader(status)
	_ = json.NewEncoder(w).Encode(a) // who is gone needs no answer
}
