package main

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"sync/atomic"
	"time"

	"benchtally/agent/panel"
	"benchtally/agent/record"
	"benchtally/agent/station"
	"benchtally/store"
)

const (
	benchBatch = 256     // waiting inputs that share one commit
	benchHeld  = 1 << 16 // inputs held while the store takes none; more must wait
	storeRetry = time.Second
	benchBeat  = 5 * time.Second // how often an idle bench shows that it is alive
)

// bench owns the station. Everything that comes in goes through its one
// goroutine: inputs that wait share a commit, and what was kept is handed on.
// While the store takes nothing, inputs are held and tried again.
type bench struct {
	station *station.Station
	clock   *clock // nil: nobody looks at one
	now     func() time.Time
	inputs  chan request
	damaged func(error)                         // called when the store cannot be trusted any more
	kept    func([]record.Record, station.View) // after each commit, in order
	beat    func()                              // called in each turn, every benchBeat at least

	full    atomic.Bool                // as many inputs wait as may
	ending  chan struct{}              // closed: no more will come
	ended   chan struct{}              // closed: nothing is taken any more
	trouble atomic.Pointer[string]     // why the store takes nothing; nil: it does
	held    atomic.Pointer[panel.Held] // what waits meanwhile; nil: nothing does
}

// request is an input, or with none a wish to know that all before it is kept.
type request struct {
	input station.Input
	done  chan<- []record.Record // gets the input's records once they are kept; nil: nobody waits
	claim *atomic.Int32          // who has it, where somebody waits: open, taken or given up
}

// What a request that somebody waits for can be. Who gave it up was told that it
// is not kept, so it must not be kept later.
const (
	open int32 = iota
	takenUp
	givenUp
)

func newBench(s *station.Station, now func() time.Time, kept func([]record.Record, station.View)) *bench {
	return &bench{
		station: s, now: now, kept: kept, beat: func() {}, damaged: func(error) {},
		inputs: make(chan request, 1024), ending: make(chan struct{}), ended: make(chan struct{}),
	}
}

// put hands an input in without waiting for its records. While there is room it
// is taken even when ctx has ended: what has come in is kept.
func (b *bench) put(ctx context.Context, in station.Input) {
	select {
	case b.inputs <- request{input: in}:
		return
	default:
	}
	select {
	case b.inputs <- request{input: in}:
	case <-b.ended:
	case <-ctx.Done():
	}
}

// errEnded is the answer to who asks too late.
var errEnded = errors.New("the agent is stopping")

// ask hands an input in and waits until its records are kept. With a nil input
// it waits for all inputs before. When ctx ends first the input is given up.
func (b *bench) ask(ctx context.Context, in station.Input) ([]record.Record, error) {
	done, claim := make(chan []record.Record, 1), new(atomic.Int32)
	select {
	case b.inputs <- request{input: in, done: done, claim: claim}:
	case <-b.ended:
		return nil, errEnded
	case <-ctx.Done():
		return nil, context.Cause(ctx)
	}
	select {
	case records := <-done:
		return records, nil
	case <-b.ended:
		return nil, errEnded
	case <-ctx.Done():
	}
	for !claim.CompareAndSwap(open, givenUp) { // it is just being tried
		select {
		case records := <-done:
			return records, nil
		case <-b.ended:
			return nil, errEnded
		case <-time.After(time.Millisecond):
		}
	}
	if why := b.trouble.Load(); why != nil {
		return nil, fmt.Errorf("not kept: %s", *why)
	}
	return nil, context.Cause(ctx)
}

// end says that no more will come.
func (b *bench) end() { close(b.ending) }

