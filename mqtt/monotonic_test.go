package mqtt

import (
	"testing"
	"time"
	"unsafe"
)

// setBy is a time of a run whose clock was set on by whole seconds, as time.Now
// gives it then: the monotonic reading goes on, the wall's time jumps. Package
// time has no way to make one; its seconds lie above 30 bits of nanoseconds.
func setBy(t time.Time, by time.Duration) time.Time {
	*(*uint64)(unsafe.Pointer(&t)) += uint64(by/time.Second) << 30
	return t
}

// TestWallClockJumps: when the clock was set meanwhile, the state tells since when
// it is so, and when the broker acknowledged last, as the clock has it now.
func TestWallClockJumps(t *testing.T) {
	now := time.Now()
	for _, by := range []time.Duration{0, 20_000 * 24 * time.Hour, -72 * time.Hour} {
		p := &Publisher{made: setBy(now.Add(-time.Hour), -by), state: State{Since: setBy(now.Add(-time.Minute), -by)}}
		if s := p.State(); !s.LastAck.IsZero() {
			t.Errorf("acknowledged at %s, and nothing was", s.LastAck)
		}
		p.lastAck.Store(int64(50 * time.Minute))
		s := p.State()
		for what, got := range map[string][2]time.Time{"since": {s.Since, now.Add(-time.Minute)}, "acknowledged": {s.LastAck, now.Add(-10 * time.Minute)}} {
			if off := got[0].Round(0).Sub(got[1].Round(0)); off.Abs() > time.Second {
				t.Errorf("set by %v: %s %s, off by %v", by, what, got[0], off)
			}
		}
	}
}
