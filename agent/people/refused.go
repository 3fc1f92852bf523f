package people

import (
	"fmt"
	"net/http"
	"time"
)

// Why is the kind of a refusal.
type Why int

// Why somebody is not let in.
const (
	WrongPIN Why = iota // or no such operator, which looks the same
	WrongBadge
	Locked // too many wrong PINs
	Busy   // too many sign in at once
)

// Refused says why somebody is not let in, in a sentence for the page.
type Refused struct {
	Why   Why
	Until time.Time // when it is worth trying again; of Locked only
	text  string
}

// Error is the sentence.
func (r *Refused) Error() string { return r.text }

// Status is the HTTP status that says the same.
func (r *Refused) Status() int {
	switch r.Why {
	case WrongPIN, WrongBadge:
		return http.StatusUnauthorized
	case Locked:
		return http.StatusTooManyRequests
	case Busy:
		return http.StatusServiceUnavailable
	}
	return http.StatusForbidden
}

// The sentences, as other languages have to know them.
const (
	sayWrongPIN   = "This operator and this PIN do not belong together."
	sayWrongBadge = "This badge is not known here. Use your PIN, or ask for a new badge."
	sayLocked     = "%d wrong PINs for %s. Try again at %s, or scan your badge."
	sayLockedHere = "%d wrong PINs from here. Try again at %s, or scan your badge."
	sayBusy       = "Others are signing in at the moment. Try again in a few seconds."
)

func wrongPIN() *Refused   { return &Refused{Why: WrongPIN, text: sayWrongPIN} }
func wrongBadge() *Refused { return &Refused{Why: WrongBadge, text: sayWrongBadge} }
func busy() *Refused       { return &Refused{Why: Busy, text: sayBusy} }

func locked(id string, wrong int, until time.Time) *Refused {
	return &Refused{Why: Locked, Until: until, text: fmt.Sprintf(sayLocked, wrong, id, minute(until))}
}

func lockedHere(wrong int, until time.Time) *Refused {
	return &Refused{Why: Locked, Until: until, text: fmt.Sprintf(sayLockedHere, wrong, minute(until))}
}

// minute is the first whole minute that is not before t, as a clock on the wall
// of t's zone shows it.
func minute(t time.Time) string {
	if t.Second() != 0 || t.Nanosecond() != 0 {
		t = t.Add(time.Minute)
	}
	return t.Format("15:04")
}
