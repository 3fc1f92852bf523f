//go:build linux

package machine

import (
	"fmt"
	"math/rand/v2"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"benchtally/deploy/machine/hand"
)

// config is the configuration's place inside.
const config = "/var/lib/benchtally/bench.toml"

// A load is a press in a hurry: strokes, readings, actions and looks at the status,
// each in its own turn, until it is stopped.
type load struct {
	g        *guest
	strokes  atomic.Int64 // that were pressed
	readings atomic.Int64
	stop     chan struct{}
	all      sync.WaitGroup
}

// begin puts the machine under load. status gets what `status --json` prints.
func begin(g *guest, status func(string)) *load {
	l := &load{g: g, stop: make(chan struct{})}
	for n, turn := range []func(*rand.Rand){l.press, l.measure, l.act, func(*rand.Rand) { l.look(status) }} {
		random := rand.New(rand.NewPCG(1, uint64(n)))
		l.all.Go(func() {
			for {
				select {
				case <-l.stop:
					return
				default:
					turn(random)
				}
			}
		})
	}
	return l
}

// end stops the load; what is still asked is answered, or the machine ends.
func (l *load) end() {
	close(l.stop)
	l.all.Wait()
}

func (l *load) press(random *rand.Rand) {
	var course []hand.Level
	for range 5 {
		course = append(course, bouncing(random, 70*time.Millisecond, 60*time.Millisecond).course(random)...)
	}
	if l.g.hand.ask(hand.Question{Do: hand.Press, Line: "GPIO17", Course: course}, nil).Bad == "" {
		l.strokes.Add(5)
	}
}

func (l *load) measure(random *rand.Rand) {
	time.Sleep(time.Duration(80+random.IntN(160)) * time.Millisecond)
	if _, err := l.g.cable.Write([]byte(reading(random))); err == nil {
		l.readings.Add(1)
	}
}

// act has the next order started, or the cage lubricated, every two seconds.
func (l *load) act(random *rand.Rand) {
	action := fmt.Sprintf(`{"do":"start","order":"A-%d","spec":"hs-08","quantity":500,"setting":120}`, 1000+random.IntN(9000))
	if random.IntN(3) == 0 {
		action = `{"do":"care","cage":"C-21","work":"lubricate"}`
	}
	l.g.hand.ask(hand.Question{Do: hand.Run, Args: []string{"/benchtally", "do", action, "--config", config}}, nil)
	l.pause(2 * time.Second)
}

func (l *load) look(status func(string)) {
	a := l.g.hand.ask(hand.Question{Do: hand.Run, Args: []string{"/benchtally", "status", "--json", "--config", config}}, nil)
	if a.Bad == "" && a.Code == 0 {
		status(a.Out)
	}
	l.pause(3 * time.Second)
}

func (l *load) pause(d time.Duration) {
	select {
	case <-l.stop:
	case <-time.After(d):
	}
}

// A life is a machine that worked until its power was cut.
type life struct {
	base, disk, log string // the disk before and behind, what happened to it
	broker          string // its address, which stays
	told            *promises
}

// live has an agent work in a machine until so many events have come to the
// broker, then cuts the power. The disk is a new one, or goes on from an earlier
// life, whose promises still hold.
func live(t *testing.T, earlier *life, events int) *life {
	t.Helper()
	told := newPromises(t)
	l := &life{base: t.TempDir() + "/base", disk: t.TempDir() + "/disk", told: told}
	address := anywhere
	if earlier != nil {
		address = earlier.broker
	}
	broker := newPlant(t, address, told.hear, told.see)
	defer broker.close()
	l.broker = broker.address
	if earlier == nil {
		dir := t.TempDir()
		install(t, dir, installed(broker.inside(), 5*time.Millisecond, 20*time.Millisecond, 40*time.Millisecond)...)
		makeDisk(t, l.base, dir, 64)
	} else {
		told.inherit(earlier.told)
		l.base = earlier.disk
	}
	if err := copyFile(l.base, l.disk); err != nil {
		t.Fatal(err)
	}
	began := time.Now()
	g := boot(t, setting{data: l.disk, memory: 256})
	told.log, l.log = g.writes(), g.writes()
	up := time.Since(began)
	g.ask(hand.Question{Do: hand.Start, Name: "agent", Args: []string{"/benchtally", "run", "--config", config}})
	await(t, "the agent answers", func() bool {
		return g.hand.ask(hand.Question{Do: hand.Run, Args: []string{"/benchtally", "status", "--json", "--config", config}}, nil).Code == 0
	})
	before := told.heard()
	work := begin(g, told.show)
	await(t, fmt.Sprintf("%d events have come to the broker", events), func() bool { return told.heard() >= before+events })
	g.cut()
	work.end()
	t.Logf("up in %.1f s, worked for %.1f s: %d strokes pressed, %d readings sent, %d events and %d counts told",
		up.Seconds(), (time.Since(began) - up).Seconds(), work.strokes.Load(), work.readings.Load(), len(told.events)-before, len(told.counts))
	return l
}
