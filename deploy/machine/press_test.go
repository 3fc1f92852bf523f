//go:build linux

package machine

import (
	"fmt"
	"math/rand/v2"
	"time"

	"benchtally/deploy/machine/hand"
)

// A stroke is how the press closes its switch once: the line, high at rest, is
// pulled low.
type stroke struct {
	rest, held time.Duration // before it, and how long it is closed
	bounce     int           // level changes too many at either edge
	apart      time.Duration // most between two of them
	spikes     int           // short closures within the rest that are no strokes
	longest    time.Duration // of a spike
}

// bouncing is as a worn switch may be: up to 15 ms of bounce at each edge, now and
// then a spike. (Bounce of tested switches is mostly below 6.2 ms: from memory.)
func bouncing(random *rand.Rand, rest, held time.Duration) stroke {
	s := stroke{rest: rest, held: held, bounce: random.IntN(16), apart: time.Millisecond, longest: 2 * time.Millisecond}
	if random.IntN(3) == 0 {
		s.spikes = 1 + random.IntN(3)
	}
	return s
}

// course is the levels of the line, ending at rest.
func (s stroke) course(random *rand.Rand) (all []hand.Level) {
	to := func(after time.Duration, closed bool) { all = append(all, hand.Level{After: after, High: !closed}) }
	edge := func(after time.Duration, closed bool) {
		to(after, closed)
		for range s.bounce {
			to(time.Duration(random.Int64N(int64(s.apart))), !closed)
			to(time.Duration(random.Int64N(int64(s.apart))), closed)
		}
	}
	for range s.spikes {
		to(s.rest, true)
		to(time.Duration(random.Int64N(int64(s.longest))), false)
	}
	edge(s.rest, true)
	edge(s.held, false)
	return all
}

// reading is a frame of the caliper, in inches.
func reading(random *rand.Rand) string {
	return fmt.Sprintf("+%.4f\r\n", 1.200+float64(random.IntN(90))/10000)
}
