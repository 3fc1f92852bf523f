package panel

import (
	"context"
	"crypto/rand"
	"encoding/json"
	"errors"
	"fmt"
	"maps"
	"mime"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"benchtally/agent/crimp"
	"benchtally/agent/station"
)

const (
	maxForm   = 4 << 10 // bytes
	maxField  = 128     // bytes; names in records are shorter
	actWithin = 10 * time.Second
)

// do takes one touch. It is carried out even if its page is gone meanwhile.
func (s *server) do(w http.ResponseWriter, r *http.Request) {
	form, status, err := readForm(w, r)
	var t touched
	if err == nil {
		t, err = readTouch(form)
	}
	if err != nil {
		reply(w, r, status, "/", answer{Refused: err.Error()})
		return
	}
	a := s.touches.once(r.Context(), t.key, form.Encode(), func() answer {
		ctx, cancel := context.WithTimeout(context.WithoutCancel(r.Context()), actWithin)
		defer cancel()
		refused, err := s.act(ctx, t.action)
		switch {
		case err != nil:
			return answer{Fault: err.Error()}
		case refused != "":
			return answer{Refused: refused}
		}
		return answer{Done: true}
	})
	switch {
	case a.Done:
		reply(w, r, http.StatusOK, "/", a)
	case a.Refused != "":
		reply(w, r, http.StatusConflict, t.back+"?answer="+t.key, a)
	default:
		reply(w, r, http.StatusServiceUnavailable, t.back+"?answer="+t.key, a)
	}
}

// reply answers the script with JSON, and a page without script by sending it on
// to where the answer can be read. A form that cannot be read has no such place.
func reply(w http.ResponseWriter, r *http.Request, status int, to string, a answer) {
	switch {
	case strings.Contains(r.Header.Get("Accept"), "application/json"):
		w.Header().Set("Content-Type", "application/json")
		w.WriteHeader(status)
		_ = json.NewEncoder(w).Encode(a) // who is gone needs no answer
	case status == http.StatusOK, status == http.StatusConflict, status == http.StatusServiceUnavailable:
		http.Redirect(w, r, to, http.StatusSeeOther)
	default:
		http.Error(w, a.text(), status)
	}
}

func readForm(w http.ResponseWriter, r *http.Request) (url.Values, int, error) {
	const kind = "application/x-www-form-urlencoded"
	if is, _, err := mime.ParseMediaType(r.Header.Get("Content-Type")); err != nil || is != kind {
		return nil, http.StatusUnsupportedMediaType, fmt.Errorf("the form came as %q: want %s", r.Header.Get("Content-Type"), kind)
	}
	r.Body = http.MaxBytesReader(w, r.Body, maxForm)
	if err := r.ParseForm(); err != nil {
		var large *http.MaxBytesError
		if errors.As(err, &large) {
			return nil, http.StatusRequestEntityTooLarge, fmt.Errorf("the form is longer than %d bytes", maxForm)
		}
		return nil, http.StatusBadRequest, fmt.Errorf("the form cannot be read: %w", err)
	}
	return r.PostForm, http.StatusBadRequest, nil
}

// touched is a form as it was meant.
type touched struct {
	action station.Action
	key    string
	back   string // view that shows why it was not done
}

// readTouch reads a form field by field. A field that there is none of, or twice,
// or that cannot be what it is called, is an error that says so.
func readTouch(form url.Values) (touched, error) {
	t := touched{back: "/"}
	var faults []error
	for _, name := range slices.Sorted(maps.Keys(form)) {
		if err := t.set(name, form[name]); err != nil {
			faults = append(faults, err)
		}
	}
	if t.action.Do == "" && len(faults) == 0 {
		faults = append(faults, fmt.Errorf("no action is named: the field do wants one of %v", station.Dos()))
	}
	if t.key == "" {
		t.key = rand.Text()
	}
	return t, errors.Join(faults...)
}

func (t *touched) set(name string, values []string) error {
	if len(values) != 1 {
		return fmt.Errorf("the field %s comes %d times: want it once", name, len(values))
	}
	v := strings.TrimSpace(values[0])
	if len(v) > maxField {
		return fmt.Errorf("the field %s is longer than %d characters", name, maxField)
	}
	if !utf8.ValidString(v) || strings.ContainsFunc(v, unicode.IsControl) {
		return fmt.Errorf("the field %s holds a character that cannot be written", name)
	}
	a := &t.action
	switch name {
	case "do":
		if !slices.Contains(station.Dos(), station.Do(v)) {
			return fmt.Errorf("there is no action %q: want one of %v", v, station.Dos())
		}
		a.Do = station.Do(v)
	case "cage":
		a.Cage = v
	case "order":
		a.Order = v
	case "spec":
		a.Spec = v
	case "operator":
		a.Operator = v
	case "piece":
		a.Piece = v
	case "work":
		a.Work = crimp.Work(v)
	case "quantity":
		return number(name, v, 1, 1_000_000, &a.Quantity)
	case "setting":
		if v == "" {
			return nil
		}
		a.Setting = new(int)
		return number(name, v, 0, 999, a.Setting)
	case "key":
		if strings.Trim(v, "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-_") != "" {
			return errors.New("the field key holds more than letters and digits")
		}
		t.key = v
	case "back":
		if v != "work" {
			return fmt.Errorf("the field back is %q: want work, or no such field", v)
		}
		t.back = "/work"
	default:
		return fmt.Errorf("there is no field %q", name)
	}
	return nil
}

// number reads a whole number; empty leaves it as it is.
func number(name, v string, lowest, highest int, n *int) error {
	if v == "" {
		return nil
	}
	got, err := strconv.Atoi(v)
	if err != nil || got < lowest || got > highest {
		return fmt.Errorf("the field %s is %q: want a whole number from %d to %d", name, v, lowest, highest)
	}
	*n = got
	return nil
}
