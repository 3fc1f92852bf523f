package main

import (
	"encoding/csv"
	"errors"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"
	"unsafe"

	"benchtally/agent/crimp"
	"benchtally/agent/record"
	"benchtally/agent/station"
	"benchtally/store"
)

// setBy is a time of a run whose clock was set on by whole seconds, as time.Now
// gives it then: the monotonic reading goes on, the wall's time jumps. Package
// time has no way to make one; its seconds lie above 30 bits of nanoseconds.
func setBy(t time.Time, by time.Duration) time.Time {
	*(*uint64)(unsafe.Pointer(&t)) += uint64(by/time.Second) << 30
	return t
}

func TestSetBy(t *testing.T) {
	now := time.Now()
	for _, by := range []time.Duration{time.Hour, -3 * time.Hour} {
		if set := setBy(now, by); set.Sub(now) != 0 || set.Round(0).Sub(now.Round(0)) != by {
			t.Fatalf("the form of time.Time is another one: %v, %v", set.Sub(now), set.Round(0).Sub(now.Round(0)))
		}
	}
}

// wrist is a computer's clock in a test.
type wrist struct {
	mu    sync.Mutex
	began time.Time     // with a monotonic reading
	ran   time.Duration // since then
	by    time.Duration // by which it was set
	right bool
}

func (w *wrist) now() time.Time { return w.read().now }

func (w *wrist) read() reading {
	w.mu.Lock()
	defer w.mu.Unlock()
	return reading{setBy(w.began.Add(w.ran), w.by), time.Hour + w.ran, w.right}
}

func (w *wrist) pass(d time.Duration) time.Time {
	w.mu.Lock()
	w.ran += d
	w.mu.Unlock()
	return w.now()
}

// set is that the network sets the clock on, and keeps it right.
func (w *wrist) set(by time.Duration) {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.by, w.right = w.by+by, true
}

// notes are marks in memory.
type notes map[string]noted

type noted struct {
	seq  uint64
	note []byte
}

func (n notes) Mark(name string) (uint64, []byte, error) { return n[name].seq, n[name].note, nil }
func (n notes) SetMark(name string, seq uint64, note []byte) error {
	n[name] = noted{seq, note}
	return nil
}

// clocked is a bench with such a clock.
type clocked struct {
	*bench
	*wrist
	t   *testing.T
	log *stubborn
	got []record.Record
}

func newClocked(t *testing.T, w *wrist, log *stubborn, n notes, boot string) *clocked {
	t.Helper()
	c := &clocked{wrist: w, t: t, log: log}
	rules := station.Rules{Scale: crimp.Scale{Step: crimp.Thousandth, Highest: 999}, Places: 3, ClockState: func() string { return c.clock.state() }}
	s, err := station.Open(log, rules)
	if err != nil {
		t.Fatal(err)
	}
	c.bench = newBench(s, w.now, func(records []record.Record, _ station.View) { c.got = append(c.got, records...) })
	c.clock = newClock(w.read, n, boot, s.View().Clock)
	return c
}

// turn is one turn of the bench's loop with what waits.
func (c *clocked) turn(in ...station.Input) {
	c.t.Helper()
	c.got = nil
	var waiting []request
	for _, i := range in {
		waiting = append(waiting, request{input: i})
	}
	for waiting = c.lookAtClock(waiting); len(waiting) > 0 && c.trouble.Load() == nil; {
		waiting = c.commit(waiting)
	}
}

// wants compares the records: kind, time since the clock's beginning, its state.
func (c *clocked) wants(name string, want ...string) {
	c.t.Helper()
	var got []string
	for _, r := range c.got {
		line := string(r.Kind) + " " + r.At.Sub(record.Stamp(c.began)).Round(time.Second).String()
		if r.Clock != "" {
			line += " " + r.Clock
		}
		if r.Behind != nil {
			line += " " + r.Reason
		}
		got = append(got, line)
	}
	if strings.Join(got, "; ") != strings.Join(want, "; ") {
		c.t.Errorf("%s: got %q, want %q", name, got, want)
	}
}

func stroke(at time.Time) station.Input { return station.Stroke{At: at} }

