//go:build linux

package machine

import (
	"fmt"
	"math/rand/v2"
	"os"
	"slices"
	"testing"
	"time"
)

// openLog reads a log of writes.
func openLog(t *testing.T, path string) *writeLog {
	t.Helper()
	f, err := os.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = f.Close() })
	info, err := f.Stat()
	if err != nil {
		t.Fatal(err)
	}
	log, err := readLog(f, info.Size())
	if err != nil {
		t.Fatal(err)
	}
	return log
}

// TestCuts has an agent work, and looks at the disk as it would have been after a
// cut at many moments: whatever had been told outside by then must be in the store,
// and the store must be whole, agree with itself and go on. The first life begins
// with no store; the second with one whose power was cut.
func TestCuts(t *testing.T) {
	needMachine(t)
	random := rand.New(rand.NewPCG(2, 2))
	events := 150 + *cuts*4
	first := live(t, nil, events)
	cutLife(t, first, (*cuts+1)/2, random)
	second := live(t, first, events)
	cutLife(t, second, *cuts/2, random)
	lieTo(t, second, random)
}

// moments are where a life is cut: a quarter of the cuts before the first new
// event was told, half of them right where one was, the rest anywhere.
func moments(l *life, log *writeLog, cuts int, random *rand.Rand) (at []int) {
	fresh := slices.DeleteFunc(slices.Clone(l.told.events), func(p promise[event]) bool { return p.size == 0 })
	for i := range cuts {
		switch i % 4 {
		case 0:
			at = append(at, 1+random.IntN(log.after(fresh[0].size)))
		case 1:
			at = append(at, 1+random.IntN(len(log.entries)))
		default:
			at = append(at, log.after(fresh[random.IntN(len(fresh))].size))
		}
	}
	slices.Sort(at)
	return at
}

// cutLife cuts a life so many times.
func cutLife(t *testing.T, l *life, cuts int, random *rand.Rand) {
	t.Helper()
	log := openLog(t, l.log)
	began := time.Now()
	r, err := newRebuilder(log, l.base, t.TempDir()+"/durable")
	if err != nil {
		t.Fatal(err)
	}
	c := newChecker(t, l.told)
	bad, made := map[loss]int{}, map[loss]int{}
	image := t.TempDir() + "/cut"
	for i, n := range moments(l, log, cuts, random) {
		how := []loss{none, some, torn}[i%3]
		if err := r.cut(n, how, random, image); err != nil {
			t.Fatal(err)
		}
		size := log.end
		if n < len(log.entries) {
			size = log.entries[n].start
		}
		made[how]++
		if faults := c.check(image, size); len(faults) > 0 {
			bad[how]++
			t.Errorf("cut %d, behind entry %d of %d, %s: %d faults, the first:\n\t%s", i, n, len(log.entries), how, len(faults), faults[0])
			c.keep(image, fmt.Sprintf("bad-cut-%d", n))
		}
	}
	if err := r.close(); err != nil {
		t.Error(err)
	}
	t.Logf("%d entries in the log; %d cuts in %.1f s: %s", len(log.entries), cuts, time.Since(began).Seconds(), c.found)
	for _, how := range []loss{none, some, torn} {
		t.Logf("%s: %d cuts, %d bad", how, made[how], bad[how])
	}
	if cuts >= 4 && (c.found.records == 0 || c.found.told == 0) {
		t.Error("nothing was looked at")
	}
}

// lieTo is the control: with a card that lies about flushes, every cut right where
// something was told must be found bad, else the check does not see losses.
func lieTo(t *testing.T, l *life, random *rand.Rand) {
	t.Helper()
	const lies, unbelieved = 10, 20
	log := openLog(t, l.log)
	c := newChecker(t, l.told)
	lost, image := 0, t.TempDir()+"/cut"
	for i := range lies {
		r, err := newRebuilder(log, l.base, t.TempDir()+"/durable")
		if err != nil {
			t.Fatal(err)
		}
		r.lies = unbelieved
		p := l.told.events[len(l.told.events)-1-i*5]
		if err := r.cut(log.after(p.size), lying, random, image); err != nil {
			t.Fatal(err)
		}
		if len(c.check(image, p.size)) > 0 {
			lost++
		}
		if err := r.close(); err != nil {
			t.Error(err)
		}
	}
	t.Logf("the control, a card that loses its latest %d flushes: %d of %d cuts found bad", unbelieved, lost, lies)
	if lost < lies {
		t.Errorf("a card that lies was found bad in %d of %d cuts: the check does not see losses", lost, lies)
	}
}
