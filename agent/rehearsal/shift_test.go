package rehearsal

import (
	"context"
	"errors"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"benchtally/agent/crimp"
	"benchtally/agent/record"
	"benchtally/agent/station"
)

// desk is a station in memory with the technician before it and the simulated
// devices behind it.
type desk struct {
	clock *Clock

	mu      sync.Mutex
	station *station.Station
	kept    []record.Record
	said    []string
	in      bool         // the caliper's cable
	unit    crimp.Unit   // of the caliper
	down    *time.Timer  // until the broker's absence is a fault
	deaf    func() bool  // the next frame is lost; nil: none is
	actErr  func() error // of the next action
	plugErr error
}

func newDesk(t *testing.T, c *Clock) *desk {
	t.Helper()
	s, err := station.Open(&station.Memory{}, station.Rules{
		Scale: crimp.Scale{Step: crimp.Thousandth, Highest: 999}, Model: crimp.Model{Noise: float64(crimp.Thousandth)},
		Places: 3, Every: 1, Limit: 20 * crimp.Micrometre, Zero: crimp.Thousandth / 2,
		Intervals: crimp.Intervals{Lubricate: 50, Teardown: 1000, Months: 6}, Specs: Specs(),
	})
	if err != nil {
		t.Fatal(err)
	}
	return &desk{clock: c, station: s, in: true, unit: crimp.Inches}
}

func (d *desk) do(in ...station.Input) {
	d.mu.Lock()
	defer d.mu.Unlock()
	rs, err := d.station.Do(in...)
	if err != nil {
		panic(err)
	}
	d.kept = append(d.kept, rs...)
}

func (d *desk) say(s string) {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.said = append(d.said, s)
}

func (d *desk) Act(_ context.Context, a station.Action) error {
	if d.actErr != nil {
		if err := d.actErr(); err != nil {
			return err
		}
	}
	a.At = d.clock.Now()
	d.do(a)
	return nil
}

func (d *desk) View() station.View {
	d.mu.Lock()
	defer d.mu.Unlock()
	return d.station.View()
}

func (d *desk) Send(ctx context.Context, values ...crimp.Length) error {
	if err := sleep(ctx, 10*time.Millisecond); err != nil {
		return err
	}
	if !d.in || d.deaf != nil && d.deaf() {
		return nil
	}
	for i, v := range values {
		raw := strings.TrimSpace(line(v, d.unit))
		got, err := crimp.ParseDecimal(raw, crimp.Inches)
		if err != nil {
			panic(err)
		}
		if i > 0 {
			d.do(station.Refusal{At: d.clock.Now(), Source: record.Caliper, Reason: "sent twice", Raw: raw})
			continue
		}
		d.do(station.Reading{At: d.clock.Now(), Value: got, Step: inchStep, Raw: raw})
	}
	return nil
}

func (d *desk) Unit(u crimp.Unit) { d.unit = u }

func (d *desk) Unplug() {
	d.in = false
	d.do(station.Fault{At: d.clock.Now(), Source: record.Caliper, On: true, Reason: "gone"})
}

func (d *desk) Plug() error {
	time.AfterFunc(1500*time.Millisecond, func() {
		d.do(station.Fault{At: d.clock.Now(), Source: record.Caliper, Reason: "back"})
	})
	d.in = true
	return d.plugErr
}

func (d *desk) Stop() error {
	d.down = time.AfterFunc(5*time.Second, func() {
		d.do(station.Fault{At: d.clock.Now(), Source: record.Broker, On: true, Reason: "refused"})
	})
	return nil
}

func (d *desk) Start() error {
	if d.down != nil && !d.down.Stop() {
		d.do(station.Fault{At: d.clock.Now(), Source: record.Broker, Reason: "connected again"})
	}
	d.down = nil
	return nil
}

// shift runs a shift for so long in the shop and returns the desk afterwards.
func shift(t *testing.T, speed float64, d time.Duration, prepare func(*desk)) (*desk, error) {
	t.Helper()
	var k *desk
	var err error
	synctest.Test(t, func(t *testing.T) {
		c := NewClock(morning, speed)
		k = newDesk(t, c)
		if prepare != nil {
			prepare(k)
		}
		p := NewPress(c, 1)
		ctx, cancel := context.WithTimeout(t.Context(), c.real(d))
		defer cancel()
		var reader sync.WaitGroup
		reader.Go(func() { follow(ctx, p, time.Millisecond, func(in station.Input) { k.do(in) }) })
		err = Shift(ctx, k, c, p, k, k, k.say)
		cancel()
		reader.Wait()
		_ = k.Start()
		time.Sleep(time.Minute)
	})
	return k, err
}