// TestBoundary: what was taken before the clock was set and is kept after it is
// dated by the clock as it is then, and by nothing that was remembered; the record
// that tells of it comes before.
func TestBoundary(t *testing.T) {
	for name, by := range map[string]time.Duration{"on": 3 * time.Hour, "back": -72 * time.Hour} {
		w := &wrist{began: time.Now()}
		c := newClocked(t, w, &stubborn{}, notes{}, "boot")
		c.turn(stroke(w.pass(time.Second)))
		c.wants(name, "stroke 1s unset")
		before := w.pass(10 * time.Second)
		w.pass(time.Second)
		w.by, w.right = by, true // the network comes
		after := w.pass(time.Second)
		c.turn(stroke(before), stroke(after))
		span := "3 h 0 min behind"
		if by < 0 {
			span = "3 d 0 h ahead"
		}
		at := func(d time.Duration) string { return (by + d).String() }
		c.wants(name, "fault "+at(13*time.Second)+" it was set: it had been "+span+" since record 1", "stroke "+at(11*time.Second), "stroke "+at(13*time.Second))
		c.turn(station.Fault{At: before, Source: record.Caliper, On: true, Since: before})
		c.wants(name+", late", "fault "+at(11*time.Second))
		w.right = false // the network is lost: the very next record says so
		c.turn(stroke(w.pass(time.Second)))
		c.wants(name+", lost", "stroke "+at(14*time.Second)+" unset")
		w.right = true // and comes again, without a jump
		c.turn(stroke(w.pass(time.Second)))
		c.wants(name+", there again", "stroke "+at(15*time.Second))
	}
}

// TestSetInSteps: what sets the clock first and says that it keeps it later, and who
// sets it by hand, is told as well; a step of a leap second is not.
func TestSetInSteps(t *testing.T) {
	w := &wrist{began: time.Now()}
	c := newClocked(t, w, &stubborn{}, notes{}, "boot")
	c.turn(stroke(w.pass(time.Second)))
	w.by = time.Hour
	c.turn(stroke(w.pass(time.Second)))
	c.wants("by hand", "fault 1h0m2s unset it was set: it had been 1 h 0 min behind since record 1", "stroke 1h0m2s unset")
	w.by -= time.Second
	c.turn(stroke(w.pass(time.Second)))
	c.wants("a leap second", "stroke 1h0m2s unset")
	w.right = true
	c.turn(stroke(w.pass(time.Second)))
	c.wants("kept right", "stroke 1h0m3s")
	w.by += time.Hour
	c.turn(stroke(w.pass(time.Second)))
	c.wants("a jump of a clock that is kept right", "stroke 2h0m4s")
}

// TestStartedAnew: an agent that is started anew while the computer runs on tells
// of the records before; nobody can when the computer was started anew.
func TestStartedAnew(t *testing.T) {
	w, log, n := &wrist{began: time.Now()}, &stubborn{}, notes{}
	c := newClocked(t, w, log, n, "boot 1")
	c.turn(stroke(w.pass(time.Second)))

	w.by, w.right = time.Hour, true
	c = newClocked(t, w, log, n, "boot 1")
	c.turn()
	c.wants("the same start", "fault 1h0m1s it was set: it had been 1 h 0 min behind since record 1")

	w.right = false
	c = newClocked(t, w, log, n, "boot 1")
	c.turn(stroke(w.pass(time.Second)))
	c.wants("told once", "stroke 1h0m2s unset")

	w.by, w.right = 5*time.Hour, true
	c = newClocked(t, w, log, n, "boot 2")
	c.turn(stroke(w.pass(time.Second)))
	c.wants("another start", "stroke 5h0m3s")
}

// TestToldOnce: when the note of the clock was not kept, its correction was, it is
// not told again; when the correction was not kept, it is.
func TestToldOnce(t *testing.T) {
	w, log, n := &wrist{began: time.Now()}, &stubborn{}, notes{}
	c := newClocked(t, w, log, n, "boot")
	c.turn(stroke(w.pass(time.Second)))
	before := n[clockMark]

	w.by = time.Hour
	log.full.Store(true)
	c.turn()
	if c.trouble.Load() == nil || string(n[clockMark].note) != string(before.note) {
		t.Errorf("trouble %v, note %s, was %s", c.trouble.Load(), n[clockMark].note, before.note)
	}
	log.full.Store(false)
	c = newClocked(t, w, log, n, "boot")
	c.turn()
	c.wants("killed before it was kept", "fault 1h0m1s unset it was set: it had been 1 h 0 min behind since record 1")

	n[clockMark] = before
	c = newClocked(t, w, log, n, "boot")
	c.turn(stroke(w.pass(time.Second)))
	c.wants("killed behind it", "stroke 1h0m2s unset")
}

