package people

import (
	"context"
	"time"
)

// A PIN's hash is costly by intent, so one is computed at a time, few wait for
// it, and none for long: whoever floods the page cannot take the press its
// processor.
const (
	mostWaiting = 8 // with the one that is served
	patience    = 3 * time.Second
)

// queue lets one in at a time.
type queue struct {
	seats chan struct{}
	turn  chan struct{}
}

func newQueue() queue {
	return queue{make(chan struct{}, mostWaiting), make(chan struct{}, 1)}
}

// enter waits for the turn and returns what ends it; false: there was none to have.
func (q queue) enter() (leave func(), ok bool) {
	select {
	case q.seats <- struct{}{}:
	default:
		return nil, false
	}
	ctx, cancel := context.WithTimeout(context.Background(), patience)
	defer cancel()
	select {
	case q.turn <- struct{}{}:
		return func() { <-q.turn; <-q.seats }, true
	case <-ctx.Done():
		<-q.seats
		return nil, false
	}
}
