package panel

import (
	"context"
	"encoding/json"
	"net/http"
	"net/url"
	"strings"
	"time"

	"benchtally/agent/station"
	"benchtally/agent/words"
)

const actWithin = 10 * time.Second

// do takes one touch. It is carried out even if its page is gone meanwhile.
func (s *server) do(w http.ResponseWriter, r *http.Request) {
	form, status, err := readForm(w, r)
	if err != nil {
		s.reply(w, r, status, "/", answer{Refused: err.Error()})
		return
	}
	who, ok := s.entered(r)
	if !ok {
		s.askWho(w, r, form)
		return
	}
	s.carryOut(w, r, form, who.ID)
}

// carryOut does what a form says in the name of who sent it.
func (s *server) carryOut(w http.ResponseWriter, r *http.Request, form url.Values, who string) {
	t, err := readTouch(form, words.In(s.language(r)), s.unit())
	if err != nil {
		s.reply(w, r, http.StatusBadRequest, t.back, answer{Refused: err.Error()})
		return
	}
	if who != "" {
		t.action.Operator = who
	}
	a := s.touches.once(r.Context(), t.key, form.Encode()+who, func() answer {
		taken := s.takenBack(t.action)
		ctx, cancel := context.WithTimeout(context.WithoutCancel(r.Context()), actWithin)
		defer cancel()
		refused, err := s.desk.Act(ctx, t.action)
		switch {
		case err != nil:
			return answer{Fault: err.Error()}
		case refused != "":
			return answer{Refused: refused}
		}
		return answer{Done: true, offer: taken}
	})
	s.answered(w, r, t, a)
}

// answered sends the page on: to the board where it was done, else back to where
// the answer can be read.
func (s *server) answered(w http.ResponseWriter, r *http.Request, t touched, a answer) {
	to, status := t.back, http.StatusServiceUnavailable
	switch {
	case a.Done:
		to, status = after(t), http.StatusOK
		if a.offer != nil {
			to += "?answer=" + t.key
		}
	case a.Refused != "":
		to, status = to+"?answer="+t.key, http.StatusConflict
	default:
		to += "?answer=" + t.key
	}
	s.reply(w, r, status, to, a)
}

// after is the view that a touch leads to when it was done: that of the assembly
// for what was told of one, else the board.
func after(t touched) string {
	switch {
	case t.action.Do == station.DoCheck && t.action.Assembly > 0,
		t.action.Do == station.DoProof,
		t.action.Do == station.DoLot,
		t.action.Do == station.DoStandard && t.action.Standard == "":
		return strings.TrimSuffix(strings.TrimSuffix(strings.TrimSuffix(t.back, "/length"), "/angle"), "/proof")
	}
	return "/"
}

// reply answers the script with JSON, and a page without script by sending it on
// to where the answer can be read. A form that cannot be read has no such place.
func (s *server) reply(w http.ResponseWriter, r *http.Request, status int, to string, a answer) {
	language := words.In(s.language(r))
	switch {
	case strings.Contains(r.Header.Get("Accept"), "application/json"):
		w.Header().Set("Content-Type", "application/json")
		w.WriteHeader(status)
		a.Said, a.To = a.text(language), to
		_ = json.NewEncoder(w).Encode(a) // who is gone needs no answer
	case status == http.StatusOK, status == http.StatusConflict, status == http.StatusServiceUnavailable, status == http.StatusUnauthorized:
		http.Redirect(w, r, to, http.StatusSeeOther)
	default:
		http.Error(w, a.text(language), status)
	}
}
