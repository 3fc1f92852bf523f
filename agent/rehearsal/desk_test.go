package rehearsal

import (
	"context"
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
	blind   func() bool  // the next stroke is lost; nil: none is
	actErr  func() error // of the next action
	plugErr error
	slow    time.Duration // that the agent takes to keep something, on the wall
}

func newDesk(t *testing.T, c *Clock) *desk {
	t.Helper()
	s, err := station.Open(&station.Memory{}, station.Rules{
		Scale: crimp.Scale{Step: crimp.Thousandth, Highest: 999}, Model: crimp.Model{Noise: float64(crimp.Thousandth)},
		Places: 3, Every: 1, Gauge: crimp.Gauge{Limit: 20 * crimp.Micrometre, Zero: crimp.Zero{Allowed: crimp.Thousandth / 2}},
		Intervals: crimp.Intervals{Lubricate: 50, Teardown: 1000, Months: 6}, Specs: Specs(),
	})
	if err != nil {
		t.Fatal(err)
	}
	return &desk{clock: c, station: s, in: true, unit: crimp.Inches}
}

func (d *desk) do(in ...station.Input) {
	time.Sleep(d.slow)
	d.mu.Lock()
	defer d.mu.Unlock()
	rs, err := d.station.Do(in...)
	if err != nil {
		panic(err)
	}
	d.kept = append(d.kept, rs...)
}

// hear takes what the switch makes.
func (d *desk) hear(in station.Input) {
	if _, ok := in.(station.Stroke); ok && d.blind != nil && d.blind() {
		return
	}
	d.do(in)
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
		reader.Go(func() { follow(ctx, p, time.Millisecond, k.hear) })
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
			record.Reading, record.Zero, record.Undo, record.Dry, record.Same, record.Operator, record.Turn,
			record.Lot, record.Check, record.Proof, record.Scrap, record.Standard:
		}
		if _, ok := m[name]; !ok {
			m[name] = r.At.Sub(morning)
		}
	}
	return m
}