func TestClockFault(t *testing.T) {
	at := func(s string) time.Time {
		at, err := time.Parse(time.DateTime, s)
		if err != nil {
			t.Fatal(err)
		}
		return at
	}
	for _, c := range []struct {
		name, now, latest string
		right             bool
		want              string
	}{
		{"as it should be", "2026-03-02 06:00:00", "2026-03-02 05:59:59", false, ""},
		{"within the slack", "2026-03-02 06:00:00", "2026-03-02 06:00:05", false, ""},
		{"behind the records", "2026-03-02 06:00:00", "2026-03-02 06:00:06", false, "records go up to 2026-03-02 06:00:06"},
		{"behind records that were ahead", "2026-03-02 06:00:00", "2031-03-02 06:00:06", true, ""},
		{"never set", "1970-01-01 00:00:10", "0001-01-01 00:00:00", false, "before this program was made"},
		{"never set, kept right by a wrong server", "1970-01-01 00:00:10", "0001-01-01 00:00:00", true, "before this program was made"},
		{"the first start of all", "2026-03-02 06:00:00", "0001-01-01 00:00:00", false, ""},
		{"a year's standstill", "2027-03-03 06:00:00", "2026-03-02 06:00:00", false, ""},
		{"years ahead", "2031-03-02 06:00:00", "2026-03-02 06:00:00", false, "more than a year after the latest record, 2026-03-02 06:00:00"},
		{"years later, and kept right", "2031-03-02 06:00:00", "2026-03-02 06:00:00", true, ""},
	} {
		v := station.ClockView{Now: at(c.latest), Since: at(c.latest)}
		if got := clockFault(at(c.now), c.right, v); (got == "") != (c.want == "") || !strings.Contains(got, c.want) {
			t.Errorf("%s: %q, want %q", c.name, got, c.want)
		}
	}
}

func TestClockText(t *testing.T) {
	now := time.Date(2026, 3, 2, 14, 0, 0, 0, time.Local)
	set := station.ClockView{Set: now.Add(-time.Hour), Behind: 3*time.Hour + 12*time.Minute}
	back := station.ClockView{Set: now.Add(-time.Hour), Behind: -26 * time.Hour}
	for _, c := range []struct {
		v     station.ClockView
		right bool
		now   time.Time
		want  string
	}{
		{station.ClockView{}, true, now, "kept right"},
		{station.ClockView{}, false, now, "runs, but nothing keeps it right"},
		{set, true, now, "kept right; until 2026-03-02 13:00 it was 3 h 12 min behind"},
		{back, true, now, "kept right; until 2026-03-02 13:00 it was 1 d 2 h ahead"},
		{set, false, now, "nothing keeps it right; set by hand at 2026-03-02 13:00, until then it was 3 h 12 min behind"},
		{back, false, now, "nothing keeps it right; set by hand at 2026-03-02 13:00, until then it was 1 d 2 h ahead"},
		{set, true, now.Add(24 * time.Hour), "kept right"},
	} {
		if got := clockText(c.right, c.v, c.now); got != c.want {
			t.Errorf("%q, want %q", got, c.want)
		}
	}
}

