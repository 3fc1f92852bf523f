package rehearsal

import (
	"context"
	"errors"
	"slices"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"benchtally/agent/crimp"
	"benchtally/agent/record"
	"benchtally/agent/station"
)

// tried lets a person do things at a press beside a desk, in real time.
func tried(t *testing.T, do func(t *testing.T, ctx context.Context, trial *Trial, d *desk)) {
	t.Helper()
	synctest.Test(t, func(t *testing.T) {
		c := NewClock(morning, 1)
		d, p := newDesk(t, c), NewPress(c, 1)
		ctx, cancel := context.WithCancel(t.Context())
		var reader sync.WaitGroup
		reader.Go(func() { follow(ctx, p, time.Millisecond, d.hear) })
		do(t, ctx, NewTrial(d, p, d), d)
		cancel()
		reader.Wait()
	})
}

// crimped closes the press and measures all that is wanted; it gives the verdict.
func crimped(t *testing.T, ctx context.Context, trial *Trial, d *desk) *record.Record {
	t.Helper()
	if err := errors.Join(trial.Close(ctx), trial.Measure(ctx, true)); err != nil {
		t.Fatal(err)
	}
	return d.View().Verdict
}

func start(d *desk, order, spec string, setting int) {
	d.do(station.Action{At: d.clock.Now(), Do: station.DoStart, Order: order, Spec: spec, Setting: record.Ptr(setting)})
}

// TestTrialOrder: the new cage crimps large; dialled to what is advised, the same
// piece is within limits, and a thick and a thin wall come out as they are called.
func TestTrialOrder(t *testing.T) {
	tried(t, func(t *testing.T, ctx context.Context, trial *Trial, d *desk) {
		start(d, "A-1", "hs-08", 120)
		v := crimped(t, ctx, trial, d)
		if v.Outcome != crimp.Recrimp || v.Piece != "A-1/1" || v.Readings != 3 {
			t.Fatalf("the first crimp of a new cage: %+v", v)
		}
		first := *v.Mean
		dial := func() {
			d.do(station.Action{At: d.clock.Now(), Do: station.DoSet, Setting: d.View().Advice()})
		}
		dial()
		if v = crimped(t, ctx, trial, d); v.Outcome != crimp.Pass || v.Piece != "A-1/1" || *v.Mean >= first {
			t.Fatalf("crimped again: %+v", v)
		}
		dial()
		for _, c := range []struct {
			wall Wall
			want crimp.Outcome
		}{{UsualWall, crimp.Pass}, {ThinWall, crimp.Scrap}, {ThickWall, crimp.Recrimp}} {
			if err := trial.End(c.wall); err != nil {
				t.Fatal(err)
			}
			if v = crimped(t, ctx, trial, d); v.Outcome != c.want {
				t.Errorf("a %s wall is judged %s, want %s", c.wall, v.Outcome, c.want)
			}
		}
		if v.Piece != "A-1/4" {
			t.Errorf("the last piece is %s", v.Piece)
		}
	})
}

// late is a caliper whose next frame takes so long to be read.
type late struct {
	*desk
	by time.Duration
}

func (l *late) Send(ctx context.Context, values ...crimp.Length) error {
	time.Sleep(l.by)
	l.by = 0
	return l.desk.Send(ctx, values...)
}

// TestTrialLate: a hand waits for what shows, so that a reading that came late is
// not taken for the same push as the next one.
func TestTrialLate(t *testing.T) {
	tried(t, func(t *testing.T, ctx context.Context, _ *Trial, d *desk) {
		trial := NewTrial(d, NewPress(d.clock, 2), &late{d, 350 * time.Millisecond})
		if err := errors.Join(trial.Show(ctx, 0), trial.Show(ctx, 0)); err != nil {
			t.Fatal(err)
		}
		if gap := d.kept[1].At.Sub(d.kept[0].At); gap < turnTime {
			t.Errorf("the second reading came %s after the first", gap)
		}
	})
}

// TestTrialMeasures: places come one by one, not sooner than a hand turns the
// caliper, closed jaws are a zero, and a pulled cable sends nothing.
func TestTrialMeasures(t *testing.T) {
	tried(t, func(t *testing.T, ctx context.Context, trial *Trial, d *desk) {
		if err := trial.Measure(ctx, false); err == nil {
			t.Error("what was never crimped was measured")
		}
		start(d, "A-1", "hs-08", 120)
		if err := trial.Close(ctx); err != nil {
			t.Fatal(err)
		}
		for want := 1; want <= 2; want++ {
			if err := trial.Measure(ctx, false); err != nil {
				t.Fatal(err)
			}
			if got := len(d.View().Order.Readings); got != want {
				t.Errorf("%d readings, want %d", got, want)
			}
		}
		at := slices.Collect(func(yield func(time.Time) bool) {
			for _, r := range d.kept {
				if r.Kind == record.Reading && !yield(r.At) {
					return
				}
			}
		})
		if gap := at[1].Sub(at[0]); gap < turnTime {
			t.Errorf("the second place was measured %s after the first", gap)
		}
		if err := trial.Show(ctx, 0); err != nil || d.View().Zero == nil {
			t.Errorf("closed jaws: %v, zero %v", err, d.View().Zero)
		}
		if err := trial.Plug(false); err != nil {
			t.Fatal(err)
		}
		for _, err := range []error{trial.Measure(ctx, false), trial.Show(ctx, 0)} {
			if !errors.Is(err, errUnplugged) {
				t.Errorf("with the cable out: %v", err)
			}
		}
		if err := errors.Join(trial.Plug(true), trial.Measure(ctx, true)); err != nil {
			t.Error(err)
		}
		if v := d.View().Verdict; v == nil || v.Readings != 3 {
			t.Errorf("%+v", v)
		}
	})
}

// TestTrialUnseen: what the bench does not take is told, and can be done again.
func TestTrialUnseen(t *testing.T) {
	tried(t, func(t *testing.T, ctx context.Context, trial *Trial, d *desk) {
		once := func() func() bool {
			lost := false
			return func() bool { defer func() { lost = true }(); return !lost }
		}
		start(d, "A-1", "hs-08", 120)
		d.blind, d.deaf = once(), once()
		if err := trial.Close(ctx); !errors.Is(err, errNoStroke) {
			t.Errorf("a stroke that is lost: %v", err)
		}
		if err := trial.Close(ctx); err != nil {
			t.Error(err)
		}
		if err := trial.Measure(ctx, false); !errors.Is(err, errNoReading) {
			t.Errorf("a reading that is lost: %v", err)
		}
		if err := trial.Measure(ctx, true); err != nil {
			t.Error(err)
		}
		if v := d.View().Verdict; v == nil || v.Piece != "A-1/1" || v.Readings != 3 {
			t.Errorf("%+v", v)
		}
		if err := trial.End("velvet"); err == nil {
			t.Error("a wall that there is not")
		}
	})
}

// TestTrialRetracts: fully retracting the ring takes its time and is no stroke.
func TestTrialRetracts(t *testing.T) {
	tried(t, func(t *testing.T, ctx context.Context, trial *Trial, d *desk) {
		start(d, "A-1", "hs-08", 120)
		began := time.Now()
		if err := trial.Retract(ctx); err != nil {
			t.Fatal(err)
		}
		if took := time.Since(began); took < 2*retreat {
			t.Errorf("it took %s", took)
		}
		if o := d.View().Order; o.Pieces != 0 {
			t.Errorf("%d pieces", o.Pieces)
		}
	})
}
