package caliper

import (
	"fmt"
	"strings"
	"testing"
	"time"
	"unsafe"

	"benchtally/agent/crimp"
)

// setBy is a time of a run whose clock was set on by whole seconds, as time.Now
// gives it then: the monotonic reading goes on, the wall's time jumps. Package
// time has no way to make one; its seconds lie above 30 bits of nanoseconds.
func setBy(t time.Time, by time.Duration) time.Time {
	*(*uint64)(unsafe.Pointer(&t)) += uint64(by/time.Second) << 30
	return t
}

// TestWallClockJumps: silence, repeats and streams are counted by the monotonic
// clock, so a clock that is set at any step, on or back by days, changes no event
// but its time.
func TestWallClockJumps(t *testing.T) {
	began := time.Now()
	type step struct {
		at   time.Duration
		text string
	}
	var steps []step
	for _, s := range []step{
		{0, "1.1\r"}, {100, "1.1\r"}, {3000, "1.2"}, {3040, "50\r"}, {5000, "1.3"}, {5200, ""}, {5300, "1.4\r"}, // twice, in two parts, ended by silence
		{9000, "1.5\r"},
	} {
		steps = append(steps, step{s.at * time.Millisecond, s.text})
	}
	for i := range 30 { // a stream, and its end
		steps = append(steps, step{20*time.Second + time.Duration(i)*100*time.Millisecond, "1.2\r"})
	}
	steps = append(steps, step{30 * time.Second, ""}, step{31 * time.Second, "1.6\r"}, step{35 * time.Second, ""})
	run := func(n int, by time.Duration) string {
		r := mustReader(t, Settings{Unit: crimp.Inches})
		var all []string
		for i, s := range steps {
			at := began.Add(s.at)
			if i >= n {
				at = setBy(at, by)
			}
			for _, e := range r.Feed([]byte(s.text), at) {
				since := ""
				if !e.Since.IsZero() {
					since = e.Since.Sub(began).String()
				}
				all = append(all, fmt.Sprint(e.At.Sub(began), e.Kind, e.Value, e.Reason, e.Cause, since))
			}
		}
		return strings.Join(all, "\n")
	}
	want := run(len(steps), 0)
	if !strings.Contains(want, "streaming") || strings.Count(want, "\n") < 6 {
		t.Fatalf("without a jump: %s", want)
	}
	for n := range steps {
		for _, by := range []time.Duration{72 * time.Hour, -72 * time.Hour, 2 * time.Second, -2 * time.Second} {
			if got := run(n, by); got != want {
				t.Errorf("set by %v before step %d: got\n%s\nwant\n%s", by, n, got, want)
			}
		}
	}
}