// TestCorrected: who reads records that were written before the clock was set finds
// when they happened beside when they say, everywhere; they themselves stay.
func TestCorrected(t *testing.T) {
	dir, config := shop(t, "")
	path := filepath.Join(dir, "bench.db")
	cfg, err := loadConfig(config)
	if err != nil {
		t.Fatal(err)
	}
	kept, err := store.Open(path, store.Options{})
	if err != nil {
		t.Fatal(err)
	}
	quality := station.Unset
	rules := stationRules(cfg)
	rules.ClockState = func() string { return quality }
	s, err := station.Open(&keeper{Store: kept}, rules)
	if err != nil {
		t.Fatal(err)
	}
	do := func(in ...station.Input) {
		t.Helper()
		if _, err := s.Do(in...); err != nil {
			t.Fatal(err)
		}
	}
	wrong, right := time.Date(2026, 3, 1, 12, 0, 0, 0, time.UTC), time.Date(2026, 3, 2, 6, 0, 0, 0, time.UTC)
	read := func(at time.Time) station.Input {
		return station.Reading{At: at, Value: 1200 * crimp.Thousandth, Raw: "+1.2000"}
	}
	do(station.Action{At: wrong, Do: station.DoStart, Order: "A-1", Spec: "hs-08", Quantity: 2}) // 1
	do(station.Stroke{At: wrong.Add(time.Minute)}, read(wrong.Add(2*time.Minute)), read(wrong.Add(2*time.Minute)), read(wrong.Add(2*time.Minute)))
	quality = ""
	do(station.ClockSet{At: right, Behind: 17 * time.Hour, From: 1}) // an hour after the start
	do(station.Stroke{At: right.Add(time.Minute)})
	d, err := (archive{kept, rules}).dossier("A-1", 0)
	if err != nil {
		t.Fatal(err)
	}
	if !d.Began.Equal(wrong.Add(17*time.Hour)) || !d.Pieces[0].Crimps[0].At.Equal(wrong.Add(17*time.Hour+time.Minute)) || !d.Latest.Equal(right.Add(time.Minute)) ||
		d.Corrected == nil || *d.Corrected != (station.Seqs{From: 1, To: 7}) || d.Unset != nil {
		t.Errorf("began %s, first crimp %s, latest %s, corrected %v, unset %v", d.Began, d.Pieces[0].Crimps[0].At, d.Latest, d.Corrected, d.Unset)
	}
	if err := kept.Close(); err != nil {
		t.Fatal(err)
	}

	code, out, errs := command(t, "", "log", "--config", config, "--json")
	lines := strings.Split(strings.TrimSpace(out), "\n")
	if code != exitDone || len(lines) != 9 {
		t.Fatalf("exit %d, %d lines: %s %s", code, len(lines), out, errs)
	}
	if !strings.HasPrefix(lines[1], `{"seq":2,"at":"2026-03-01T12:01:00.000000Z","kind":"stroke","clock":"unset",`) || !strings.HasSuffix(lines[1], `,"corrected_at":"2026-03-02T05:01:00.000000Z"}`) ||
		!strings.HasSuffix(lines[7], `"of":1,"source":"clock","reason":"it was set: it had been 17 h 0 min behind since record 1","behind_ms":61200000}`) || strings.Contains(lines[8], "corrected") {
		t.Errorf("log --json: %s", out)
	}
	if _, out, _ = command(t, "", "log", "--config", config); !strings.Contains(out, "(the clock was 17 h 0 min behind and not set: about "+right.Add(-59*time.Minute).Local().Format(time.DateTime)+")") {
		t.Errorf("log: %s", out)
	}
	if _, out, _ = command(t, "", "log", "--config", config, "--since", "2026-03-02T05:02:00Z", "--until", "2026-03-02T06:00:00Z", "--json"); strings.Count(out, "\n") != 5 {
		t.Errorf("log --since chooses by when it happened: %s", out)
	}
	_, out, _ = command(t, "", "log", "--config", config, "--csv")
	table, err := csv.NewReader(strings.NewReader(out)).ReadAll()
	if err != nil || len(table) != 10 {
		t.Fatalf("log --csv: %v, %s", err, out)
	}
	if row := table[2]; row[1] != "2026-03-01T12:01:00.000000Z" || row[len(row)-1] != "2026-03-02T05:01:00.000000Z" || table[9][len(row)-1] != "" || table[8][len(row)-2] != "61200000" {
		t.Errorf("log --csv: %s", out)
	}
}

var errMarks = errors.New("no marks")

// lostMarks cannot be read.
type lostMarks struct{ notes }

func (lostMarks) Mark(string) (uint64, []byte, error) { return 0, nil, errMarks }

// TestClockWithoutMarks: a note that cannot be read stops nothing.
func TestClockWithoutMarks(t *testing.T) {
	w := &wrist{began: time.Now()}
	c := newClock(w.read, lostMarks{notes{}}, "boot", station.ClockView{})
	if set := c.look(0); set != nil || c.state() != station.Unset {
		t.Errorf("set %v, state %q", set, c.state())
	}
}

