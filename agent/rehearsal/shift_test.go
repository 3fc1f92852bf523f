package rehearsal

import (
	"context"
	"errors"
	"math/rand/v2"
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
		Places: 3, Every: 1, Limit: 20 * crimp.Micrometre, Zero: crimp.Thousandth / 2,
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
			record.Reading, record.Zero, record.Undo, record.Dry, record.Same:
		}
		if _, ok := m[name]; !ok {
			m[name] = r.At.Sub(morning)
		}
	}
	return m
}

func TestEverythingHappensInTheMorning(t *testing.T) {
	for _, tt := range []struct {
		name  string
		speed float64
		slow  time.Duration
		by    time.Duration
	}{
		{"a minute a second", 60, 0, 17 * time.Minute},
		{"a minute a second on a slow card", 60, 25 * time.Millisecond, 22 * time.Minute},
		{"in real time", 1, 10 * time.Millisecond, 17 * time.Minute},
		{"as fast as it goes", Fastest, 10 * time.Millisecond, 35 * time.Minute},
	} {
		t.Run(tt.name, func(t *testing.T) {
			k, err := shift(t, tt.speed, 40*time.Minute, func(k *desk) { k.slow = tt.slow })
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
				if !ok || at > tt.by {
					t.Errorf("%s at %s (%t), want it within %s", want, at.Round(time.Second), ok, tt.by)
				}
			}
			t.Logf("all by %s", got["care lubricate done"])
			if _, ok := got["refused action"]; ok {
				t.Error("an action was refused")
			}
		})
	}
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
	if end := last.Sub(morning); end < 8*time.Hour-2*time.Minute || end > 8*time.Hour+30*time.Minute {
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

func TestShiftEndsWithTrouble(t *testing.T) {
	gone := errors.New("the agent is stopping")
	for _, tt := range []struct {
		name    string
		prepare func(*desk)
		want    error
	}{
		{"the agent stops", func(k *desk) {
			n := 0
			k.actErr = func() error {
				if n++; n == 10 {
					return gone
				}
				return nil
			}
		}, gone},
		{"no port can be made", func(k *desk) { k.plugErr = gone }, gone},
		{"it is over before", nil, nil},
	} {
		t.Run(tt.name, func(t *testing.T) {
			if _, err := shift(t, 60, 20*time.Minute, tt.prepare); !errors.Is(err, tt.want) {
				t.Errorf("error %v, want %v", err, tt.want)
			}
		})
	}
}

// every is true each nth time.
func every(n int) func() bool {
	i := 0
	return func() bool { i++; return i%n == 0 }
}

// told is how often something was said.
func (d *desk) told(s string) (n int) {
	for _, said := range d.said {
		if strings.Contains(said, s) {
			n++
		}
	}
	return n
}

func TestWhatDoesNotShowIsDoneAgain(t *testing.T) {
	k, err := shift(t, 60, time.Hour, func(k *desk) { k.deaf, k.blind = every(6), every(9) })
	if err != nil {
		t.Fatal(err)
	}
	if n := k.told("measures once more"); n < 10 {
		t.Errorf("measured once more %d times, want 10", n)
	}
	if n := k.told("closes the ring once more"); n < 5 {
		t.Errorf("closed the ring once more %d times, want 5", n)
	}
	judged := map[string]crimp.Outcome{}
	for _, r := range k.kept {
		if r.Kind == record.Verdict {
			judged[r.Piece] = r.Outcome
		}
	}
	for piece, outcome := range judged {
		if outcome == crimp.Unsure {
			t.Errorf("piece %s was not measured", piece)
		}
	}
	if _, ok := happened(k.kept)["refused action"]; ok {
		t.Error("an action was refused")
	}
}

func TestStrokesThatWereNoneAreTakenOff(t *testing.T) {
	ghosts := 0
	k, err := shift(t, 60, 10*time.Minute, func(k *desk) {
		for at := 45 * time.Second; at < 5*time.Minute; at += 45 * time.Second {
			time.AfterFunc(k.clock.real(at), func() {
				ghosts++
				k.do(station.Stroke{At: k.clock.Now(), Held: time.Second})
			})
		}
	})
	if err != nil {
		t.Fatal(err)
	}
	if n := k.told("a stroke that was none"); n < ghosts-1 || ghosts != 6 {
		t.Errorf("%d of %d strokes were taken off", n, ghosts)
	}
}

// Who tries the demonstration pushes the buttons too.
func TestSomebodyElsePushesButtons(t *testing.T) {
	for seed := range uint64(4) {
		k, err := shift(t, 60, 3*time.Hour, func(k *desk) {
			rnd := rand.New(rand.NewPCG(seed, 9))
			var meddle func()
			meddle = func() {
				if k.clock.Now().Sub(morning) > 3*time.Hour {
					return
				}
				cages, specs := []string{"C-21", "C-16", "C-30", "C-99"}, Specs()
				a := station.Action{
					At: k.clock.Now(), Do: station.Dos()[rnd.IntN(len(station.Dos()))], Cage: cages[rnd.IntN(4)],
					Spec: specs[rnd.IntN(5)].ID, Order: "B-1", Setting: record.Ptr(rnd.IntN(999)),
					Work: crimp.Works()[rnd.IntN(3)], Piece: "A-1004/2",
				}
				k.do(a)
				time.AfterFunc(k.clock.real(time.Duration(20+rnd.IntN(60))*time.Second), meddle)
			}
			time.AfterFunc(time.Second, meddle)
		})
		if err != nil {
			t.Fatal(err)
		}
		strokes := 0
		for _, r := range k.kept {
			if r.Kind == record.Stroke && r.At.Sub(morning) > 2*time.Hour {
				strokes++
			}
		}
		if strokes < 15 {
			t.Errorf("seed %d: %d strokes in the last hour: the work has stopped", seed, strokes)
		}
	}
}
