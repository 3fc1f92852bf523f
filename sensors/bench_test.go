package sensors

import (
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
