package rehearsal

import (
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"sync"
	"time"

	"benchtally/agent/crimp"
)

// Wall is how thick the wall of a hose is, as far as a technician can tell.
type Wall string

// The walls that there are.
const (
	UsualWall Wall = "usual"
	ThickWall Wall = "thick" // comes out large
	ThinWall  Wall = "thin"  // comes out small
)

// Trial is the simulated press and caliper in the hands of a person: what the
// technician does in a shift, a person does here one by one. Its methods may be
// called by many; they take turns.
type Trial struct {
	bench Bench
	press *Press
	gauge Gauge

	turn     sync.Mutex
	metal    *metal
	end      *fitting  // in the ring
	place    int       // that is measured next
	seen     time.Time // when the latest reading was seen
	unplug   bool
	cageSeen string
}

// NewTrial puts a first hose end into the ring.
func NewTrial(b Bench, p *Press, g Gauge) *Trial {
	t := &Trial{bench: b, press: p, gauge: g, metal: newMetal(rand.New(rand.NewPCG(20260302, 9)))} //nolint:gosec // a shop's luck hides nothing
	t.end = t.metal.fitting()
	return t
}

// Why nothing came of what a person did.
var (
	errUnplugged = errors.New("the caliper's cable is out: plug it in first")
	errNoStroke  = errors.New("the stroke does not show on the page: close the press again")
	errNoReading = errors.New("the reading does not show on the page: measure again")
)

// trialGlance is how often a person looks whether the page has changed, on the wall.
const trialGlance = 20 * time.Millisecond

// shown waits until the bench has made more records than it had before, and says
// unseen if it makes none.
func (t *Trial) shown(ctx context.Context, before uint64, unseen error) error {
	for end := time.Now().Add(wallPatience); t.bench.View().Seq == before; {
		if time.Now().After(end) {
			return unseen
		}
		if err := sleep(ctx, trialGlance); err != nil {
			return err
		}
	}
	return nil
}

// Close closes the ring on what is in it, by the setting that the bench was told,
// opens it again, and waits until the stroke shows.
func (t *Trial) Close(ctx context.Context) error {
	t.turn.Lock()
	defer t.turn.Unlock()
	v := t.bench.View()
	if o := v.Order; o != nil {
		if v.Cage != t.cageSeen {
			t.cageSeen = v.Cage
			t.metal.load(o.Spec.Cage)
		}
		if o.Again == "" && o.Missing == 0 && t.end.size != 0 { // it was judged, and the next stroke is of the next one
			t.end = t.metal.fitting()
		}
		t.metal.close(t.end, o.Spec, dialled(v, o.Spec))
	}
	t.place = 0
	if err := t.press.Crimp(ctx, 900*time.Millisecond); err != nil {
		return err
	}
	return t.shown(ctx, v.Seq, errNoStroke)
}

// Measure sends the next reading of what was crimped, or with all those that the
// bench still wants.
func (t *Trial) Measure(ctx context.Context, all bool) error {
	t.turn.Lock()
	defer t.turn.Unlock()
	switch {
	case t.unplug:
		return errUnplugged
	case t.end.size == 0:
		return errors.New("nothing in the ring is crimped yet: close the press first")
	}
	n := 1
	if o := t.bench.View().Order; all && o != nil && o.Missing > 1 {
		n = o.Missing
	}
	for range n {
		if err := t.send(ctx, t.end.diameter(t.place)); err != nil {
			return err
		}
		t.place++
	}
	return nil
}

// turnTime is what turning the caliper to the next place takes at least: what
// comes sooner is taken for the same push of its button.
const turnTime = 400 * time.Millisecond

// send sends one value, not sooner after the one before was seen than a hand
// could, and waits until it shows.
func (t *Trial) send(ctx context.Context, value crimp.Length) error {
	if err := sleep(ctx, turnTime-time.Since(t.seen)); err != nil {
		return err
	}
	before := t.bench.View().Seq
	err := t.gauge.Send(ctx, value)
	if err == nil {
		err = t.shown(ctx, before, errNoReading)
	}
	t.seen = time.Now()
	return err
}

// Show sends one value as it is: of closed jaws, 0, or of the gauge ring.
func (t *Trial) Show(ctx context.Context, value crimp.Length) error {
	t.turn.Lock()
	defer t.turn.Unlock()
	if t.unplug {
		return errUnplugged
	}
	return t.send(ctx, value)
}

// End puts another hose end into the ring.
func (t *Trial) End(w Wall) error {
	t.turn.Lock()
	defer t.turn.Unlock()
	next := t.metal.fitting()
	switch w {
	case UsualWall:
	case ThickWall:
		next.thick = tooMuch
	case ThinWall:
		next.thick = -2 * tooMuch
	default:
		return fmt.Errorf("wall %q: want usual, thick or thin", w)
	}
	t.end, t.place = next, 0
	return nil
}

// Retract opens the ring fully, as for a change of the cage.
func (t *Trial) Retract(ctx context.Context) error {
	t.turn.Lock()
	defer t.turn.Unlock()
	return t.press.Retract(ctx, time.Second)
}

// Plug plugs the caliper's cable in, or pulls it.
func (t *Trial) Plug(in bool) error {
	t.turn.Lock()
	defer t.turn.Unlock()
	t.unplug = !in
	if !in {
		t.gauge.Unplug()
		return nil
	}
	return t.gauge.Plug()
}
