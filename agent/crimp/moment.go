package crimp

import "time"

// Moment is when something was done, as what falls due later counts it. Where
// nothing kept the clock right, it also holds what a later setting of the clock
// is applied to.
type Moment struct {
	At      time.Time `json:"at"`
	Seq     uint64    `json:"seq,omitempty"`    // of its record, where the clock was not kept right; else 0
	Written time.Time `json:"written,omitzero"` // by that clock
}

// Late takes in that the clock was found to have been behind by so much, below 0
// ahead, since the record from on. It reports whether that concerns the moment.
// Nothing was done after now.
func (m *Moment) Late(from uint64, behind time.Duration, now time.Time) bool {
	if m.Seq == 0 || m.Seq < from {
		return false
	}
	m.Written = m.Written.Add(behind)
	m.At = m.Written
	if m.At.After(now) {
		m.At = now
	}
	return true
}

// Within is told between which times it must lie: since this program was made,
// and now by a clock that can be right. What was dated outside was dated by a
// wrong clock and counts from now on. Else it would fall due at once, or not for
// as long as that clock was ahead. It reports whether it was.
func (m *Moment) Within(made, now time.Time) bool {
	if m.At.IsZero() || !m.At.After(now) && !m.At.Before(made) {
		return false
	}
	*m = Moment{At: now}
	return true
}
