package broker

import (
	"fmt"
	"math/rand/v2"
	"time"
)

// Limits of trying again; our own figures, no source.
const (
	probe   = 4 * time.Second  // longest wait while nothing answers, or after a connection that worked
	soon    = 10 * time.Second // a connection lost within this after CONNACK counts towards a rival
	Memory  = time.Minute      // for which such losses count; a connection that stands as long clears them
	maxSoon = 5                // more such losses than this are a rival
)

// Retry is the memory of what went wrong before. Waits are random, from nothing
// to a bound that doubles from Min to Max while a broker answers but will not
// have us. While nothing answers at all, and after a connection that worked, the
// bound stays at 4 s: such attempts cost nobody anything, and events should be
// there soon after the broker is. It is for one goroutine.
type Retry struct {
	Min, Max time.Duration

	round    Class       // the gravest ending since the first of several addresses had its turn, or since one worked
	class    Class       // of the latest ending
	failures int         // endings of that class in a row
	soon     []time.Time // of connections lost soon after CONNACK, at most maxSoon+1
	rival    bool
}

// gravity orders the classes: of several brokers, one that refuses says more than
// one that is not there.
var gravity = map[Class]int{Absent: 1, Lost: 2, Refused: 3}

// hop is the longest wait before another of several brokers has its turn; our
// own figure, no source.
const hop = 250 * time.Millisecond

// Pause takes note of an ending and says how long to wait before the next
// attempt. round says that all addresses have had their turn; with grave the
// broker does it again and again: the wait is long.
func (r *Retry) Pause(class Class, round, grave bool) time.Duration {
	if class == Lost {
		r.round = "" // one has worked since: what others did before it says nothing any more
	}
	if gravity[class] > gravity[r.round] {
		r.round = class
	}
	if !round && class != Lost && !grave && !r.rival {
		return rand.N(min(hop, r.Min)) + 1
	}
	if round {
		class, r.round = r.round, ""
	}
	if class != r.class {
		r.class, r.failures = class, 0
	}
	r.failures++
	longest := r.Max
	if grave || r.rival {
		return longest/2 + rand.N(longest/2+1)
	}
	steps := r.failures - 1
	switch class {
	case Refused:
	case Absent:
		longest = min(longest, max(probe, r.Min))
	case Lost:
		longest = min(longest, max(probe, r.Min))
		steps = len(r.soon)
	}
	bound := min(longest, r.Min)
	for ; steps > 0 && bound < longest; steps-- {
		bound = min(longest, 2*bound)
	}
	return rand.N(bound) + 1
}

// Lived takes note of how long a connection stood. Connections lost soon after
// CONNACK are a rival's doing: a broker ends a connection when another client
// comes with the same id (MQTT 3.1.1, section 3.1.4), and two such clients would
// push each other out for ever.
func (r *Retry) Lived(lived time.Duration, now time.Time) {
	if lived >= Memory {
		r.NoRival()
	}
	if lived >= soon {
		return
	}
	kept := r.soon[:0]
	for _, t := range append(r.soon, now) {
		if now.Sub(t) < Memory {
			kept = append(kept, t)
		}
	}
	r.soon = kept
	if len(r.soon) > maxSoon {
		r.rival = true
		r.soon = r.soon[1:]
	}
}

// Rival reports whether somebody else seems to use the client id.
func (r *Retry) Rival() bool { return r.rival }

// RivalOf says that somebody else seems to use the client id, and what to do. The
// id holds the press's name and the begin of its store's id: two presses share it
// when the card of one that has run was copied for the other.
func RivalOf(id string) string {
	return fmt.Sprintf("the broker ends each connection soon after it is made: is another client of it using the id %s? If this card is a copy of another press's, move its store aside and give this press its own name", id)
}

// NoRival forgets such losses.
func (r *Retry) NoRival() { r.soon, r.rival = nil, false }
