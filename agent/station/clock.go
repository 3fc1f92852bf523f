package station

import (
	"fmt"
	"time"

	"benchtally/agent/crimp"
	"benchtally/agent/record"
)

// Unset marks records that were written while nothing kept the clock right.
// Corrected marks, for a History or a Clerk, those whose time was put right by what
// later records tell; none is kept so.
const (
	Unset     = "unset"
	Corrected = "corrected"
)

// Made is before any time at which this program can run: a clock that shows less
// was never set.
var Made = time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC)

// Figures of the counted time; own choice, no source.
const (
	clockSlack = 5 * time.Minute      // records may be made out of order by so much: a stroke is dated when it began
	clockLeap  = 366 * 24 * time.Hour // a press that stood still for longer is less likely than a wrong clock
	clockPause = 4 * 24 * time.Hour   // a computer that is on, but at an idle press: a long weekend. More is another start by another wrong clock
	clockTrust = 28 * 24 * time.Hour  // a clock that nobody has set right for so long, in spite of the fault, is believed
)

// ClockSet is that the computer's clock was set, by the network or by hand, after
// records had been written by it while nothing kept it right.
type ClockSet struct {
	At     time.Time     // by the clock as it is now
	Behind time.Duration // the clock was until now; below 0: ahead
	From   uint64        // seq of the first record that was written by it
}

// take keeps by how much the times of those records are wrong. They stay as they
// are: who reads them adds it.
func (in ClockSet) take(s *Station) {
	if in.From == 0 || in.From > s.state.Seq {
		return // no record was written by it
	}
	reason := fmt.Sprintf("it was set: it had been %s behind since record %d", Span(in.Behind), in.From)
	if in.Behind < 0 {
		reason = fmt.Sprintf("it was set: it had been %s ahead since record %d", Span(-in.Behind), in.From)
	}
	s.emit(record.Record{
		At: in.At, Kind: record.Fault, Source: record.Clock, State: record.Off, Of: in.From,
		Behind: record.Ptr(in.Behind.Milliseconds()), Reason: reason,
	})
}

// timing is the time as it is counted for what falls due: that of the records, as
// long as it can be right. Where it cannot, because the clock was not set when the
// computer started, time goes on from the latest that was counted, by as much as
// the clock tells has passed since: that is the earliest that it can be.
type timing struct {
	Now   time.Time     `json:"now,omitzero"`    // of the latest record
	Shift time.Duration `json:"shift,omitempty"` // from the clock to Now, while the clock is not believed; else 0
	Odd   time.Time     `json:"odd,omitzero"`    // by the clock, when it began not to be believed
	Base  time.Time     `json:"base,omitzero"`   // as it was counted, likewise
	Unset bool          `json:"unset,omitempty"` // nothing kept the clock right when the latest record was written
	Set   *clockSet     `json:"set,omitempty"`   // the latest time that it was set
}

// clockSet is what a record tells of the clock.
type clockSet struct {
	Seq    uint64    `json:"seq"`
	At     time.Time `json:"at"`
	From   uint64    `json:"from"`
	Behind int64     `json:"behind_ms"`
}

// count takes in the time of the next record, that of the one before, and whether
// nothing kept the clock right.
func (c *timing) count(at, before time.Time, unset bool) {
	c.Unset = unset
	now, goesOn := c.Now, c.goesOn(at, before)
	switch {
	case now.Before(Made), !unset && now.Sub(at) > clockSlack:
		now = at
		c.believe()
	case !unset, c.Shift > 0 && !at.Before(c.Base) && at.Sub(now) <= clockLeap:
		c.believe() // where now is ahead, it waits for the clock
	case c.Shift != 0 && goesOn && at.Sub(c.Odd) >= clockTrust && !at.Before(Made):
		now = at
		c.believe()
	case goesOn:
	case !at.Before(now) && at.Sub(now) <= clockLeap:
		c.believe()
	default:
		c.Shift, c.Odd, c.Base = now.Sub(at), at, now
	}
	if t := at.Add(c.Shift); t.After(now) {
		now = t
	}
	c.Now = now
}

// goesOn reports whether a time can come behind the one before by the same clock,
// believed or not.
func (c *timing) goesOn(at, before time.Time) bool {
	switch {
	case before.Sub(at) > clockSlack:
		return false
	case c.Shift > 0:
		return at.Sub(before) <= clockPause
	default:
		return at.Add(c.Shift).Sub(c.Now) <= clockLeap
	}
}

