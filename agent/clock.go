package main

import (
	"encoding/json"
	"fmt"
	"log/slog"
	"os"
	"strings"
	"sync/atomic"
	"time"

	"golang.org/x/sys/unix"

	"benchtally/agent/station"
)

// clockSlack is how far behind the latest record the clock may be.
const clockSlack = 5 * time.Second

// clockMoved is from how far on a clock that was set is told of: more than a leap
// second. What sets a clock right in smaller steps, or by letting it run faster,
// is not seen.
const clockMoved = 2 * time.Second

// clock watches how the computer's clock goes, beside the time since the computer
// was started: that nothing can set, so where the two move against each other the
// clock was set. Times that were taken before are told as the clock has it since.
// It belongs to the bench's goroutine, but for unset.
type clock struct {
	read  func() reading
	marks marks
	unset atomic.Bool // nothing keeps the clock right

	now    time.Time     // of the latest look, with its monotonic reading
	start  time.Duration // since 1970, when the computer was started, by the clock as it is
	from   uint64        // first record written since nothing keeps it right; 0: it is kept right
	boot   string        // names the computer's start
	unkept bool          // a correction is not kept yet
	moved  bool          // start or from is not the mark's any more
}

// reading is a look at the clock.
type reading struct {
	now   time.Time
	up    time.Duration // since the computer was started
	right bool          // something keeps the clock right
}

// marks keep a note with the records.
type marks interface {
	Mark(name string) (seq uint64, note []byte, err error)
	SetMark(name string, seq uint64, note []byte) error
}

// clockMark is the name of the note of the clock, clockNote what it holds: so that
// an agent that is started anew knows by which clock the records before it were
// written.
const clockMark = "clock"

type clockNote struct {
	Boot  string        `json:"boot"`
	Start time.Duration `json:"start"`
	From  uint64        `json:"from,omitempty"`
}

// newClock takes the note up. Without one, or of another start of the computer,
// nobody can tell any more by how much the clock was wrong then.
func newClock(read func() reading, m marks, boot string, v station.ClockView) *clock {
	c := &clock{read: read, marks: m, boot: boot}
	r := read()
	c.now, c.start = r.now, r.start()
	c.unset.Store(!r.right)
	seq, kept, err := m.Mark(clockMark)
	if err != nil {
		slog.Warn("by which clock the records before were written is lost", "err", err)
		return c
	}
	var note clockNote
	if len(kept) == 0 || json.Unmarshal(kept, &note) != nil || note.Boot != boot || boot == "" {
		return c
	}
	c.start, c.from = note.Start, note.From
	if v.SetSeq > seq { // it was set since the note
		c.start += v.Behind
	}
	return c
}

// start is when the computer was started, by the clock as it is.
func (r reading) start() time.Duration { return time.Duration(r.now.UnixNano()) - r.up }

// look takes in how the clock stands now, seq the latest record. It returns that
// the clock was set, if records were written by it as it was; nil: it was not.
func (c *clock) look(seq uint64) *station.ClockSet {
	r := c.read()
	var set *station.ClockSet
	by := r.start() - c.start
	if by.Abs() >= clockMoved {
		slog.Info("the clock was set", "by", by.Round(time.Millisecond), "kept_right", r.right)
		if c.from > 0 && c.from <= seq {
			set = &station.ClockSet{At: r.now, Behind: by, From: c.from}
			c.unkept = true
		}
		c.start, c.moved = r.start(), true
	}
	c.now = r.now
	c.unset.Store(!r.right)
	switch {
	case r.right && c.from > 0:
		c.from, c.moved = 0, true
	case !r.right && c.from == 0:
		c.from, c.moved = seq+1, true
	}
	c.note(seq)
	return set
}

// kept says that all corrections are kept.
func (c *clock) kept(seq uint64) {
	c.unkept = false
	c.note(seq)
}

// note keeps what a later start has to know, unless a correction waits: one that
// is not kept must be found again.
func (c *clock) note(seq uint64) {
	if c.unkept || !c.moved {
		return
	}
	c.moved = false
	note, err := json.Marshal(clockNote{c.boot, c.start, c.from})
	if err == nil {
		err = c.marks.SetMark(clockMark, seq, note)
	}
	if err != nil {
		slog.Warn("by which clock records are written is not kept", "err", err)
	}
}

// state is how records say it.
func (c *clock) state() string {
	if c.unset.Load() {
		return station.Unset
	}
	return ""
}

