package caliper

import (
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"
	"time"

	"benchtally/agent/crimp"
	"benchtally/caliper/frame"
)

// part is some bytes at a time, made from fuzzed bytes.
type part struct {
	at      time.Time
	b       []byte
	restart bool
}

// delays cover the Reader's limits from both sides.
var delays = []time.Duration{0, 0, 0, 1, 5, 19, 20, 99, 100, 101, 120, 300, 301, 400, 401, 600, 999, 1000, 1001, 3000, -500}

// parts cuts fuzzed bytes into parts: a delay, a length, that many bytes.
func parts(in []byte) []part {
	var ps []part
	now := start
	for len(in) >= 2 {
		delay := delays[int(in[0])%len(delays)] * time.Millisecond
		n := min(int(in[1]%90), len(in)-2)
		now = now.Add(delay)
		ps = append(ps, part{now, in[2 : 2+n], in[1] > 250})
		in = in[2+n:]
	}
	return ps
}

// FuzzReader: whatever comes whenever, the memory is bounded, and neither the
// cutting of bytes, nor ticks in between, nor going on from the kept state
// changes an event.
func FuzzReader(f *testing.F) {
	files, err := filepath.Glob("../testdata/caliper/*/*.hex")
	if err != nil || len(files) == 0 {
		f.Fatalf("no vectors: %v", err)
	}
	for i, file := range files {
		text, err := os.ReadFile(file)
		if err != nil {
			f.Fatal(err)
		}
		lines := strings.Split(strings.TrimSpace(string(text)), "\n")
		var b []byte
		for _, h := range strings.Fields(lines[len(lines)-1]) {
			var c byte
			if _, err := fmt.Sscanf(h, "%02x", &c); err != nil {
				f.Fatalf("%s: %v", file, err)
			}
			b = append(b, c)
		}
		var in []byte
		for j := range 8 {
			in = append(in, byte(i+j*3), byte(min(len(b), 89)))
			in = append(in, b[:min(len(b), 89)]...)
		}
		f.Add(byte(i), in)
	}
	names, triggers := frame.Names(), []string{TriggerSend, TriggerStream, TriggerRequest}
	f.Fuzz(func(t *testing.T, choice byte, in []byte) {
		s := Settings{Format: names[int(choice)%len(names)], Unit: crimp.Inches,
			Trigger: triggers[int(choice/8)%len(triggers)], SevenBits: choice >= 128}
		whole, cut := mustReader(t, s), mustReader(t, s)
		var want, got []Event
		ps := parts(in)
		for i, p := range ps {
			if p.restart {
				whole.Restart(p.at)
				cut.Restart(p.at)
			}
			events := whole.Feed(p.b, p.at)
			if len(events) > 4*len(p.b)+16 {
				t.Fatalf("%d events of %d bytes", len(events), len(p.b))
			}
			want = append(want, events...)

			for j := range p.b {
				got = append(got, cut.Feed(p.b[j:j+1], p.at)...)
			}
			if len(p.b) == 0 {
				got = append(got, cut.Tick(p.at)...)
			}
			cut = reborn(t, cut, s)
			if i+1 < len(ps) && ps[i+1].at.After(p.at) {
				got = append(got, cut.Tick(p.at.Add(ps[i+1].at.Sub(p.at)/2))...)
			}
			if cap(whole.Line) > 4*frame.MaxLen || cap(whole.Send.Prev) > 4*frame.MaxLen {
				t.Fatal("memory grows")
			}
		}
		end := start.Add(time.Hour)
		want, got = append(want, whole.Tick(end)...), append(got, cut.Tick(end)...)
		if w := whole.Wait(end); w != 0 {
			t.Fatalf("something is pending for %v after an hour", w)
		}
		if !reflect.DeepEqual(tellAll(got), tellAll(want)) {
			t.Fatalf("%+v\nwhole:\n%s\ncut:\n%s", s, strings.Join(tellAll(want), "\n"), strings.Join(tellAll(got), "\n"))
		}
		faultsPair(t, want)
	})
}

// reborn is a Reader that goes on from the kept state of another.
func reborn(t *testing.T, r *Reader, s Settings) *Reader {
	t.Helper()
	b, err := json.Marshal(r)
	if err != nil {
		t.Fatal(err)
	}
	next := mustReader(t, s)
	if err := json.Unmarshal(b, next); err != nil {
		t.Fatalf("%v: %s", err, b)
	}
	return next
}

// faultsPair checks that faults and clears of a cause take turns.
func faultsPair(t *testing.T, events []Event) {
	t.Helper()
	on := map[Cause]bool{}
	for _, e := range events {
		switch e.Kind {
		case Fault:
			if on[e.Cause] {
				t.Fatalf("%s told twice", e.Cause)
			}
			on[e.Cause] = true
		case Clear:
			if !on[e.Cause] {
				t.Fatalf("%s cleared without a fault", e.Cause)
			}
			on[e.Cause] = false
		case Reading, Refused:
		}
		if e.Kind != Reading && e.Reason == "" {
			t.Fatalf("%s without a reason", e.Kind)
		}
	}
}
