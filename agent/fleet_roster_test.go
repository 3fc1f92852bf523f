package main

import (
	"container/heap"
	"fmt"
	"sync"
	"time"
)

// closure is how long a ring is up for a crimp; the shortest that counts as a
// stroke is 150 ms.
const closure = 300 * time.Millisecond

// shortestPace leaves room for two strokes that do not join and the readings
// between them.
const shortestPace = 1200 * time.Millisecond

// roster has all presses of a fleet work, each piece a stroke and three readings
// that make a verdict, from one goroutine.
type roster struct {
	pace time.Duration // from piece to piece
	next []turn        // a heap, earliest first
	stop chan struct{}
	once sync.Once // closes stop
	done chan struct{}
}

// turn is what a press does next.
type turn struct {
	at    time.Time
	press *fleetPress
	step  int
	piece int
}

// newRoster staggers the presses evenly over one piece.
func newRoster(presses []*fleetPress, pace time.Duration) *roster {
	r := &roster{pace: pace, stop: make(chan struct{}), done: make(chan struct{})}
	now := time.Now()
	for i, p := range presses {
		r.next = append(r.next, turn{at: now.Add(pace * time.Duration(i) / time.Duration(len(presses))), press: p})
	}
	heap.Init(r)
	return r
}

// run goes on until the roster is ended.
func (r *roster) run() {
	defer close(r.done)
	timer := time.NewTimer(0)
	defer timer.Stop()
	for {
		select {
		case <-r.stop:
			return
		case <-timer.C:
		}
		now := time.Now()
		for !r.next[0].at.After(now) {
			r.next[0].take(r.pace)
			heap.Fix(r, 0)
		}
		timer.Reset(time.Until(r.next[0].at))
	}
}

// end stops it, at the first call.
func (r *roster) end() {
	r.once.Do(func() { close(r.stop) })
	<-r.done
}

// take does one step and says when the next is due.
func (t *turn) take(pace time.Duration) {
	wait := (pace - closure) / 4
	switch t.step {
	case 0:
		if t.piece == 0 {
			t.press.say(fmt.Sprintf(`{"do":"start","order":"A-%s","spec":"hs-08","quantity":1000000,"setting":120,"operator":"kj"}`, t.press.name))
		}
		t.piece++
		t.press.say(`{"level":0}`)
		wait = closure
	case 1:
		t.press.say(`{"level":1}`)
	default:
		t.press.say(fmt.Sprintf(`{"text":"+1.%04d\r\n"}`, 1980+(t.piece*7+t.step*11)%40))
	}
	t.step = (t.step + 1) % 5
	t.at = t.at.Add(wait)
}

// Len, Less, Swap, Push and Pop make the turns a heap.
func (r *roster) Len() int           { return len(r.next) }
func (r *roster) Less(i, j int) bool { return r.next[i].at.Before(r.next[j].at) }
func (r *roster) Swap(i, j int)      { r.next[i], r.next[j] = r.next[j], r.next[i] }
func (r *roster) Push(any)           { panic("a press comes to the roster") }
func (r *roster) Pop() any           { panic("a press leaves the roster") }
