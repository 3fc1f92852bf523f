package rehearsal

import (
	"context"
	"math/rand/v2"
	"slices"
	"time"

	"benchtally/agent/crimp"
	"benchtally/agent/record"
	"benchtally/agent/station"
)

// Bench is the agent as the technician has it: buttons to push and a screen.
type Bench interface {
	// Act does what the technician did; the time is the agent's to say. It
	// returns when that is kept, or refused. An error ends the shift.
	Act(ctx context.Context, a station.Action) error
	// View is what the screen shows now.
	View() station.View
}

// Gauge is the caliper in the technician's hand; see [Caliper] for what its
// methods do.
type Gauge interface {
	Send(ctx context.Context, values ...crimp.Length) error
	Unit(u crimp.Unit)
	Unplug()
	Plug() error
}

// Plant is the broker, which others switch off and on; see [Broker].
type Plant interface {
	Stop() error
	Start() error
}

// How long people look, in the shop's time and on the wall.
const (
	glance       = 250 * time.Millisecond // between two looks at the screen
	patience     = 20 * time.Second       // until something that does not show is done again
	wallPatience = 2 * time.Second        // for the machine beneath, whatever the speed
	tries        = 3                      // of everything, before it is let be
)

// technician works at the press: closes it, measures, follows the screen.
type technician struct {
	bench Bench
	clock *Clock
	press *Press
	gauge Gauge
	plant Plant
	say   func(string)

	metal *metal
	rnd   *rand.Rand // how long things take
	fate  *rand.Rand // what goes wrong
	pace  float64    // 1 is brisk; larger is slower

	errands []errand       // what happens in the shop meanwhile, the next one first
	learned map[string]int // by cage, counts that its setting differs from the sheet's
	cage    string         // whose strokes were counted
	counted int            // strokes of that cage on the screen, as the technician knows them
	slip    int            // counts that the dial has slipped without anybody knowing
	orders  int            // begun so far
}

// errand is something that happens beside the work.
type errand struct {
	at time.Time
	do func() error
}

// later lets something happen after a while.
func (t *technician) later(d time.Duration, do func() error) {
	t.errands = append(t.errands, errand{t.clock.Now().Add(d), do})
	slices.SortStableFunc(t.errands, func(a, b errand) int { return a.at.Compare(b.at) })
}

// pause takes about d at a brisk pace. Errands happen meanwhile.
func (t *technician) pause(ctx context.Context, d time.Duration) error {
	end := t.clock.Now().Add(time.Duration(float64(d) * t.pace * (0.8 + 0.4*t.rnd.Float64())))
	for len(t.errands) > 0 && !t.errands[0].at.After(end) {
		next := t.errands[0]
		t.errands = t.errands[1:]
		if err := t.clock.Sleep(ctx, next.at.Sub(t.clock.Now())); err != nil {
			return err
		}
		if err := next.do(); err != nil {
			return err
		}
	}
	return t.clock.Sleep(ctx, end.Sub(t.clock.Now()))
}

// see looks at the screen until it shows something, or patience is lost.
func (t *technician) see(ctx context.Context, shown func(station.View) bool) (bool, error) {
	end := t.clock.Now().Add(max(patience, t.clock.shop(wallPatience)))
	for !shown(t.bench.View()) {
		if !t.clock.Now().Before(end) {
			return false, nil
		}
		if err := t.clock.Sleep(ctx, glance); err != nil {
			return false, err
		}
	}
	return true, nil
}

// act pushes a button and waits until the screen has taken it.
func (t *technician) act(ctx context.Context, a station.Action) error {
	before := t.bench.View().Seq
	if err := t.bench.Act(ctx, a); err != nil {
		return err
	}
	_, err := t.see(ctx, func(v station.View) bool { return v.Seq > before })
	return err
}

// dial turns the dial and tells so.
func (t *technician) dial(ctx context.Context, setting int) error {
	if err := t.pause(ctx, 3*time.Second); err != nil {
		return err
	}
	return t.act(ctx, station.Action{Do: station.DoSet, Setting: record.Ptr(setting)})
}

// zero closes the caliper's jaws and sends what it shows.
func (t *technician) zero(ctx context.Context) error {
	if err := t.pause(ctx, 3*time.Second); err != nil {
		return err
	}
	var before time.Time
	if z := t.bench.View().Zero; z != nil {
		before = z.At
	}
	for range tries {
		if err := t.gauge.Send(ctx, 0); err != nil {
			return err
		}
		if ok, err := t.see(ctx, func(v station.View) bool { return v.Zero != nil && !v.Zero.At.Equal(before) }); ok || err != nil {
			return err
		}
	}
	return nil
}

// care does what the screen says is due at the loaded cage.
func (t *technician) care(ctx context.Context) error {
	v := t.bench.View()
	for _, c := range v.Care {
		if !c.Due {
			continue
		}
		t.say("The technician stops to look after die cage " + v.Cage + ".")
		if err := t.pause(ctx, 30*time.Second); err != nil {
			return err
		}
		t.metal.grease(v.Cage)
		if err := t.act(ctx, station.Action{Do: station.DoCare, Cage: v.Cage, Work: c.Work, Operator: operator}); err != nil {
			return err
		}
	}
	return nil
}

// operator is the technician's sign.
const operator = "kj"

// strokes are those that the screen shows of the loaded cage; only a tear-down
// begins them anew.
func strokes(v station.View) int {
	for _, c := range v.Care {
		if c.Work == crimp.Teardown {
			return c.Strokes
		}
	}
	return 0
}

// dialled is the setting that the screen shows, or the sheet's.
func dialled(v station.View, s crimp.Spec) int {
	if v.Setting != nil {
		return *v.Setting
	}
	return s.Setting
}
