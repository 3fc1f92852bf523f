package station

import (
	"encoding/json"
	"math/rand/v2"
	"testing"
	"time"

	"benchtally/agent/crimp"
	"benchtally/agent/record"
)

func day(s string) time.Time {
	at, err := time.Parse("2006-01-02 15:04", s)
	if err != nil {
		panic(err)
	}
	return at
}

// event is what happens at a press whose clock may be wrong.
type event struct {
	at    string // by the clock
	clock string // "kept right" or "unset"
	do    string // "load", "stroke", "teardown", "set from N by H" hours
	due   bool   // a tear-down fell due by it
	from  uint64 // of the clock being set
	by    time.Duration
}

const right, unset = "kept right", "unset"

// TestCareByClocks: six months count by the time as it must have been, whatever the
// clock showed when the work was done, and when it was looked at.
func TestCareByClocks(t *testing.T) {
	const hour = time.Hour
	for _, c := range []struct {
		name   string
		events []event
	}{
		{"kept right throughout", []event{
			{at: "2026-03-02 06:00", clock: right, do: "load"},
			{at: "2026-09-02 05:59", clock: right, do: "stroke"},
			{at: "2026-09-02 06:00", clock: right, do: "stroke", due: true},
			{at: "2026-09-02 06:01", clock: right, do: "stroke"}, // told once
		}},
		{"from the last of August to the last of February", []event{
			{at: "2026-08-31 06:00", clock: right, do: "load"},
			{at: "2027-02-28 05:59", clock: right, do: "stroke"},
			{at: "2027-02-28 06:00", clock: right, do: "stroke", due: true},
		}},
		{"in a leap year", []event{
			{at: "2027-08-31 06:00", clock: right, do: "load"},
			{at: "2028-02-28 23:59", clock: right, do: "stroke"},
			{at: "2028-02-29 06:00", clock: right, do: "stroke", due: true},
		}},
		{"no network ever, set by hand or by a battery", []event{
			{at: "2026-03-02 06:00", clock: unset, do: "load"},
			{at: "2026-09-02 05:59", clock: unset, do: "stroke"},
			{at: "2026-09-02 06:00", clock: unset, do: "stroke", due: true},
		}},
		{"a start years ahead makes nothing due", []event{
			{at: "2026-03-02 06:00", clock: right, do: "load"},
			{at: "2031-01-01 00:00", clock: unset, do: "stroke"},
			{at: "2031-01-01 09:00", clock: unset, do: "stroke"},
			{at: "2026-03-03 06:00", clock: right, do: "stroke"},
			{at: "2026-09-02 05:59", clock: right, do: "stroke"},
			{at: "2026-09-02 06:00", clock: right, do: "stroke", due: true},
		}},
		{"years ahead on a press that was never kept right, until somebody sets it", []event{
			{at: "2026-03-02 06:00", clock: unset, do: "load"},
			{at: "2031-01-01 00:00", clock: unset, do: "stroke"},
			{at: "2031-01-20 00:00", clock: unset, do: "stroke"},
			{at: "2026-03-22 06:00", clock: unset, do: "stroke"},
			{at: "2026-09-02 05:59", clock: unset, do: "stroke"},
			{at: "2026-09-02 06:00", clock: unset, do: "stroke", due: true},
		}},
		{"a press that stood still for two years is believed after four weeks", []event{
			{at: "2026-03-02 06:00", clock: unset, do: "load"},
			{at: "2028-03-02 06:00", clock: unset, do: "stroke"},
			{at: "2028-03-30 05:59", clock: unset, do: "stroke"},
			{at: "2028-03-30 06:00", clock: unset, do: "stroke", due: true},
		}},
		{"a start in 1970 makes nothing due and cancels nothing", []event{
			{at: "2026-03-02 06:00", clock: right, do: "load"},
			{at: "1970-01-01 00:00", clock: unset, do: "stroke"},
			{at: "1970-01-01 08:00", clock: unset, do: "stroke"},
			{at: "2026-09-02 06:00", clock: right, do: "stroke", due: true},
			{at: "1970-01-01 00:00", clock: unset, do: "stroke"},
			{at: "2026-09-03 06:00", clock: right, do: "stroke"}, // due since yesterday, and not told again
		}},
		{"from 1970 to years ahead", []event{
			{at: "2026-03-02 06:00", clock: right, do: "load"},
			{at: "1970-01-01 00:00", clock: unset, do: "stroke"},
			{at: "2040-01-01 00:00", clock: unset, do: "stroke"},
			{at: "2026-09-02 05:59", clock: right, do: "stroke"},
			{at: "2026-09-02 06:00", clock: right, do: "stroke", due: true},
		}},
		{"done in 1970, and the clock is set in the same run", []event{
			{at: "2026-03-02 06:00", clock: right, do: "load"}, // 1
			{at: "1970-01-01 01:00", clock: unset, do: "teardown"},
			{at: "2026-05-10 08:00", clock: right, do: "set", from: 2, by: day("2026-05-10 08:00").Sub(day("1970-01-01 02:00"))},
			{at: "2026-11-10 06:59", clock: right, do: "stroke"},
			{at: "2026-11-10 07:00", clock: right, do: "stroke", due: true}, // done at 07:00 on 10 May
		}},
		{"done in 1970, and nobody knows when that was: as early as it can be", []event{
			{at: "2026-03-02 06:00", clock: right, do: "load"},
			{at: "2026-04-02 06:00", clock: right, do: "stroke"},
			{at: "1970-01-01 01:00", clock: unset, do: "teardown"},
			{at: "2026-05-10 08:00", clock: right, do: "stroke"},
			{at: "2026-10-02 05:59", clock: right, do: "stroke"},
			{at: "2026-10-02 06:00", clock: right, do: "stroke", due: true},
		}},
		{"first seen in 1970, with nothing known before", []event{
			{at: "1970-01-01 01:00", clock: unset, do: "load"},
			{at: "2026-05-10 08:00", clock: right, do: "stroke"},
			{at: "2026-11-10 07:59", clock: right, do: "stroke"},
			{at: "2026-11-10 08:00", clock: right, do: "stroke", due: true},
		}},
		{"first seen in 1970, set by hand in the same run", []event{
			{at: "1970-01-01 01:00", clock: unset, do: "load"},
			{at: "2026-05-10 08:00", clock: unset, do: "set", from: 1, by: day("2026-05-10 08:00").Sub(day("1970-01-01 03:00"))},
			{at: "2026-11-10 05:59", clock: unset, do: "stroke"},
			{at: "2026-11-10 06:00", clock: unset, do: "stroke", due: true}, // first seen at 06:00
		}},
		{"done years ahead, and the clock is right later", []event{
			{at: "2026-03-02 06:00", clock: right, do: "load"},
			{at: "2031-01-01 00:00", clock: unset, do: "teardown"},
			{at: "2026-04-02 06:00", clock: right, do: "stroke"},
			{at: "2026-09-02 06:00", clock: right, do: "stroke", due: true}, // as early as it can be
		}},
		{"done half a year ahead, by a clock that could be right", []event{
			{at: "2026-03-02 06:00", clock: right, do: "load"},
			{at: "2026-08-02 06:00", clock: unset, do: "teardown"},
			{at: "2026-04-02 06:00", clock: right, do: "stroke"},
			{at: "2026-10-02 05:59", clock: right, do: "stroke"},
			{at: "2026-10-02 06:00", clock: right, do: "stroke", due: true}, // as late as it can be
		}},
		{"done years ahead by a clock that said it was kept right", []event{
			{at: "2026-03-02 06:00", clock: right, do: "load"},
			{at: "2031-01-01 00:00", clock: right, do: "teardown"},
			{at: "2026-04-02 06:00", clock: right, do: "stroke"},
			{at: "2026-10-02 05:59", clock: right, do: "stroke"},
			{at: "2026-10-02 06:00", clock: right, do: "stroke", due: true},
		}},
		{"the clock of the last shutdown: two hours late, day by day", []event{
			{at: "2026-03-02 06:00", clock: right, do: "load"},
			{at: "2026-03-02 14:00", clock: right, do: "stroke"},
			{at: "2026-03-02 13:30", clock: unset, do: "stroke"},   // 3
			{at: "2026-03-02 21:30", clock: unset, do: "teardown"}, // 4
			{at: "2026-03-03 16:00", clock: right, do: "set", from: 3, by: 18 * hour},
			{at: "2026-09-03 15:29", clock: right, do: "stroke"},
			{at: "2026-09-03 15:30", clock: right, do: "stroke", due: true},
		}},
		{"set by hand, wrongly, and set again", []event{
			{at: "2026-03-02 06:00", clock: unset, do: "load"},                             // 1
			{at: "2026-03-02 07:00", clock: unset, do: "teardown"},                         // 2
			{at: "2026-06-02 07:00", clock: unset, do: "set", from: 1, by: 92 * 24 * hour}, // one month for another
			{at: "2026-03-02 08:00", clock: unset, do: "set", from: 1, by: -92*24*hour + hour},
			{at: "2026-09-02 07:59", clock: unset, do: "stroke"},
			{at: "2026-09-02 08:00", clock: unset, do: "stroke", due: true},
		}},
	} {
		b := newBench(t)
		for i, e := range c.events {
			at := day(e.at)
			b.unset = e.clock == unset
			switch e.do {
			case "load":
				b.do(Action{At: at, Do: DoLoad, Cage: "C-21"})
			case "stroke":
				b.do(Stroke{At: at})
			case "teardown":
				b.do(Action{At: at, Do: DoCare, Cage: "C-21", Work: crimp.Teardown})
			case "set":
				b.do(ClockSet{At: at, Behind: e.by, From: e.from})
			}
			due := false
			for _, r := range b.got {
				due = due || r.Kind == record.Care && r.Work == crimp.Teardown && r.State == record.Due
				if !r.At.Equal(at) {
					t.Errorf("%s: record %d is dated %s, want what the clock showed, %s", c.name, r.Seq, r.At, at)
				}
			}
			if due != e.due {
				t.Errorf("%s: event %d, %s: fell due %v, want %v; since %+v, clock %+v", c.name, i, e.at, due, e.due, b.s.state.Cages["C-21"].TornDown, b.s.state.Clock)
			}
		}
	}
}

