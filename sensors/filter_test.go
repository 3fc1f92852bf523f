package sensors

import (
	"math/rand/v2"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
)

const ms = time.Millisecond

// A bench makes rows for a filter, one switch at a time.
type bench struct {
	rng    *rand.Rand
	change bool // a changeover switch
	at     time.Time
	rows   []row
}

func newBench(seed uint64, changeover bool) *bench {
	b := &bench{rng: rand.New(rand.NewPCG(seed, 1)), change: changeover, at: day}
	b.level(false)
	return b
}

func (b *bench) settings() Settings {
	s := usual
	if b.change {
		s.Changeover, s.Settle = true, 5*ms
	}
	return s
}

// level is the limit switch at one of its ends from now on.
func (b *bench) level(up bool) {
	b.rows = append(b.rows, row{at: b.at, levels: Levels{Up: up, Rest: b.change && !up}})
}

func (b *bench) pass(d time.Duration) { b.at = b.at.Add(d) }

// between is a time from lo up to hi.
func (b *bench) between(lo, hi time.Duration) time.Duration {
	return lo + time.Duration(b.rng.Int64N(int64(hi-lo)))
}

// move brings the switch to up with up to n edges of bounce in total time d, of
// a changeover switch against open.
func (b *bench) move(up bool, n int, d time.Duration) {
	if b.change {
		b.rows = append(b.rows, row{at: b.at})
		b.pass(b.between(ms, 10*ms))
	}
	at := b.at
	cuts := make([]time.Duration, n)
	for i := range cuts {
		cuts[i] = d * time.Duration(i+1) / time.Duration(n+1)
	}
	for i, cut := range cuts {
		b.at = at.Add(cut)
		if b.change && i%2 == 1 {
			b.rows = append(b.rows, row{at: b.at})
		} else {
			b.level(up == (i%2 == 0))
		}
	}
	b.at = at.Add(d)
	b.level(up)
}

// cycles are n strokes with bounce, held for shortest or longer; it returns when
// each began and ended.
func (b *bench) cycles(n int, shortest time.Duration) (began, ended []time.Time) {
	for range n {
		b.pass(b.between(900*ms, 20*time.Second))
		began = append(began, b.at)
		b.move(true, b.rng.IntN(41), b.between(0, 15*ms))
		b.pass(b.between(shortest, 9*time.Second))
		ended = append(ended, b.at)
		b.move(false, b.rng.IntN(41), b.between(0, 15*ms))
	}
	b.pass(time.Second)
	b.level(false)
	return began, ended
}

func strokes(es []Event) (ss []Event) {
	for _, e := range es {
		if e.Kind == Stroke {
			ss = append(ss, e)
		}
	}
	return ss
}

func TestCleanCyclesUnderBounceCountExactly(t *testing.T) {
	for seed := range uint64(300) {
		b := newBench(seed, seed%2 == 1)
		began, ended := b.cycles(20, 200*ms)
		got := events(NewFilter(b.settings()), b.rows)
		if len(got) != len(began) {
			t.Fatalf("seed %d: %d events, want %d strokes\n%s", seed, len(got), len(began), text(got))
		}
		for i, e := range got {
			// The bench lets a lever fly for up to 10 ms and bounce for up to 15 ms.
			near := func(d time.Duration) bool { return d >= -25*ms && d <= 25*ms }
			if e.Kind != Stroke || !near(e.At.Sub(began[i])) || !near(e.Held-ended[i].Sub(began[i])) {
				t.Fatalf("seed %d: event %d is %+v, want a stroke at %v held %v", seed, i, e, began[i], ended[i].Sub(began[i]))
			}
		}
	}
}

func TestBounceOfASingleContactDoesNotMoveTheTimes(t *testing.T) {
	for seed := range uint64(200) {
		b := newBench(seed, false)
		began, ended := b.cycles(10, 200*ms)
		got := events(NewFilter(usual), b.rows)
		if len(got) != len(began) {
			t.Fatalf("seed %d: %d events, want %d", seed, len(got), len(began))
		}
		for i, e := range got {
			want := Event{Kind: Stroke, At: began[i], Held: ended[i].Sub(began[i])}
			// With no edge of bounce, the bench's level comes at the end of the bounce.
			if d := e.At.Sub(want.At); d < 0 || d >= 15*ms {
				t.Fatalf("seed %d: stroke %d at %v, want %v", seed, i, e.At, want.At)
			}
			if d := e.Held - want.Held; d <= -15*ms || d >= 15*ms {
				t.Fatalf("seed %d: stroke %d held %v, want %v", seed, i, e.Held, want.Held)
			}
		}
	}
}

