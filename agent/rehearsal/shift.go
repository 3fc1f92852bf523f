package rehearsal

import (
	"context"
	"errors"
	"math/rand/v2"
	"time"
)

// How a shift goes.
const (
	shiftTime = 8 * time.Hour
	lunchAt   = 4 * time.Hour
	lunch     = 20 * time.Minute
)

// Shift is eight hours at the press of an invented hose shop. It begins with
// whatever can happen at a press, within some twenty minutes of the shop's time,
// and goes on at a human pace. It returns when the shift is over or ctx has
// ended; an error is one of the bench, the plant or the caliper's port.
//
// The technician decides and fumbles the same each time. What shows on the
// bench's screen is followed; what does not show is done again. Say is told in a
// sentence what happens in the shop that records cannot tell.
func Shift(ctx context.Context, b Bench, c *Clock, p *Press, g Gauge, plant Plant, say func(string)) error {
	seeded := func(stream uint64) *rand.Rand {
		return rand.New(rand.NewPCG(20260302, stream)) //nolint:gosec // a shop's luck hides nothing
	}
	t := &technician{
		bench: b, clock: c, press: p, gauge: g, plant: plant, say: say,
		metal: newMetal(seeded(1)), rnd: seeded(2), fate: seeded(3),
		learned: map[string]int{}, pace: 0.75,
	}
	end := c.Now().Add(shiftTime)
	noon := c.Now().Add(lunchAt)
	err := t.morning(ctx)
	for err == nil && c.Now().Before(end) {
		if !noon.IsZero() && c.Now().After(noon) {
			noon = time.Time{}
			err = t.rest(ctx)
			continue
		}
		err = t.work(ctx, end)
	}
	if err == nil {
		err = t.finish(ctx)
	}
	if err == nil {
		t.say("The shift is over.")
		err = plant.Start() // nobody goes home while it is down
	}
	if ctx.Err() != nil && errors.Is(err, ctx.Err()) {
		return nil
	}
	return err
}

// morning lets everything happen that can happen at a press.
func (t *technician) morning(ctx context.Context) error {
	t.say("The shift begins; the technician closes the caliper's jaws to check its zero.")
	if err := t.zero(ctx); err != nil {
		return err
	}
	t.later(90*time.Second, t.outage)
	first := t.order("hs-08", 11, 5*time.Second)
	rush := t.order("hs-09", 3, 3*time.Second)
	many := t.order("hs-09", 36, 2*time.Second)
	t.say("Die cage C-21 is new; nobody knows yet that it crimps large.")
	if err := t.run(ctx, first, none, twice, wrongUnit, burr); err != nil {
		return err
	}
	t.say("A customer waits at the counter: another order comes between.")
	if err := t.run(ctx, rush, none, none, none); err != nil {
		return err
	}
	if err := t.run(ctx, first, stuck, inched, dry, same, undersize, none, none); err != nil {
		return err
	}
	if err := t.finish(ctx); err != nil {
		return err
	}
	if err := t.run(ctx, many, none, none, none, unplugged); err != nil {
		return err
	}
	return t.complete(ctx, many, func() mishap { return none })
}

// work does one order at a human pace, now and then with another that comes
// between.
func (t *technician) work(ctx context.Context, end time.Time) error {
	t.pace = 4
	specs := Specs()
	id := specs[t.fate.IntN(len(specs))].ID
	o := t.order(id, 6+t.fate.IntN(9), 6*time.Second)
	lucky := func() mishap {
		if t.clock.Now().After(end) {
			return home
		}
		return t.luck()
	}
	if t.fate.IntN(6) == 0 {
		if err := t.run(ctx, o, lucky(), lucky()); err != nil {
			return err
		}
		t.say("An urgent order comes between.")
		if err := t.complete(ctx, t.order(id, 2, 6*time.Second), lucky); err != nil {
			return err
		}
	}
	if err := t.complete(ctx, o, lucky); err != nil {
		return err
	}
	return t.pause(ctx, 20*time.Second)
}

// rest is lunch.
func (t *technician) rest(ctx context.Context) error {
	t.say("The technician has lunch.")
	if err := t.clock.Sleep(ctx, lunch); err != nil {
		return err
	}
	return t.zero(ctx)
}