// tell gives an input with its times as the clock has them now: those taken before
// it was set are told by what has passed since.
func (c *clock) tell(in station.Input) station.Input {
	switch in := in.(type) {
	case station.Stroke:
		in.At = c.right(in.At)
		return in
	case station.ClockSet:
		in.At = c.right(in.At)
		return in
	case station.Retract:
		in.At = c.right(in.At)
		return in
	case station.Reading:
		in.At = c.right(in.At)
		return in
	case station.Action:
		in.At = c.right(in.At)
		return in
	case station.Refusal:
		in.At = c.right(in.At)
		return in
	case station.Fault:
		in.At = c.right(in.At)
		if !in.Since.IsZero() {
			in.Since = c.right(in.Since)
		}
		return in
	}
	return in
}

// right is a time with a monotonic reading as the clock has it now; one without
// stays.
func (c *clock) right(t time.Time) time.Time {
	told := c.now.Add(t.Sub(c.now)) // by what has passed, whatever the clock did
	if told.Round(0).Sub(t.Round(0)).Abs() < clockMoved {
		return t
	}
	return told
}

// readClock looks at the computer's clock. The kernel knows whether something keeps
// it right: adjtimex(2) needs no privilege when it changes nothing.
func readClock() reading {
	var r reading
	for { // anew where the process was held up in between
		r.up, r.now = sinceBoot(), time.Now()
		if sinceBoot()-r.up < clockMoved/20 {
			break
		}
	}
	var t unix.Timex
	state, err := unix.Adjtimex(&t)
	r.right = err == nil && state != unix.TIME_ERROR && t.Status&unix.STA_UNSYNC == 0
	return r
}

// sinceBoot is the time since the computer was started.
func sinceBoot() time.Duration {
	var up unix.Timespec
	if err := unix.ClockGettime(unix.CLOCK_BOOTTIME, &up); err != nil {
		panic("benchtally: clock_gettime: " + err.Error()) // Linux has it since 2.6.39
	}
	return time.Duration(up.Nano())
}

// bootID names the computer's start; "": it is not known.
func bootID() string {
	b, err := os.ReadFile("/proc/sys/kernel/random/boot_id")
	if err != nil {
		return ""
	}
	return strings.TrimSpace(string(b))
}

// clockFault says why a time by a clock that is kept right, or not, cannot be
// right, given what the records tell; "": it can.
func clockFault(now time.Time, right bool, v station.ClockView) string {
	shows := now.UTC().Format(time.DateTime)
	switch {
	case now.Before(station.Made):
		return fmt.Sprintf("it shows %s, before this program was made: set it, or let the network set it", shows)
	case right: // the records before may not have been
		return ""
	case now.Before(v.Since.Add(-clockSlack)):
		return fmt.Sprintf("it shows %s, but records go up to %s: set it, or let the network set it", shows, v.Since.UTC().Format(time.DateTime))
	case v.FarAhead(now):
		return fmt.Sprintf("it shows %s, more than a year after the latest record, %s: if that is wrong, set it, or let the network set it", shows, v.Now.UTC().Format(time.DateTime))
	default:
		return ""
	}
}

// clockText says how a clock is that can be right.
func clockText(right bool, v station.ClockView, now time.Time) string {
	text := "runs, but nothing keeps it right"
	if right {
		text = "kept right"
	}
	if v.Set.IsZero() || now.Sub(v.Set) > clockTold || v.Set.After(now) {
		return text
	}
	when := v.Set.Local().Format("2006-01-02 15:04")
	switch behind, ahead := station.Span(v.Behind), station.Span(-v.Behind); {
	case right && v.Behind > 0:
		return fmt.Sprintf("kept right; until %s it was %s behind", when, behind)
	case right:
		return fmt.Sprintf("kept right; until %s it was %s ahead", when, ahead)
	case v.Behind > 0:
		return fmt.Sprintf("nothing keeps it right; set by hand at %s, until then it was %s behind", when, behind)
	default:
		return fmt.Sprintf("nothing keeps it right; set by hand at %s, until then it was %s ahead", when, ahead)
	}
}

// clockTold is how long it is told that the clock was wrong: through the next
// shift (own choice, no source).
const clockTold = 24 * time.Hour

// ageOf is how old a record is, by when it was written and its seq. One whose time
// cannot be right is as old as the agent's run at least: more is not known.
func (a *agent) ageOf(at time.Time, seq uint64, v station.ClockView) time.Duration {
	if v.From <= seq && seq < v.SetSeq {
		at = at.Add(v.Behind)
	}
	if at.Before(station.Made) {
		return time.Since(a.began)
	}
	return max(0, a.now().Sub(at))
}