// TestNeverLate: with clocks that start behind, at any time, and are now and then
// set, a tear-down never falls due later than six months behind the work, as soon
// as the clock is right; nor by a clock that is behind.
func TestNeverLate(t *testing.T) {
	for seed := range uint64(300) {
		rnd := rand.New(rand.NewPCG(seed, 7))
		b := newBench(t)
		now := began // as it really is
		b.do(Action{At: now, Do: DoLoad, Cage: "C-21"})
		done := now
		var behind time.Duration
		var from uint64 // first record of this start by the wrong clock
		for range 60 {
			now = now.Add(time.Duration(rnd.IntN(20*24*60)) * time.Minute)
			switch rnd.IntN(6) {
			case 0: // started without network
				behind, from, b.unset = now.Sub(day("1970-01-01 00:00")), b.s.Seq()+1, true
				if rnd.IntN(2) == 0 {
					behind = time.Duration(1+rnd.IntN(13)) * 30 * 24 * time.Hour // starts that differ by less than a pause are taken for one
				}
			case 1: // started with network
				behind, from, b.unset = 0, 0, false
			case 2: // the network comes
				if b.unset {
					b.unset = false
					b.do(ClockSet{At: now, Behind: behind, From: from})
					behind, from = 0, 0
				}
			case 3:
				b.do(Action{At: now.Add(-behind), Do: DoCare, Cage: "C-21", Work: crimp.Teardown})
				done = now
			default:
				b.do(Stroke{At: now.Add(-behind)})
			}
			since := b.s.state.Cages["C-21"].TornDown
			if since.At.After(done.Add(clockSlack)) && !b.s.state.Clock.Now.Before(Made) {
				t.Fatalf("seed %d: counts from %s, and was done at %s", seed, since.At, done)
			}
			if c := b.s.state.Clock; c.Now.After(now.Add(clockSlack)) {
				t.Fatalf("seed %d: it is %s, and counted as %s: %+v", seed, now, c.Now, c)
			}
			if last := b.s.state.At; behind == 0 && last.Equal(now) && len(b.got) > 0 && b.got[0].Kind == record.Stroke &&
				!now.Before(crimp.AddMonths(done, 6)) && !since.Due {
				t.Fatalf("seed %d: done at %s and at %s not due: %+v", seed, done, now, since)
			}
		}
	}
}