func TestPulsesShorterThanSettleCountNothing(t *testing.T) {
	for seed := range uint64(300) {
		b := newBench(seed, false)
		for range 200 {
			b.pass(b.between(usual.Settle, time.Second))
			b.level(true)
			b.pass(b.between(0, usual.Settle))
			b.level(false)
		}
		b.pass(time.Second)
		b.level(false)
		if got := events(NewFilter(usual), b.rows); len(got) != 0 {
			t.Fatalf("seed %d: %s", seed, text(got))
		}
	}
}

// sampled are the rows that are left when wake-ups are lost: the levels as they
// are whenever one of the given times comes.
func sampled(rows []row, times []time.Time) []row {
	var out []row
	i := 0
	for _, at := range times {
		for i+1 < len(rows) && !rows[i+1].at.After(at) {
			i++
		}
		out = append(out, row{at: at, levels: rows[i].levels})
	}
	return out
}

// However many wake-ups are lost, the count is the same as long as the contact
// is read in each closure with Shortest still to go.
func TestLostWakeUpsDoNotMiscount(t *testing.T) {
	for seed := range uint64(300) {
		b := newBench(seed, seed%2 == 1)
		began, _ := b.cycles(20, 190*ms+usual.Shortest+15*ms)
		var times []time.Time
		next := day
		for _, r := range b.rows {
			for next.Before(r.at) { // the idle poll
				times = append(times, next)
				next = next.Add(b.between(150*ms, 190*ms))
			}
			if b.rng.IntN(3) == 0 { // two wake-ups of three are lost
				times = append(times, r.at)
				next = r.at.Add(b.between(ms, 20*ms))
			}
		}
		times = append(times, next, next.Add(time.Second))
		got := events(NewFilter(b.settings()), sampled(b.rows, times))
		if n := len(strokes(got)); n != len(began) || len(got) != n {
			t.Fatalf("seed %d: %d strokes, want %d\n%s", seed, n, len(began), text(got))
		}
	}
}

func TestRestartWhileHeldCountsNothingTwice(t *testing.T) {
	for seed := range uint64(100) {
		b := newBench(seed, seed%2 == 1)
		began, _ := b.cycles(5, 200*ms)
		// The power goes off and on in the third closure, 100 ms after it began.
		cut := began[2].Add(100 * ms)
		var before, after []row
		for _, r := range b.rows {
			if r.at.Before(cut) {
				before = append(before, r)
			} else {
				after = append(after, r)
			}
		}
		after = append([]row{{at: cut, levels: Levels{Up: true}}}, after...)
		got := append(strokes(events(NewFilter(b.settings()), before)), events(NewFilter(b.settings()), after)...)
		if len(got) != 4 {
			t.Fatalf("seed %d: %d strokes, want 4: the one that was cut is not counted\n%s", seed, len(got), text(got))
		}
	}
}

func TestWait(t *testing.T) {
	at := func(d time.Duration) time.Time { return day.Add(d) }
	up, rest := Levels{Up: true}, Levels{}
	for _, tc := range []struct {
		name string
		rows []row
		ask  time.Duration
		want time.Duration
	}{
		{"before the first level", nil, 0, 250 * ms},
		{"a level just read", []row{{at: at(0), levels: rest}}, 0, 20 * ms},
		{"half settled", []row{{at: at(0), levels: rest}}, 12 * ms, 8 * ms},
		{"due in less than the shortest wait", []row{{at: at(0), levels: rest}}, 19*ms + 900*time.Microsecond, ms},
		{"overdue", []row{{at: at(0), levels: rest}}, time.Second, ms},
		{"settled", []row{{at: at(0), levels: rest}, {at: at(20 * ms), levels: rest}}, 20 * ms, 250 * ms},
		{"just before the tenth second", []row{{at: at(0), levels: rest}, {at: at(time.Second), levels: up}, {at: at(10900 * ms), levels: up}}, 10900 * ms, 100 * ms},
		{"clock set back", []row{{at: at(time.Hour), levels: rest}}, 0, 20 * ms},
		{"clock set far ahead", []row{{at: at(0), levels: rest}}, 290 * 365 * 24 * time.Hour, ms},
	} {
		f := NewFilter(usual)
		events(f, tc.rows)
		if got := f.Wait(at(tc.ask)); got != tc.want {
			t.Errorf("%s: wait %v, want %v", tc.name, got, tc.want)
		}
	}
}