// run takes inputs until no more will come and all of them are kept. When the
// store takes nothing, it ends with an error after a last try once ctx has
// ended, and some seconds after no more will come.
func (b *bench) run(ctx context.Context) error {
	defer close(b.ended)
	tick := time.NewTimer(benchBeat)
	defer tick.Stop()
	var waiting []request
	var tried, late time.Time             // when the store was last tried; when waiting for it ends
	ending := (<-chan struct{})(b.ending) // nil once it is closed
	waiting = b.lookAtClock(waiting)      // it may have been set since the latest run
	for {
		b.beat()
		failing := b.trouble.Load() != nil
		if len(waiting) == 0 && ending == nil && len(b.inputs) == 0 {
			return nil
		}
		if len(waiting) == 0 && len(b.inputs) == 0 || failing {
			source := b.inputs
			b.full.Store(len(waiting) >= benchHeld)
			if b.full.Load() {
				source = nil
			}
			wait := benchBeat
			if failing {
				wait = storeRetry - time.Since(tried)
			}
			tick.Reset(wait)
			select {
			case r := <-source:
				waiting = append(waiting, r)
				if failing {
					continue // the store is tried at the next tick
				}
			case <-ending:
				ending, late = nil, time.Now().Add(drainTime)
			case <-tick.C:
			}
		}
		waiting = b.lookAtClock(b.gather(waiting))
		waiting, tried = b.commit(waiting), time.Now()
		if b.hold(waiting) {
			b.kept(nil, b.station.View())
		}
		if len(waiting) > 0 && ending == nil && b.trouble.Load() != nil && (ctx.Err() != nil || time.Now().After(late)) {
			return fmt.Errorf("%d inputs could not be kept: %s", len(waiting), *b.trouble.Load())
		}
	}
}

// hold notes what waits in memory while the store takes nothing, and says whether that
// has changed.
func (b *bench) hold(waiting []request) bool {
	why, before := b.trouble.Load(), b.held.Load()
	if why == nil {
		b.held.Store(nil)
		return before != nil
	}
	h := panel.Held{Why: *why}
	for _, r := range waiting {
		switch r.input.(type) {
		case station.Stroke:
			h.Strokes++
		case nil:
		default:
			h.Other++
		}
	}
	b.held.Store(&h)
	return before == nil || *before != h
}

// gather adds what is waiting already, up to a batch.
func (b *bench) gather(waiting []request) []request {
	for len(waiting) < benchBatch {
		select {
		case r := <-b.inputs:
			waiting = append(waiting, r)
		default:
			return waiting
		}
	}
	return waiting
}

// lookAtClock puts before what waits that the clock was set, if it was.
func (b *bench) lookAtClock(waiting []request) []request {
	if b.clock == nil {
		return waiting
	}
	if set := b.clock.look(b.station.Seq()); set != nil {
		set.At = b.now()
		waiting = append([]request{{input: *set}}, waiting...)
	}
	return waiting
}

// commit keeps a batch of the waiting requests and returns those that still
// wait. A request that somebody waits for ends its batch.
func (b *bench) commit(waiting []request) []request {
	n, batch := 0, make([]station.Input, 0, min(len(waiting), benchBatch))
	var asked *atomic.Int32 // of the request that ends the batch
	for n < len(waiting) && n < benchBatch {
		r := waiting[n]
		if r.done != nil && r.input != nil && len(batch) > 0 {
			break // its records must be told from the others'
		}
		n++
		if r.claim != nil && !r.claim.CompareAndSwap(open, takenUp) {
			continue // given up
		}
		if r.input != nil {
			batch = append(batch, r.input)
		}
		if r.done != nil {
			asked = r.claim
			break
		}
	}
	if n == 0 {
		return waiting
	}
	records, err := b.do(batch)
	if err != nil {
		if asked != nil {
			asked.Store(open)
		}
		return waiting
	}
	for _, r := range waiting[:n] {
		if r.done != nil {
			r.done <- records
		}
	}
	return waiting[n:]
}

// do keeps inputs, and tells of a store that begins or ceases to fail.
func (b *bench) do(batch []station.Input) ([]record.Record, error) {
	failing := b.trouble.Load()
	if failing != nil {
		now := b.now()
		batch = append(batch,
			station.Fault{At: now, Source: record.Store, On: true, Reason: *failing},
			station.Fault{At: now, Source: record.Store, Reason: "everything that waited is kept"})
	}
	if b.clock != nil {
		for i := range batch {
			batch[i] = b.clock.tell(batch[i])
		}
	}
	records, err := b.station.Do(batch...)
	if err == nil && b.clock != nil {
		b.clock.kept(b.station.Seq())
	}
	if err != nil {
		if failing == nil {
			why := err.Error()
			b.trouble.Store(&why)
			slog.Error("nothing can be kept", "err", err)
		}
		if errors.Is(err, store.ErrCorrupt) {
			b.damaged(err)
		}
		return nil, err
	}
	if failing != nil {
		b.trouble.Store(nil)
		slog.Info("records are kept again")
	}
	if len(records) > 0 {
		b.kept(records, b.station.View())
	}
	return records, nil
}