// TestDueStays: what is due stays so through all jumps of the clock.
func TestDueStays(t *testing.T) {
	b := newBench(t)
	b.do(Action{At: day("2026-03-02 06:00"), Do: DoLoad, Cage: "C-21"})
	b.do(Stroke{At: day("2026-09-02 06:00")})
	for _, at := range []string{"1970-01-01 00:00", "2026-03-02 06:00", "2050-01-01 00:00", "2026-09-03 06:00"} {
		b.unset = !b.unset
		b.do(Stroke{At: day(at)})
		if !b.s.state.Cages["C-21"].TornDown.Due {
			t.Errorf("not due any more at %s", at)
		}
	}
}

// TestOilByClocks: the press's oil counts as a cage does.
func TestOilByClocks(t *testing.T) {
	b := newBench(t, func(r *Rules) { r.Intervals.OilDays = 30 })
	due := func(at string, clock string) bool {
		b.unset = clock == unset
		b.do(Stroke{At: day(at)})
		for _, r := range b.got {
			if r.Work == crimp.Oil {
				return true
			}
		}
		return false
	}
	for _, c := range []struct {
		at, clock string
		want      bool
	}{
		{"2026-03-02 06:00", right, false},
		{"2040-01-01 00:00", unset, false},
		{"1970-01-01 00:00", unset, false},
		{"2026-04-01 05:59", right, false},
		{"2026-04-01 06:00", right, true},
		{"2026-04-01 06:01", right, false},
	} {
		if got := due(c.at, c.clock); got != c.want {
			t.Errorf("%s, %s: due %v, want %v", c.at, c.clock, got, c.want)
		}
	}
}

