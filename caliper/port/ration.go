package port

import "time"

// How much of what cannot be read is told one by one (own choice, no source): so
// much at once, and then one more with each refill. A device that has gone mad for a
// day makes some 1,500 records, about 0.2 MB.
const (
	rationMost = 60
	refill     = time.Minute
)

// Ration is what may still be told of what a device sends wrongly, so that a line
// that is disturbed for days fills no card. The zero value is a whole ration. It goes
// by its user's own clock.
type Ration struct {
	Spent int           `json:"spent,omitempty"` // up to 60
	Since time.Duration `json:"since,omitempty"` // from when on the next refill is counted
}

// Take takes one, and reports false when there is none.
func (r *Ration) Take(now time.Duration) bool {
	if r.fill(now); r.Spent >= rationMost {
		return false
	}
	if r.Spent == 0 {
		r.Since = now
	}
	r.Spent++
	return true
}

// Left says whether there is one.
func (r *Ration) Left(now time.Duration) bool {
	r.fill(now)
	return r.Spent < rationMost
}

func (r *Ration) fill(now time.Duration) {
	if now < r.Since {
		r.Since = now // the clock was set back
	}
	n := min(int((now-r.Since)/refill), r.Spent)
	r.Spent -= n
	r.Since += time.Duration(n) * refill
}

// Valid says whether a ration that was kept can be so, at a time.
func (r *Ration) Valid(now time.Duration) bool {
	return r.Spent >= 0 && r.Spent <= rationMost && r.Since >= 0 && r.Since <= now
}