// believe counts the time as the clock has it from now on.
func (c *timing) believe() { c.Shift, c.Odd, c.Base = 0, time.Time{}, time.Time{} }

// moment is a record's time as it counts.
func (st *state) moment(r record.Record) crimp.Moment {
	m := crimp.Moment{At: st.Clock.Now}
	if r.Clock == Unset {
		m.Seq, m.Written = r.Seq, r.At
	}
	return m
}

// counted is a moment's time, or the time written where an older program kept no moment.
func counted(m crimp.Moment, written time.Time) time.Time {
	if m.At.IsZero() {
		return written
	}
	return m.At
}

// tellTime takes in when a record was written, and what it tells of the clock.
func (s *Station) tellTime(r record.Record) {
	st := &s.state
	c, before := &st.Clock, st.At
	st.Seq, st.At = r.Seq, r.At
	if r.Behind != nil {
		st.clockSet(r)
		before = time.Time{} // by the clock as it was
	}
	was, unsure := c.Now, c.Unset || c.Shift != 0
	c.count(r.At, before, r.Clock == Unset)
	right := r.Clock != Unset && (unsure || c.Now.Before(was))
	if right || was.Before(Made) && !c.Now.Before(Made) {
		for m := range st.moments {
			m.Within(Made, c.Now)
		}
	}
}

// clockSet corrects what was counted by the clock before it was set.
func (st *state) clockSet(r record.Record) {
	c, behind := &st.Clock, time.Duration(*r.Behind)*time.Millisecond
	c.Set = &clockSet{Seq: r.Seq, At: r.At, From: r.Of, Behind: *r.Behind}
	if c.Shift == 0 { // what was counted was what the clock said
		c.Now = c.Now.Add(behind)
	}
	c.believe()
	for m := range st.moments {
		m.Late(r.Of, behind, r.At)
	}
	if st.Zero != nil && st.ZeroAt.Seq >= r.Of && st.ZeroAt.Seq != 0 {
		st.Zero.At = st.ZeroAt.At
	}
	if v := st.Caliper.Standard; v != nil && st.Caliper.At.Seq >= r.Of && st.Caliper.At.Seq != 0 {
		again := *v // a View may have the old one
		again.At = st.Caliper.At.At
		st.Caliper.Standard = &again
	}
	for source, f := range st.Faults {
		if f.Seq != 0 && f.Seq >= r.Of {
			f.At = f.At.Add(behind)
			st.Faults[source] = f
		}
	}
	for i := range st.Taken {
		if t := &st.Taken[i]; t.Seq >= r.Of {
			t.At = t.At.Add(behind)
		}
	}
}

// moments are all moments from which something is counted.
func (st *state) moments(yield func(*crimp.Moment) bool) {
	for _, c := range st.Cages {
		for _, w := range crimp.Works() {
			if !yield(&c.Since(w).Moment) {
				return
			}
		}
	}
	_ = yield(&st.Oil.Moment) && yield(&st.ZeroAt) && yield(&st.Caliper.At)
}

// ClockView is what the records tell of the computer's clock.
type ClockView struct {
	Now    time.Time     // the time as it is counted, of the latest record; zero: there is none
	Since  time.Time     // the clock must show more than this; zero: anything
	Ahead  bool          // it is not believed because it is too far ahead
	Set    time.Time     // when it was set after records had been written by it; zero: never
	SetSeq uint64        // of the record that tells it
	Behind time.Duration // it had been until then; below 0: ahead
	From   uint64        // seq of the first record written by it
}

// FarAhead reports whether a time by a clock that nothing keeps right is too far
// ahead of the records to be believed.
func (v ClockView) FarAhead(now time.Time) bool {
	return v.Ahead || !v.Now.Before(Made) && now.Sub(v.Now) > clockLeap
}

func (st *state) clockView() ClockView {
	c := st.Clock
	v := ClockView{Now: c.Now, Since: st.At, Ahead: c.Shift < 0}
	if c.Shift > 0 {
		v.Since = c.Base
	}
	if s := c.Set; s != nil {
		v.Set, v.SetSeq, v.From, v.Behind = s.At, s.Seq, s.From, time.Duration(s.Behind)*time.Millisecond
	}
	return v
}
