package main

import (
	"context"
	"errors"
	"sync/atomic"
	"testing"
	"time"

	"benchtally/agent/crimp"
	"benchtally/agent/record"
	"benchtally/agent/station"
)

// stubborn is a log that keeps nothing while it is full.
type stubborn struct {
	station.Memory
	full atomic.Bool
}

func (s *stubborn) Append(b station.Batch) error {
	if s.full.Load() {
		return errors.New("no space left on device")
	}
	return s.Memory.Append(b)
}

// stubbornBench is a bench on such a log, and the records it keeps.
func stubbornBench(t *testing.T) (*bench, *stubborn, *atomic.Int32) {
	t.Helper()
	log := &stubborn{}
	s, err := station.Open(log, station.Rules{Scale: crimp.Scale{Step: crimp.Thousandth, Highest: 999}, Places: 3})
	if err != nil {
		t.Fatal(err)
	}
	loads := new(atomic.Int32)
	b := newBench(s, time.Now, func(records []record.Record, _ station.View) {
		for _, r := range records {
			if r.Kind == record.Load {
				loads.Add(1)
			}
		}
	})
	return b, log, loads
}

// TestWhatWasGivenUpIsNotKept: who was told that an action is not kept may do it
// again, and it happens once.
func TestWhatWasGivenUpIsNotKept(t *testing.T) {
	b, log, loads := stubbornBench(t)
	ran := make(chan error, 1)
	go func() { ran <- b.run(t.Context()) }()
	log.full.Store(true)
	load := station.Action{At: time.Now(), Do: station.DoLoad, Cage: "C-21"}
	for range 3 {
		ctx, cancel := context.WithTimeout(t.Context(), 100*time.Millisecond)
		if records, err := b.ask(ctx, load); err == nil {
			t.Errorf("kept %v on a full disk", records)
		}
		cancel()
	}
	log.full.Store(false)
	if records, err := b.ask(t.Context(), load); err != nil || len(records) == 0 {
		t.Errorf("kept %v, %v", records, err)
	}
	b.end()
	if err := <-ran; err != nil || loads.Load() != 1 {
		t.Errorf("%d loads are kept, want the last one; %v", loads.Load(), err)
	}
}

// TestWhatHasComeInIsTaken: an input that is there when the agent is told to stop
// is kept all the same.
func TestWhatHasComeInIsTaken(t *testing.T) {
	b, _, loads := stubbornBench(t)
	stopped, stop := context.WithCancel(t.Context())
	stop()
	const n = 500
	for range n {
		b.put(stopped, station.Action{At: time.Now(), Do: station.DoLoad, Cage: "C-21"})
	}
	b.end()
	if err := b.run(stopped); err != nil || loads.Load() != n {
		t.Errorf("%d of %d are kept, %v", loads.Load(), n, err)
	}
}
