package rehearsal

import (
	"context"
	"errors"
	"math"
	"testing"
	"testing/synctest"
	"time"
)

var morning = time.Date(2026, 3, 2, 6, 0, 0, 0, time.UTC)

func TestClock(t *testing.T) {
	for _, tt := range []struct {
		name  string
		speed float64
		shop  time.Duration // in a second of the wall
	}{
		{"as slow as the wall", 1, time.Second},
		{"half as fast again", 1.5, 1500 * time.Millisecond},
		{"a minute a second", 60, time.Minute},
		{"fastest", 120, 2 * time.Minute},
	} {
		t.Run(tt.name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				c := NewClock(morning, tt.speed)
				if got := c.Now(); !got.Equal(morning) {
					t.Errorf("begins at %s", got)
				}
				time.Sleep(time.Second)
				if got := c.Now().Sub(morning); got != tt.shop {
					t.Errorf("a second on the wall is %s in the shop, want %s", got, tt.shop)
				}
				began := time.Now()
				if err := c.Sleep(t.Context(), 3*tt.shop); err != nil {
					t.Error(err)
				}
				if got := time.Since(began); got != 3*time.Second {
					t.Errorf("%s in the shop took %s, want 3 s", 3*tt.shop, got)
				}
				if got := c.Now().Sub(morning); got != 4*tt.shop {
					t.Errorf("after sleeping %s have passed, want %s", got, 4*tt.shop)
				}
			})
		})
	}
}

func TestClockSleepEndsWithContext(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		c := NewClock(morning, 60)
		ctx, cancel := context.WithTimeout(t.Context(), time.Second)
		defer cancel()
		if err := c.Sleep(ctx, time.Hour); !errors.Is(err, context.DeadlineExceeded) {
			t.Errorf("error %v, want that of the context", err)
		}
		if got := c.Now().Sub(morning); got != time.Minute {
			t.Errorf("slept %s, want a minute", got)
		}
		if err := c.Sleep(ctx, -time.Second); !errors.Is(err, context.DeadlineExceeded) {
			t.Errorf("sleeping no time after the end: error %v", err)
		}
	})
}

// A wall clock that is set must not move the shop's: there is nothing but the
// monotonic reading behind it, and none of it in what it gives.
func TestClockCarriesNoMonotonicReading(t *testing.T) {
	now := NewClock(time.Now(), 60).Now()
	if now != now.Round(0) {
		t.Errorf("%v carries a monotonic reading of another speed", now)
	}
}

func TestClockOutsideItsSpeeds(t *testing.T) {
	for _, speed := range []float64{0, -1, 0.99, 120.01, math.Inf(1), math.NaN()} {
		func() {
			defer func() {
				if recover() == nil {
					t.Errorf("speed %g was taken", speed)
				}
			}()
			NewClock(morning, speed)
		}()
	}
}