// TestChecksByClocks: how long the closed jaws and a check of the caliper hold is
// not what the clock was set by.
func TestChecksByClocks(t *testing.T) {
	b := newBench(t, withJobs, func(r *Rules) { r.CheckEvery = 8 * time.Hour })
	b.do(Action{At: day("2026-03-02 06:00"), Do: DoLoad, Cage: "C-21"})
	b.unset = true
	b.do(Action{At: day("2026-03-02 01:00"), Do: DoStandard, Standard: "ring-25"})
	b.do(Reading{At: day("2026-03-02 01:00"), Value: 25 * crimp.Millimetre})
	b.do(Reading{At: day("2026-03-02 01:00"), Value: 0})
	b.do(Stroke{At: day("2026-03-02 02:00")})
	if b.s.checkDue() || b.s.zero() == nil {
		t.Errorf("an hour later: check due %v, closed jaws %v", b.s.checkDue(), b.s.zero())
	}
	b.unset = false
	b.do(ClockSet{At: day("2026-03-05 07:00"), Behind: 77 * time.Hour, From: 2}) // it is three days later in truth
	if b.s.checkDue() || b.s.zero() == nil {
		t.Errorf("when the clock is set: check due %v, closed jaws %v", b.s.checkDue(), b.s.zero())
	}
	if v := b.s.View(); !v.Zero.At.Equal(day("2026-03-05 06:00")) || !v.Standard.At.Equal(day("2026-03-05 06:00")) {
		t.Errorf("closed jaws at %s, check at %s, want 06:00", v.Zero.At, v.Standard.At)
	}
	b.do(Stroke{At: day("2026-03-05 14:00")})
	if !b.s.checkDue() || b.s.zero() == nil {
		t.Errorf("eight hours later: check due %v, closed jaws %v", b.s.checkDue(), b.s.zero())
	}
	b.do(Stroke{At: day("2026-03-05 18:01")})
	if b.s.zero() != nil {
		t.Error("the closed jaws hold after more than twelve hours")
	}
	b.do(Reading{At: day("2026-03-05 18:02"), Value: 0})
	b.do(Action{At: day("2026-03-05 18:02"), Do: DoStandard, Standard: "ring-25"})
	b.do(Reading{At: day("2026-03-05 18:02"), Value: 25 * crimp.Millimetre})
	b.unset = true // started anew, days behind: thirteen hours pass all the same
	b.do(Stroke{At: day("2026-03-01 06:00")})
	if b.s.zero() == nil || b.s.checkDue() {
		t.Error("the closed jaws, or a check, do not hold behind a start")
	}
	b.do(Stroke{At: day("2026-03-01 19:00")})
	if b.s.zero() != nil || !b.s.checkDue() {
		t.Error("the closed jaws, or a check, hold after thirteen hours by a clock that is behind")
	}
}

// TestClockSet: what the record says, and that there is none when nothing was
// written by the wrong clock.
func TestClockSet(t *testing.T) {
	b := newBench(t)
	b.unset = true
	b.stroke().stroke()
	b.do(Fault{At: b.now, Source: record.Clock, On: true, Reason: "it shows 1970"})
	b.unset = false
	b.do(ClockSet{At: began.Add(3 * time.Hour), Behind: 2*time.Hour + 59*time.Minute + 40*time.Second, From: 2})
	want := record.Record{
		Seq: 4, At: began.Add(3 * time.Hour), Kind: record.Fault, Source: record.Clock, State: record.Off, Of: 2,
		Reason: "it was set: it had been 2 h 59 min behind since record 2", Behind: record.Ptr(int64(10_780_000)),
	}
	if len(b.got) != 1 || string(b.got[0].AppendJSON(nil)) != string(want.AppendJSON(nil)) {
		t.Errorf("got %v, want %v", b.got, want)
	}
	if len(b.s.View().Faults) != 0 {
		t.Errorf("faults %v", b.s.View().Faults)
	}
	if b.do(ClockSet{At: b.now, Behind: -time.Hour, From: 5}); len(b.got) != 0 {
		t.Errorf("nothing was written by it, and got %v", b.got)
	}
	if b.do(ClockSet{At: b.now, Behind: -time.Hour, From: 4}); b.got[0].Reason != "it was set: it had been 1 h 0 min ahead since record 4" {
		t.Errorf("got %v", b.got)
	}
}

