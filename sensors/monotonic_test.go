package sensors

import (
	"testing"
	"time"
	"unsafe"

	"github.com/google/go-cmp/cmp"
)

// setBy is a time of a run whose clock was set on by whole seconds, as time.Now
// gives it then: the monotonic reading goes on, the wall's time jumps. Package
// time has no way to make one; its seconds lie above 30 bits of nanoseconds.
func setBy(t time.Time, by time.Duration) time.Time {
	*(*uint64)(unsafe.Pointer(&t)) += uint64(by/time.Second) << 30
	return t
}

// TestWallClockJumps: what lasts how long is counted by the monotonic clock, so a
// clock that is set at any step, on or back by days, changes no event but its time.
func TestWallClockJumps(t *testing.T) {
	began := time.Now()
	steps := []struct {
		at time.Duration
		up bool
	}{
		{100 * ms, true}, {110 * ms, false}, {115 * ms, true}, {200 * ms, true}, {900 * ms, false}, {950 * ms, false}, // a stroke with a bounce
		{1000 * ms, true}, {1500 * ms, false}, {1600 * ms, false}, // joins the first
		{4000 * ms, true}, {4100 * ms, false}, {4200 * ms, false}, // too short
		{10_000 * ms, true}, {131_000 * ms, true}, {131_100 * ms, false}, {131_200 * ms, false}, // stuck
		{140_000 * ms, true}, {141_000 * ms, false}, {141_100 * ms, false},
	}
	// run sets the clock before the step n.
	run := func(n int, by time.Duration) (all []Event) {
		f := NewFilterAtRest(usual, began)
		for i, s := range steps {
			at := began.Add(s.at)
			if i >= n {
				at = setBy(at, by)
			}
			for _, e := range f.Step(Levels{Up: s.up}, at) {
				e.At = began.Add(e.At.Sub(began)).Round(0) // as the monotonic clock has it
				all = append(all, e)
			}
			if wait := f.Wait(at); wait <= 0 || wait > idlePoll {
				t.Fatalf("step %d: wait %v", i, wait)
			}
		}
		return all
	}
	want := run(len(steps), 0)
	if len(want) != 5 { // three strokes, a fault and its end
		t.Fatalf("without a jump: %v", want)
	}
	for n := range steps {
		for _, by := range []time.Duration{72 * time.Hour, -72 * time.Hour, 2 * time.Second, -2 * time.Second} {
			if diff := cmp.Diff(want, run(n, by)); diff != "" {
				t.Errorf("set by %v before step %d: want -, got +\n%s", by, n, diff)
			}
		}
	}
}