func TestBrokenWireIsNotPolledFaster(t *testing.T) {
	f := NewFilter(Settings{Settle: 5 * ms, Changeover: true})
	f.Step(Levels{}, day)
	f.Step(Levels{}, day.Add(100*ms))
	if got := f.Wait(day.Add(100 * ms)); got != busyPoll {
		t.Errorf("in flight: wait %v, want %v", got, busyPoll)
	}
	f.Step(Levels{}, day.Add(time.Second))
	if got := f.Wait(day.Add(time.Second)); got != idlePoll {
		t.Errorf("broken: wait %v, want %v", got, idlePoll)
	}
}

// A clock that is set while the agent runs, as when a Pi learns the time after
// it has started, moves the times of what follows and nothing else.
func TestClockSetInAClosure(t *testing.T) {
	f := NewFilterAtRest(usual, day)
	f.Step(Levels{Up: true}, day.Add(time.Second))
	f.Step(Levels{Up: true}, day.Add(2*time.Second))
	day := day.Add(-90 * time.Minute) // set back: no time passes
	f.Step(Levels{Up: true}, day.Add(2*time.Second))
	got := append([]Event(nil), f.Step(Levels{}, day.Add(3*time.Second))...)
	got = append(got, f.Step(Levels{}, day.Add(4*time.Second))...)
	want := []Event{{Kind: Stroke, At: day.Add(time.Second), Held: 2 * time.Second}}
	if d := cmp.Diff(want, got); d != "" {
		t.Error(d)
	}
}

func TestSettings(t *testing.T) {
	for _, tc := range []struct {
		name string
		in   Settings
		want Settings
	}{
		{"only Stuck has a default", Settings{}, Settings{Stuck: 120 * time.Second}},
		{"below 0 is 0", Settings{Settle: -1, Shortest: -1, Cycle: -1, Stuck: -1}, Settings{}},
		{"others as they are", Settings{Settle: 5 * ms, Shortest: 1, Cycle: 2, Stuck: 3, Changeover: true}, Settings{Settle: 5 * ms, Shortest: 1, Cycle: 2, Stuck: 3, Changeover: true}},
	} {
		if got := NewFilter(tc.in).s; got != tc.want {
			t.Errorf("%s: %+v, want %+v", tc.name, got, tc.want)
		}
	}
}

func TestNoSettleNoShortest(t *testing.T) {
	f := NewFilterAtRest(Settings{}, day)
	rows := []row{
		{at: day.Add(1), levels: Levels{Up: true}}, {at: day.Add(3)},
		{at: day.Add(4), levels: Levels{Up: true}}, {at: day.Add(9)},
	}
	want := []Event{
		{Kind: Stroke, At: day.Add(1), Held: 2},
		{Kind: Stroke, At: day.Add(4), Held: 5},
	}
	if d := cmp.Diff(want, events(f, rows)); d != "" {
		t.Error(d)
	}
}

// A closure that was told before it ended is not told again, not even when every
// closure is a stroke of its own.
func TestToldOnceWithoutCycle(t *testing.T) {
	for _, tc := range []struct {
		name string
		rows []row
	}{
		{"claimed", []row{{at: day, levels: Levels{Up: true}}, {at: day.Add(time.Second), do: "claim"}, {at: day.Add(2 * time.Second)}, {at: day.Add(3 * time.Second)}}},
		{"claimed twice", []row{{at: day, levels: Levels{Up: true}}, {at: day.Add(time.Second), do: "claim"}, {at: day.Add(2 * time.Second), do: "claim"}, {at: day.Add(3 * time.Second)}}},
		{"held for long", []row{{at: day, levels: Levels{Up: true}}, {at: day.Add(15 * time.Second)}, {at: day.Add(16 * time.Second)}}},
		{"held for long, then unreadable", []row{{at: day, levels: Levels{Up: true}}, {at: day.Add(15 * time.Second), do: "fail"}, {at: day.Add(16 * time.Second)}}},
	} {
		f := NewFilterAtRest(Settings{Settle: 20 * ms, Shortest: 150 * ms}, day)
		got := strokes(events(f, tc.rows))
		if d := cmp.Diff([]Event{{Kind: Stroke, At: day}}, got); d != "" {
			t.Errorf("%s: %s", tc.name, d)
		}
	}
}

