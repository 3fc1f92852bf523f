package rehearsal

import (
	"context"
	"fmt"
	"math"
	"time"
)

// How much faster than the wall's clock the shop's may go. Beyond, the times
// that a person takes come near to those that a machine takes to notice.
const (
	Slowest = 1.0
	Fastest = 120.0
)

// Clock is the shop's time.
type Clock struct {
	begin time.Time // in the shop
	wall  time.Time // when it was begin
	speed float64
}

// NewClock begins the shop's time at begin, going speed times as fast as the
// wall's. A speed outside Slowest to Fastest panics: whoever asks people for
// one checks it.
func NewClock(begin time.Time, speed float64) *Clock {
	if !(speed >= Slowest && speed <= Fastest) {
		panic(fmt.Sprintf("rehearsal: speed %g, want %g to %g", speed, Slowest, Fastest))
	}
	return &Clock{begin: begin.Round(0), wall: time.Now(), speed: speed}
}

// Now is the time in the shop. It never goes back, whatever becomes of the
// wall's clock.
func (c *Clock) Now() time.Time { return c.begin.Add(c.shop(time.Since(c.wall))) }

// Sleep waits for d of the shop's time. Its error is that of ctx.
func (c *Clock) Sleep(ctx context.Context, d time.Duration) error {
	return sleep(ctx, c.real(d))
}

// shop is how much time passes in the shop while d passes on the wall.
func (c *Clock) shop(d time.Duration) time.Duration {
	return time.Duration(float64(d) * c.speed)
}

// real is how much time passes on the wall, at least, while d passes in the shop.
func (c *Clock) real(d time.Duration) time.Duration {
	return time.Duration(math.Ceil(float64(d) / c.speed))
}

// sleep waits for d of the wall's time.
func sleep(ctx context.Context, d time.Duration) error {
	if d <= 0 {
		return ctx.Err()
	}
	t := time.NewTimer(d)
	defer t.Stop()
	select {
	case <-t.C:
		return nil
	case <-ctx.Done():
		return ctx.Err()
	}
}
