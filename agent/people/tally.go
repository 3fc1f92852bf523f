package people

import "time"

// After so many wrong PINs in a row the door is locked, and after each further
// one again and for twice as long. At the longest lock that leaves 96 guesses a
// day of the 10,000 that four digits have. Common practice, no source.
const (
	mostWrong   = 5
	firstLock   = time.Minute
	longestLock = 15 * time.Minute
	forgotten   = 24 * time.Hour // since the latest wrong PIN
)

// tally counts wrong PINs under a few names.
type tally struct {
	most  int // names; past it the one goes that was quiet longest
	wrong map[string]wrongs
}

// wrongs are the wrong PINs under one name.
type wrongs struct {
	n      int
	latest time.Time
}

func newTally(most int) tally { return tally{most: most, wrong: map[string]wrongs{}} }

// of is what is remembered under a name.
func (t tally) of(name string, now time.Time) wrongs {
	if w := t.wrong[name]; now.Sub(w.latest) < forgotten {
		return w
	}
	return wrongs{}
}

// add counts one more under a name.
func (t tally) add(name string, now time.Time) {
	w := t.of(name, now)
	if _, has := t.wrong[name]; !has && len(t.wrong) >= t.most {
		t.makeRoom()
	}
	t.wrong[name] = wrongs{w.n + 1, now}
}

// clear forgets a name.
func (t tally) clear(name string) { delete(t.wrong, name) }

func (t tally) makeRoom() {
	quiet, first := "", true
	for name, w := range t.wrong {
		if first || w.latest.Before(t.wrong[quiet].latest) {
			quiet, first = name, false
		}
	}
	delete(t.wrong, quiet)
}

// until is when the door is open again; the zero time: it is not locked.
func (w wrongs) until() time.Time {
	if w.n < mostWrong {
		return time.Time{}
	}
	return w.latest.Add(min(firstLock<<min(w.n-mostWrong, 10), longestLock))
}
