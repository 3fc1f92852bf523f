package rehearsal

import (
	"context"
	"errors"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"benchtally/agent/station"
)

func TestPressMakesTheStrokesItShould(t *testing.T) {
	for _, tt := range []struct {
		name     string
		do       func(context.Context, *Press) error
		strokes  int
		faults   int
		retracts int
	}{
		{"a crimp", func(ctx context.Context, p *Press) error { return p.Crimp(ctx, time.Second) }, 1, 0, 0},
		{"a crimp too short to be one", func(ctx context.Context, p *Press) error { return p.Crimp(ctx, 0) }, 0, 0, 0},
		{"three crimps", func(ctx context.Context, p *Press) error {
			return errors.Join(p.Crimp(ctx, time.Second), p.Crimp(ctx, 300*time.Millisecond), p.Crimp(ctx, 2*time.Second))
		}, 3, 0, 0},
		{"inching", func(ctx context.Context, p *Press) error { return p.Inch(ctx) }, 1, 0, 0},
		{"noise", func(ctx context.Context, p *Press) error { return p.Noise(ctx) }, 0, 0, 0},
		{"noise around a crimp", func(ctx context.Context, p *Press) error {
			return errors.Join(p.Noise(ctx), p.Crimp(ctx, time.Second), p.Noise(ctx))
		}, 1, 0, 0},
		{"a switch that sticks", func(ctx context.Context, p *Press) error { return p.Stick(ctx, stuckFor) }, 1, 2, 0},
		{"a change of the cage", func(ctx context.Context, p *Press) error { return p.Retract(ctx, 10*time.Second) }, 0, 0, 1},
	} {
		t.Run(tt.name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				for seed := range uint64(8) {
					p := NewPress(NewClock(morning, 60), seed)
					if err := tt.do(t.Context(), p); err != nil {
						t.Fatal(err)
					}
					strokes, faults, retracts := counted(&p.course, morning)
					if len(strokes) != tt.strokes || len(faults) != tt.faults || retracts != tt.retracts {
						t.Errorf("seed %d: %d strokes, %d faults, %d retracts, want %d, %d, %d", seed,
							len(strokes), len(faults), retracts, tt.strokes, tt.faults, tt.retracts)
					}
					if p.clock.Now().Before(p.course.end()) {
						t.Errorf("seed %d: returned before the contacts were at rest", seed)
					}
				}
			})
		})
	}
}

func TestPressHoldsAsLongAsItIsTold(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		p := NewPress(NewClock(morning, 1), 3)
		if err := p.Crimp(t.Context(), 1300*time.Millisecond); err != nil {
			t.Fatal(err)
		}
		strokes, _, _ := counted(&p.course, morning)
		if len(strokes) != 1 {
			t.Fatalf("%d strokes", len(strokes))
		}
		// Bounce takes up to 15 ms at either end.
		if held := strokes[0].Held; held < 1285*time.Millisecond || held > 1315*time.Millisecond {
			t.Errorf("held %s, want 1.3 s", held)
		}
		if at := strokes[0].At.Sub(morning); at < closing || at > closing+16*time.Millisecond {
			t.Errorf("closed %s after the beginning, want %s", at, closing)
		}
	})
}

// A course never goes back, bounce is over before a contact counts as settled,
// and it comes in all amounts.
func TestBounce(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		seen := map[int]bool{}
		for seed := range uint64(500) {
			p := NewPress(NewClock(morning, 60), seed)
			rest := p.bounce(morning, true)
			if took := rest.Sub(morning); took > 15*time.Millisecond {
				t.Fatalf("seed %d: bounces for %s", seed, took)
			}
			seen[len(p.course.edges)] = true
			for i := 1; i < len(p.course.edges); i++ {
				a, b := p.course.edges[i-1], p.course.edges[i]
				if !b.at.After(a.at) || a.levels == b.levels {
					t.Fatalf("seed %d: edge %d is none: %v, %v", seed, i, a, b)
				}
			}
			if !p.course.at(rest).Up {
				t.Fatalf("seed %d: not made at the end", seed)
			}
		}
		if len(seen) != 7 {
			t.Errorf("%d amounts of bounce, want 7: %v", len(seen), seen)
		}
	})
}

