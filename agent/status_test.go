package main

import (
	"encoding/json"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"benchtally/agent/crimp"
	"benchtally/agent/record"
)

// toldStatus is a status with everything in it.
func toldStatus() status {
	at := time.Date(2026, 3, 2, 10, 30, 0, 0, time.Local)
	before := func(d time.Duration) *time.Time { return new(at.Add(-d)) }
	return status{
		Running: true, Press: "north-bench", Version: "1.2.3", Seq: 5123, Sent: 5120, Queue: 3, At: at, Up: 3*24*3600 + 1800,
		Work:   workState{Order: "A-1001", Spec: "hs-08", Quantity: 6, Pieces: 3, Setting: new(85)},
		Cage:   cageState{Cage: "C-21", Lubricate: 51, LubricateLimit: 50, LubricateDue: true, Teardown: 400, TeardownLimit: 1000},
		Last:   lastState{Piece: "A-1001/3", Outcome: crimp.Pass, Reason: "mean 1.2001 in"},
		Stroke: before(12 * time.Minute), Reading: before(11*time.Minute + 30*time.Second), Verdict: before(90 * time.Minute),
		Record: before(time.Second), Oldest: before(2*time.Hour + 5*time.Minute), LastAck: before(3 * time.Hour),
		Store: "/var/lib/benchtally/benchtally.db", Bytes: 4_200_000, Room: new(int64(21_300_000_000)), Clock: true,
		Links: []statusLink{
			{Name: "switch", OK: true, Text: "GPIO17"},
			{Name: "caliper", Text: "/dev/caliper0 is gone: plug the caliper's cable in again, the port is found by itself", Since: before(40 * time.Second)},
			{Name: "certificate", Text: "this press's certificate is good until 2026-03-10"},
		},
		Machine: machineState{Model: "A board, model 4", Up: new(12.5 * 24 * 3600), Temperature: new(48.3), LowVoltage: new(true), Throttled: new(true)},
	}
}

// TestStatusIsReadOut: every line can be read out over the telephone, in words and
// with how long ago.
func TestStatusIsReadOut(t *testing.T) {
	var out strings.Builder
	if err := toldStatus().write(&out); err != nil {
		t.Fatal(err)
	}
	want := `press       north-bench, the agent runs for 3 days, version 1.2.3
order       A-1001 with hs-08, 3 of 6 pieces crimped
setting     085
cage        C-21, 51 of 50 strokes since lubrication, 400 of 1000 since tear-down; lubrication is DUE
stroke      12 minutes ago (2026-03-02 10:18:00)
reading     11 minutes ago (2026-03-02 10:18:30)
verdict     1 hour and 30 minutes ago (2026-03-02 09:00:00)
last        piece A-1001/3: pass (mean 1.2001 in)
records     5123 kept, 3 not yet sent, the oldest of them for 2 hours and 5 minutes; the latest came just now
sent        up to record 5120; the broker took the latest 3 hours ago (2026-03-02 07:30:00)
file        /var/lib/benchtally/benchtally.db, 4.2 MB, 21.3 GB free beside it
switch      ok: GPIO17
caliper     FAULT for 40 seconds: /dev/caliper0 is gone: plug the caliper's cable in again, the port is found by itself
certificate FAULT: this press's certificate is good until 2026-03-10
computer    A board, model 4, runs for 12 days, 48 °C, its supply is TOO LOW: use the supply made for the board, and a short cable, it SLOWS ITSELF DOWN for heat or voltage
`
	if diff := cmp.Diff(out.String(), want); diff != "" {
		t.Errorf("got -, want +\n%s", diff)
	}
	out.Reset()
	st := toldStatus()
	st.Running, st.Hangs, st.Links, st.Room, st.Clock = false, "bench", nil, nil, false
	st.Faults = []statusFault{{record.Caliper, st.At.Add(-50 * time.Hour), "the cable"}}
	st.Machine, st.Cage, st.Work = machineState{WasLow: new(true)}, cageState{}, workState{}
	if err := st.write(&out); err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{
		"press       north-bench, no agent runs; this is how the store stands\n",
		"agent       FAULT: a part of it hangs: bench; stop it and start it again\n",
		"order       none in work\nsetting     not told\ncage        none loaded\n",
		"4.2 MB, it is not known how much room there is\n",
		"caliper     had a fault when the agent ended, begun 2 days ago (2026-02-28 08:30:00): the cable\n",
		"clock       nothing keeps this computer's clock right\n",
		"computer    its supply was too low since it was started: use the supply made for the board, and a short cable\n",
	} {
		if !strings.Contains(out.String(), want) {
			t.Errorf("%q is missing in\n%s", want, out.String())
		}
	}
}

// TestStatusOfAStore: when no agent runs, the store tells when what happened last,
// and what was wrong when the agent ended.
func TestStatusOfAStore(t *testing.T) {
	dir, config := shop(t, "")
	tape := filepath.Join(dir, "tape.jsonl")
	write(t, tape, shortTape)
	if code, _, errs := command(t, "", "replay", tape, "--config", config, "--store", filepath.Join(dir, "bench.db")); code != exitDone {
		t.Fatal(errs)
	}
	code, out, errs := command(t, "", "status", "--config", config, "--json")
	var st status
	if err := json.Unmarshal([]byte(out), &st); err != nil || code != exitDone {
		t.Fatal(code, errs, err)
	}
	at := func(s string) time.Time {
		v, err := time.Parse(time.RFC3339, s)
		if err != nil {
			t.Fatal(err)
		}
		return v
	}
	if st.Running || st.Up != 0 || st.Stroke == nil || !st.Stroke.Equal(at("2026-03-02T06:00:01Z")) ||
		!st.Reading.Equal(at("2026-03-02T06:00:07Z")) || !st.Verdict.Equal(at("2026-03-02T06:00:07Z")) || !st.Record.Equal(*st.Verdict) {
		t.Errorf("%+v", st)
	}
	if st.Bytes < 4096 || st.Room == nil || *st.Room <= 0 || st.Store != filepath.Join(dir, "bench.db") {
		t.Errorf("%d bytes, room %v, %s", st.Bytes, st.Room, st.Store)
	}
	for _, key := range []string{"running", "press", "version", "store_id", "seq", "sent", "queue", "work", "cage", "last"} { // as they were from the first
		if !strings.Contains(out, `"`+key+`":`) {
			t.Errorf("the key %s is gone", key)
		}
	}
}

func TestLasting(t *testing.T) {
	for _, c := range []struct {
		d    time.Duration
		want string
	}{
		{0, "0 seconds"}, {time.Second, "1 second"}, {59 * time.Second, "59 seconds"}, {time.Minute, "1 minute"}, {59*time.Minute + 59*time.Second, "59 minutes"},
		{time.Hour, "1 hour"}, {time.Hour + time.Minute, "1 hour and 1 minute"}, {11*time.Hour + 5*time.Minute, "11 hours"}, {47 * time.Hour, "47 hours"}, {48 * time.Hour, "2 days"},
	} {
		if got := lasting(c.d); got != c.want {
			t.Errorf("%v: %q, want %q", c.d, got, c.want)
		}
	}
	now := time.Now()
	if got := ago(now.Add(time.Hour), now); !strings.HasSuffix(got, ", which is ahead of this computer's clock") {
		t.Error(got)
	}
	for n, want := range map[int64]string{0: "0 bytes", 999: "999 bytes", 1000: "1.0 kB", 999_999: "1000 kB", 131_000_000: "131 MB", 21_300_000_000: "21.3 GB"} {
		if got := bytesText(n); got != want {
			t.Errorf("%d: %q, want %q", n, got, want)
		}
	}
}