// happened says when things happened for the first time, by a short name.
func happened(rs []record.Record) map[string]time.Duration {
	m := map[string]time.Duration{}
	for _, r := range rs {
		name := string(r.Kind)
		switch r.Kind {
		case record.Verdict:
			name += " " + string(r.Outcome)
		case record.Correction:
			if *r.Change == 0 {
				continue
			}
			name += " " + r.For
		case record.Care:
			name += " " + string(r.Work) + " " + r.State
		case record.Fault:
			name += " " + string(r.Source) + " " + r.State
		case record.Refused:
			name += " " + string(r.Source)
			if strings.Contains(r.Reason, "25.4 times too large") {
				name += " unit"
			}
		case record.Stroke:
			if r.Crimp > 1 {
				name += " again"
			}
		case record.Start, record.Finish, record.Set, record.Load, record.Retract, record.Measure,
			record.Reading, record.Zero, record.Undo, record.Dry, record.Same:
		}
		if _, ok := m[name]; !ok {
			m[name] = r.At.Sub(morning)
		}
	}
	return m
}

func TestEverythingHappensInTheMorning(t *testing.T) {
	k, err := shift(t, 60, 22*time.Minute, nil)
	if err != nil {
		t.Fatal(err)
	}
	got := happened(k.kept)
	for _, want := range []string{
		"zero", "load", "retract", "start", "set", "finish", "measure",
		"stroke", "stroke again", "reading", "undo", "dry", "same",
		"verdict pass", "verdict recrimp", "verdict scrap", "verdict unsure",
		"correction next", "correction recrimp", "care lubricate due", "care lubricate done",
		"fault switch on", "fault switch off", "fault caliper on", "fault caliper off", "fault broker on", "fault broker off",
		"refused caliper", "refused caliper unit",
	} {
		at, ok := got[want]
		t.Logf("%8s %s", at.Round(time.Second), want)
		if !ok {
			t.Errorf("no %s within 22 minutes", want)
		}
		if at > 18*time.Minute {
			t.Errorf("%s only at %s: a slow machine may need minutes more", want, at)
		}
	}
	if _, ok := got["refused action"]; ok {
		t.Error("an action was refused")
	}
	t.Logf("%s", strings.Join(k.said, "\n"))
}

func TestFirstPieceIsThirtyFiveTooLarge(t *testing.T) {
	k, err := shift(t, 60, 3*time.Minute, nil)
	if err != nil {
		t.Fatal(err)
	}
	for _, r := range k.kept {
		if r.Kind != record.Correction {
			continue
		}
		if r.For != record.ForRecrimp || r.Piece != "A-1001/1" || *r.Setting < 82 || *r.Setting > 88 {
			t.Errorf("the first advice is %s %s, setting %d; want one for crimping A-1001/1 again near 085", r.For, r.Piece, *r.Setting)
		}
		return
	}
	t.Error("no advice")
}

func TestWholeShift(t *testing.T) {
	k, err := shift(t, 60, 10*time.Hour, nil)
	if err != nil {
		t.Fatal(err)
	}
	outcomes := map[crimp.Outcome]int{}
	orders, crimps := map[string]bool{}, 0
	var last time.Time
	for _, r := range k.kept {
		last = r.At
		switch r.Kind {
		case record.Verdict:
			if r.Mean != nil {
				outcomes[r.Outcome]++
			}
		case record.Start:
			orders[r.Order] = true
		case record.Stroke:
			crimps++
		case record.Refused:
			if r.Source == record.Action {
				t.Errorf("refused: %s %s", r.Reason, r.Raw)
			}
		case record.Fault, record.Finish, record.Set, record.Load, record.Retract, record.Measure, record.Reading,
			record.Correction, record.Care, record.Zero, record.Undo, record.Dry, record.Same:
		}
	}
	t.Logf("%d records, %d strokes, %d orders, %v", len(k.kept), crimps, len(orders), outcomes)
	t.Logf("%s", strings.Join(k.said, "\n"))
	n := outcomes[crimp.Pass] + outcomes[crimp.Recrimp] + outcomes[crimp.Scrap]
	if rate := float64(outcomes[crimp.Pass]) / float64(n); rate < 0.88 || rate > 0.99 {
		t.Errorf("%v: a rate of %.3f within limits, want 0.88 to 0.99", outcomes, rate)
	}
	if crimps < 300 || crimps > 900 || len(orders) < 20 {
		t.Errorf("%d strokes in %d orders: not what a shift is like", crimps, len(orders))
	}
	if end := last.Sub(morning); end < 8*time.Hour || end > 8*time.Hour+30*time.Minute {
		t.Errorf("it ended after %s", end)
	}
	v := k.View()
	if v.Order != nil || len(v.Faults) != 0 {
		t.Errorf("it ended with order %v and faults %v", v.Order, v.Faults)
	}
	if said := k.said[len(k.said)-1]; said != "The shift is over." {
		t.Errorf("the last word was %q", said)
	}
}
