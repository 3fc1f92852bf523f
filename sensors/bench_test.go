package sensors

import (
	"context"
	"testing"
	"time"
)

// An edge: the time since the last one is accounted for, the new level taken in,
// and the wait for the next asked. Budget: 100 ns and no allocation.
func BenchmarkFilterStep(b *testing.B) {
	for _, bm := range []struct {
		name       string
		changeover bool
		gap        time.Duration
	}{
		{"clean", false, 700 * time.Millisecond},
		{"bouncing", false, 300 * time.Microsecond},
		{"changeover", true, 700 * time.Millisecond},
	} {
		b.Run(bm.name, func(b *testing.B) {
			s := usual
			s.Changeover = bm.changeover
			f := NewFilterAtRest(s, day)
			at, up := day, false
			b.ReportAllocs()
			for b.Loop() {
				at, up = at.Add(bm.gap), !up
				f.Step(Levels{Up: up, Rest: bm.changeover && !up}, at)
			}
		})
	}
}

func BenchmarkFilterWait(b *testing.B) {
	f := NewFilterAtRest(usual, day)
	f.Step(Levels{Up: true}, day)
	b.ReportAllocs()
	for b.Loop() {
		f.Wait(day)
	}
}

// A flip has one contact that the benchmark moves.
type flip struct {
	levels Levels
	edge   chan Levels
}

func (f *flip) Levels() (Levels, error) { return f.levels, nil }

func (f *flip) Wait(ctx context.Context, _ time.Duration) error {
	select {
	case f.levels = <-f.edge:
	case <-ctx.Done():
	}
	return nil
}

func (f *flip) Close() error { return nil }

// From the edge that wakes the reader to the stroke in the receiver's hands, for
// a contact that settles at once: what Watch adds to Settle.
func BenchmarkWatchEdgeToEvent(b *testing.B) {
	c := &flip{edge: make(chan Levels)}
	at := day
	now := func() time.Time { at = at.Add(time.Second); return at }
	out := make(chan Event, 1)
	ctx, cancel := context.WithCancel(b.Context())
	done := make(chan error)
	go func() {
		done <- Watch(ctx, func() (Contacts, error) { return c, nil }, NewFilterAtRest(Settings{}, day), now, out)
	}()
	b.ReportAllocs()
	for b.Loop() {
		c.edge <- Levels{Up: true}
		c.edge <- Levels{}
		<-out
	}
	cancel()
	if err := <-done; err != nil {
		b.Fatal(err)
	}
}