// TestAgeOf: the oldest event that waits is not 56 years old because it was written
// before the clock was set.
func TestAgeOf(t *testing.T) {
	now := time.Date(2026, 3, 2, 6, 0, 0, 0, time.UTC)
	a := &agent{now: func() time.Time { return now }, began: time.Now()}
	set := station.ClockView{SetSeq: 9, From: 5, Behind: now.Add(-time.Minute).Sub(time.Unix(60, 0))}
	for _, c := range []struct {
		name string
		at   time.Time
		seq  uint64
		want time.Duration
	}{
		{"kept right", now.Add(-time.Hour), 4, time.Hour},
		{"written in 1970, an hour before the clock was set", time.Unix(60-3600, 0), 5, time.Hour + time.Minute},
		{"kept right since", now.Add(-time.Second), 9, time.Second},
		{"by a clock that was ahead", now.Add(time.Hour), 3, 0},
	} {
		if got := a.ageOf(c.at, c.seq, set); got != c.want {
			t.Errorf("%s: %v, want %v", c.name, got, c.want)
		}
	}
	if got := a.ageOf(time.Unix(60, 0), 4, set); got < 0 || got > time.Minute {
		t.Errorf("written in 1970, and nobody knows when: %v, want the age of the run", got)
	}
}

// lived is an agent on a store with such a clock; begin starts its bench, and the
// function that it returns ends it.
func lived(t *testing.T, config string, w *wrist) (a *agent, end func()) {
	t.Helper()
	cfg, err := loadOpen(config)
	if err != nil {
		t.Fatal(err)
	}
	if a, err = newAgent(cfg, w.now); err != nil {
		t.Fatal(err)
	}
	a.clock = newClock(w.read, a.store, "boot of "+w.began.String(), a.health.seen().Clock)
	a.bench.clock = a.clock
	ran := make(chan error, 1)
	go func() { ran <- a.bench.run(t.Context()) }()
	return a, func() {
		t.Helper()
		a.bench.end()
		if err := errors.Join(<-ran, a.store.Close()); err != nil {
			t.Error(err)
		}
	}
}

// TestStartsByWrongClocks: an agent that starts with a clock that is behind its
// records, or years ahead of them, says so, takes all the same, and goes on in
// order when the clock is set.
func TestStartsByWrongClocks(t *testing.T) {
	_, config := shop(t, "")
	days := func(n int) time.Duration { return time.Duration(n) * 24 * time.Hour }
	var told []string
	take := func(a *agent, w *wrist) {
		t.Helper()
		a.judgeClock(t.Context())
		w.pass(time.Second)
		if _, err := a.bench.ask(t.Context(), station.Stroke{At: w.now()}); err != nil {
			t.Fatal(err)
		}
		a.judgeClock(t.Context()) // what is said already is not said again
		if _, err := a.bench.ask(t.Context(), nil); err != nil {
			t.Fatal(err)
		}
	}
	for _, start := range []struct {
		by, set time.Duration // how far the clock is wrong, and by how much the network sets it; 0: not at all
		right   bool
	}{
		{0, 0, true},
		{days(-20_000), days(20_000), false}, // 1970s
		{days(2000), 0, false},
		{0, 0, true},
		{days(-2), days(2), false},
	} {
		w := &wrist{began: time.Now(), by: start.by, right: start.right}
		a, end := lived(t, config, w)
		take(a, w)
		if start.set != 0 {
			w.set(start.set)
			take(a, w)
		}
		end()
	}
	kept, err := store.Open(filepath.Join(filepath.Dir(config), "bench.db"), store.Options{ReadOnly: true})
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = kept.Close() }()
	seq := uint64(0)
	for r, err := range kept.Records(0) {
		if seq++; err != nil || r.Seq != seq {
			t.Fatalf("record %d, want %d: %v", r.Seq, seq, err)
		}
		line := string(r.Kind) + " " + r.Clock
		if r.Kind == record.Fault {
			line += " " + r.State
			for _, part := range []string{"before this program was made", "records go up to", "more than a year", "kept right again", "it was set"} {
				if strings.Contains(r.Reason, part) {
					line += " " + part
				}
			}
		}
		told = append(told, line)
	}
	want := []string{
		"stroke ",
		"fault unset on before this program was made", "stroke unset",
		"fault  off it was set", "stroke ",
		"fault unset on more than a year", "stroke unset",
		"fault  off kept right again", "stroke ",
		"fault unset on records go up to", "stroke unset",
		"fault  off it was set", "stroke ",
	}
	if strings.Join(told, "\n") != strings.Join(want, "\n") {
		t.Errorf("got\n%s\nwant\n%s", strings.Join(told, "\n"), strings.Join(want, "\n"))
	}
}
