package rehearsal

import (
	"context"
	"math/rand/v2"
	"sync"
	"time"

	"benchtally/sensors"
)

// How the press moves; invented, in the order of magnitude of a small hydraulic press.
const (
	closing  = 700 * time.Millisecond // from the foot valve to the limit switch
	opening  = 500 * time.Millisecond // from the limit switch to where the hose comes out
	quiet    = 50 * time.Millisecond  // between two movements at least, and around noise
	retreat  = 4 * time.Second        // from open to fully retracted, and back
	shortest = 20 * time.Millisecond  // closure that Crimp makes
)

// Press is a simulated press. Its limit switch is a snap-action contact that
// bounces for up to 15 ms (common practice, no source).
//
// One goroutine moves the press, one other reads it as [sensors.Contacts].
type Press struct {
	clock *Clock
	moved chan struct{} // tells a waiting reader that the course goes on

	mu     sync.Mutex
	rnd    *rand.Rand
	course course
	read   time.Time // up to where the reader has come; zero: it has not begun
}

var _ sensors.Contacts = (*Press)(nil)

// NewPress is a press at rest. Its bounce is the same for the same seed.
func NewPress(c *Clock, seed uint64) *Press {
	return &Press{clock: c, moved: make(chan struct{}, 1), rnd: rand.New(rand.NewPCG(seed, 0))} //nolint:gosec // bounce hides nothing
}

// Crimp closes the ring, holds it there and opens it; it returns when the hose
// can be taken out. The limit switch is made for held, 20 ms at least.
func (p *Press) Crimp(ctx context.Context, held time.Duration) error {
	return p.move(ctx, func(at time.Time) time.Time {
		return p.closure(at.Add(closing), held).Add(opening)
	})
}

// Inch closes the ring little by little: several closures within a second, which
// are one stroke.
func (p *Press) Inch(ctx context.Context) error {
	return p.move(ctx, func(at time.Time) time.Time {
		at = at.Add(closing)
		for _, held := range []time.Duration{190, 210, 260} {
			at = p.closure(at, held*time.Millisecond).Add(90 * time.Millisecond)
		}
		return at.Add(opening)
	})
}

// Noise disturbs the limit switch's line with a burst shorter than any contact
// takes to settle: less than 15 ms.
func (p *Press) Noise(ctx context.Context) error {
	return p.move(ctx, func(at time.Time) time.Time {
		for range 3 + p.rnd.IntN(6) {
			p.course.add(at, sensors.Levels{Up: true})
			at = at.Add(p.between(100*time.Microsecond, 900*time.Microsecond))
			p.course.add(at, sensors.Levels{})
			at = at.Add(p.between(200*time.Microsecond, 900*time.Microsecond))
		}
		return at.Add(quiet)
	})
}

// Stick crimps once, and the limit switch sticks afterwards: it is made for d
// and then freed.
func (p *Press) Stick(ctx context.Context, d time.Duration) error { return p.Crimp(ctx, d) }

// Retract drives the ring all the way back, as for a change of the die cage,
// holds it there for d and drives it to where it begins a stroke.
func (p *Press) Retract(ctx context.Context, d time.Duration) error {
	return p.move(ctx, func(at time.Time) time.Time {
		at = at.Add(retreat)
		p.course.add(at, sensors.Levels{Retracted: true})
		at = at.Add(d)
		p.course.add(at, sensors.Levels{})
		return at.Add(retreat)
	})
}

// move lets draw add a movement to the course, from a time on that has not been
// read yet, and waits until the end that it returns.
func (p *Press) move(ctx context.Context, draw func(at time.Time) time.Time) error {
	p.mu.Lock()
	now := p.clock.Now()
	at := now
	if rest := p.course.end().Add(quiet); rest.After(at) {
		at = rest
	}
	end := draw(at)
	p.mu.Unlock()
	select {
	case p.moved <- struct{}{}:
	default: // it has been told already
	}
	return p.clock.Sleep(ctx, end.Sub(now))
}

// closure lets the limit switch be made for held, with bounce at both ends. It
// returns when all is at rest again.
func (p *Press) closure(at time.Time, held time.Duration) time.Time {
	p.bounce(at, true)
	return p.bounce(at.Add(max(held, shortest)), false)
}

// bounce lets the limit switch change, at first to and fro. It returns when the
// contact has come to rest.
func (p *Press) bounce(at time.Time, up bool) time.Time {
	p.course.add(at, sensors.Levels{Up: up})
	for range p.rnd.IntN(7) {
		at = at.Add(p.between(100*time.Microsecond, 1300*time.Microsecond))
		p.course.add(at, sensors.Levels{Up: !up})
		at = at.Add(p.between(100*time.Microsecond, 1200*time.Microsecond))
		p.course.add(at, sensors.Levels{Up: up})
	}
	return at
}

func (p *Press) between(least, most time.Duration) time.Duration {
	return least + time.Duration(p.rnd.Int64N(int64(most-least)))
}