// follow reads a press as the agent does, into a counter.
func follow(ctx context.Context, p *Press, late time.Duration, hear func(station.Input)) {
	var c counter
	for ctx.Err() == nil {
		at := p.Now()
		levels, err := p.Levels()
		if err != nil {
			panic(err)
		}
		for _, in := range c.step(levels, at) {
			hear(in)
		}
		time.Sleep(late)
		_ = p.Wait(ctx, c.wait()) // its only error is that ctx ended
	}
}

func TestReadersCountWhateverTheirDelay(t *testing.T) {
	for _, tt := range []struct {
		name string
		late time.Duration // on the wall, after each reading
	}{
		{"prompt", 0}, {"a millisecond late", time.Millisecond}, {"far too late", 70 * time.Millisecond},
	} {
		t.Run(tt.name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				p := NewPress(NewClock(morning, 60), 7)
				ctx, cancel := context.WithCancel(t.Context())
				var got []station.Stroke
				var reader sync.WaitGroup
				reader.Go(func() {
					follow(ctx, p, tt.late, func(in station.Input) { got = append(got, in.(station.Stroke)) })
				})
				for i := range 20 {
					if err := errors.Join(p.Noise(ctx), p.Crimp(ctx, time.Second)); err != nil {
						t.Fatal(err)
					}
					if i%5 == 0 {
						if err := p.Inch(ctx); err != nil {
							t.Fatal(err)
						}
					}
				}
				// All the edges of the strokes, each read late.
				time.Sleep(time.Second + 1500*tt.late)
				cancel()
				reader.Wait()
				if len(got) != 24 {
					t.Errorf("%d strokes, want 24", len(got))
				}
				for i, s := range got {
					if s.Held < 150*time.Millisecond || s.Held > 1020*time.Millisecond {
						t.Errorf("stroke %d was held for %s", i+1, s.Held)
					}
				}
				if n := len(p.course.edges); n != 0 {
					t.Errorf("%d edges are still kept", n)
				}
			})
		})
	}
}

func TestWait(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		p := NewPress(NewClock(morning, 60), 1)
		read := func() time.Duration { return p.Now().Sub(morning).Truncate(time.Microsecond) }
		if read() != 0 {
			t.Errorf("begins at %s", read())
		}
		if err := p.Wait(t.Context(), 250*time.Millisecond); err != nil || read() != 250*time.Millisecond {
			t.Errorf("at %s, %v, want 0.25 s", read(), err)
		}
		time.Sleep(time.Second)
		if read() != 250*time.Millisecond {
			t.Errorf("at %s without having waited", read())
		}
		if err := p.Wait(t.Context(), 250*time.Millisecond); err != nil || read() != 60250*time.Millisecond {
			t.Errorf("at %s, %v, want the present, 60.25 s", read(), err)
		}
		go func() { _ = p.Crimp(context.Background(), time.Second) }()
		if err := p.Wait(t.Context(), time.Minute); err != nil || read() != 60250*time.Millisecond+closing {
			t.Errorf("at %s, %v, want the closing of the ring", read(), err)
		}
		ctx, cancel := context.WithTimeout(t.Context(), 10*time.Millisecond)
		defer cancel()
		for ctx.Err() == nil {
			if err := p.Wait(ctx, time.Hour); err != nil && !errors.Is(err, context.DeadlineExceeded) {
				t.Error(err)
			}
		}
		if err := p.Close(); err != nil {
			t.Error(err)
		}
		if !p.Now().Equal(p.clock.Now()) {
			t.Error("a new reader does not begin with the present")
		}
		time.Sleep(time.Minute)
	})
}