func TestUnmarshalRefuses(t *testing.T) {
	for _, tc := range []struct{ name, in, want string }{
		{"no JSON", `{`, `unexpected end of JSON input`},
		{"an unknown contact", `{"limit":{"contact":"ajar"}}`, `state of the switch: unknown contact "ajar"`},
		{"a changeover's contact", `{"limit":{"contact":"both"}}`, `state of the switch: limit: both is of a changeover switch, and this is none`},
		{"what does not settle", `{"retract":{"contact":"open","settled":"both"}}`, `state of the switch: retract: both does not settle`},
		{"quiet in between", `{"limit":{"contact":"made","settled":"open","quiet":true}}`, `state of the switch: limit: quiet, and yet not settled`},
		{"settled but not read", `{"limit":{"settled":"open"}}`, `state of the switch: limit: settled, and yet not read`},
		{"an edge to come", `{"limit":{"contact":"made","edge_ns":1}}`, `state of the switch: limit: 1 ns is no time that has passed`},
		{"a stroke to come", `{"counted_ns":5}`, `state of the switch: 5 ns is no time that has passed`},
		{"an unknown fault", `{"fault":"hum"}`, `state of the switch: unknown fault "hum"`},
		{"settled in a fault that says it is not", `{"limit":{"contact":"made","settled":"made"},"fault":"wire"}`, `state of the switch: fault wire, and yet the limit switch is settled made`},
		{"stuck open", `{"limit":{"contact":"open","settled":"open"},"fault":"stuck"}`, `state of the switch: fault stuck, and yet the limit switch is not settled made`},
	} {
		f := NewFilterAtRest(usual, day)
		before := f.state
		err := f.UnmarshalJSON([]byte(tc.in))
		if err == nil || !cmp.Equal(err.Error(), tc.want) && tc.name != "no JSON" {
			t.Errorf("%s: %v, want %s", tc.name, err, tc.want)
		}
		if f.state != before {
			t.Errorf("%s: the filter has changed", tc.name)
		}
	}
}

func TestStepDoesNotAllocate(t *testing.T) {
	f := NewFilterAtRest(usual, day)
	at, up := day, false
	if n := testing.AllocsPerRun(2000, func() {
		at, up = at.Add(700*ms), !up
		f.Step(Levels{Up: up}, at)
		f.Wait(at)
	}); n != 0 {
		t.Errorf("%v allocations a step, want 0", n)
	}
}

// While the limit switch changes faster than it is read, no level settles, however
// often it is met; a closure counts if it had lasted before that.
func TestStorm(t *testing.T) {
	quick := usual
	quick.Settle = 2 * ms
	for _, tc := range []struct {
		name   string
		s      Settings
		closed time.Duration // before the storm
		blows  int           // how often it is read then, 5 ms apart
		want   int           // strokes
		faults int           // with their clears
	}{
		{"no closure before it", usual, 0, 600, 0, 2},
		{"a closure that had only just begun", usual, 60 * ms, 600, 0, 2},
		{"and a short storm", usual, 60 * ms, 200, 0, 0},
		{"a closure before it", usual, 300 * ms, 600, 1, 2},
		{"levels that settle at once", quick, 0, 600, 0, 2},
	} {
		f, at, strokes, faults := NewFilterAtRest(tc.s, day), day.Add(time.Second), 0, 0
		step := func(l Levels, d time.Duration) {
			for _, e := range f.Step(l, at) {
				switch e.Kind {
				case Stroke:
					strokes++
				case Fault, Clear:
					faults++
				case Retract:
				}
			}
			at = at.Add(d)
		}
		for d := time.Duration(0); d < tc.closed; d += 5 * ms {
			step(Levels{Up: true}, 5*ms)
		}
		for i := range tc.blows { // met made for most of it
			step(Levels{Up: i < tc.blows-10, Storm: true}, 5*ms)
		}
		for range 100 {
			step(Levels{}, 5*ms)
		}
		if strokes != tc.want || faults != tc.faults {
			t.Errorf("%s: %d strokes, want %d; %d faults and clears, want %d", tc.name, strokes, tc.want, faults, tc.faults)
		}
	}
}
