package people

import (
	"errors"
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

// TestWallClockJumps: a session ends, and a lock opens, by the monotonic clock,
// whatever the clock is set to meanwhile; the lock is told as the clock has it now.
func TestWallClockJumps(t *testing.T) {
	for _, by := range []time.Duration{72 * time.Hour, -72 * time.Hour} {
		d, c, _ := opened(t, Settings{Idle: 10 * time.Minute})
		c.Time = time.Now()
		token := in(t, d, "kj", tablet)
		for range mostWrong {
			if _, _, err := d.PIN("mb", "0000", desk); err == nil {
				t.Fatal("a wrong PIN signs in")
			}
		}
		c.Time = setBy(c.Time, by)
		if _, ok := d.Touch(token); !ok {
			t.Errorf("set by %v: signed out", by)
		}
		_, _, err := d.PIN("mb", "4711", desk)
		if r := (*Refused)(nil); !errors.As(err, &r) || !r.Until.After(c.Time) || r.Until.Sub(c.Time) > 2*time.Minute || r.Until.Round(0).Sub(c.Round(0)) > 2*time.Minute {
			t.Errorf("set by %v at %s: %v", by, c.Time, err)
		}
		c.pass(2 * time.Minute)
		in(t, d, "mb", desk)
		c.pass(9 * time.Minute)
		if _, ok := d.Who(token); ok {
			t.Errorf("set by %v: signed in after eleven minutes", by)
		}
	}
}