func TestSpan(t *testing.T) {
	for d, want := range map[time.Duration]string{
		1900 * time.Millisecond:      "1 s",
		61 * time.Second:             "1 min 1 s",
		3*time.Hour + 12*time.Minute: "3 h 12 min",
		20515 * 24 * time.Hour:       "20515 d 0 h",
	} {
		if got := Span(d); got != want {
			t.Errorf("%v: %q, want %q", d, got, want)
		}
	}
}

// TestStreamAcrossASetting: the readings of a stream are withdrawn as well when the
// clock is set between them and the moment that it is found to be one.
func TestStreamAcrossASetting(t *testing.T) {
	for name, by := range map[string]time.Duration{"on": 3 * time.Hour, "back": -3 * time.Hour} {
		b := newBench(t)
		b.unset = true
		b.act(Action{Do: DoStart, Order: "A-1", Spec: "hs-08", Setting: record.Ptr(120)}).stroke()
		good := b.now
		b.do(Reading{At: good, Value: 1200 * crimp.Thousandth})
		b.do(Reading{At: good.Add(10 * time.Second), Value: 1200 * crimp.Thousandth}) // of the stream
		b.unset = false
		now := good.Add(11 * time.Second).Add(by)
		b.do(ClockSet{At: now, Behind: by, From: 1})
		b.do(Reading{At: now, Value: 1201 * crimp.Thousandth}) // likewise: its verdict falls too
		b.do(Fault{At: now.Add(time.Second), Source: record.Caliper, On: true, Reason: "streaming", Since: good.Add(10 * time.Second).Add(by)})
		withdrawn := 0
		for _, r := range b.got {
			if r.Kind == record.Undo {
				withdrawn++
			}
		}
		if left := b.s.state.Order.latest().shot().Readings; withdrawn != 2 || len(left) != 1 {
			t.Errorf("set %s: %d withdrawn, left %v; want one left", name, withdrawn, left)
		}
	}
}

// TestStateOfOlderProgram: a state that was kept before there was a counted time is
// gone on with, and a work that a wrong clock had dated years ahead in it falls due.
func TestStateOfOlderProgram(t *testing.T) {
	b := newBench(t, func(r *Rules) { r.SnapEvery = 1 })
	b.do(Action{At: day("2026-03-02 06:00"), Do: DoLoad, Cage: "C-21"})
	var old map[string]any
	if err := json.Unmarshal(b.log.state, &old); err != nil {
		t.Fatal(err)
	}
	delete(old, "clock")
	old["cages"].(map[string]any)["C-21"].(map[string]any)["torn_down"].(map[string]any)["at"] = "2050-01-01T00:00:00Z"
	kept, err := json.Marshal(old)
	if err != nil {
		t.Fatal(err)
	}
	b.log.state = kept
	if b.s, err = Open(b.log, b.s.rules); err != nil {
		t.Fatal(err)
	}
	b.do(Stroke{At: day("2026-03-03 06:00")})
	if since := b.s.state.Cages["C-21"].TornDown; !since.At.Equal(day("2026-03-03 06:00")) || since.Due {
		t.Errorf("since %+v, want from the first stroke on", since)
	}
	b.do(Stroke{At: day("2026-09-03 06:00")})
	if !b.s.state.Cages["C-21"].TornDown.Due {
		t.Error("not due half a year later")
	}
}

// TestFaultSince: since when a fault lasts is told by the clock as it is since.
func TestFaultSince(t *testing.T) {
	b := newBench(t)
	b.do(Fault{At: began, Source: record.Broker, On: true, Reason: "away"})
	b.unset = true
	b.do(Fault{At: day("1970-01-01 00:10"), Source: record.Switch, On: true, Reason: "broken"})
	b.unset = false
	b.do(ClockSet{At: began.Add(time.Hour), Behind: began.Add(time.Hour).Sub(day("1970-01-01 00:20")), From: 2})
	since := b.s.View().Since
	if !since[record.Broker].Equal(began) || !since[record.Switch].Equal(began.Add(50*time.Minute)) {
		t.Errorf("since %v", since)
	}
}
