package main

import (
	"bufio"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"maps"
	"math"
	"strings"
	"testing"
	"time"
)

// yearLog is what the records say, read as any program would read the output of
// log --json.
type yearLog struct {
	kinds, outcomes, work, strokes map[string]int
	read                           int64
	first, last                    uint64
	gap                            string
}

func (l *yearLog) line(b []byte) error {
	var r struct {
		Seq                                                  uint64
		Kind, Outcome, Cage, Work, State, Source, Piece, For string
		Diameter                                             float64 `json:"diameter_mm"`
	}
	if err := json.Unmarshal(b, &r); err != nil {
		return err
	}
	if l.first == 0 {
		l.first = r.Seq
	} else if r.Seq != l.last+1 && l.gap == "" {
		l.gap = fmt.Sprintf("record %d follows %d", r.Seq, l.last)
	}
	l.last = r.Seq
	switch r.Kind {
	case "fault":
		if r.Source != "switch" && r.Source != "caliper" {
			r.Kind = "fault of the plant"
		}
	case "verdict":
		l.outcomes[r.Outcome]++
	case "care":
		l.work[r.Cage+" "+r.Work+" "+r.State]++
	case "stroke":
		l.strokes[r.Cage]++
	case "reading":
		l.read += int64(math.Round(r.Diameter / 0.00254))
	}
	l.kinds[r.Kind]++
	return nil
}

// logged reads what a command prints, line by line.
func (y *year) lines(each func([]byte) error, args ...string) {
	y.t.Helper()
	r, w := io.Pipe()
	done := make(chan error, 1)
	go func() {
		var errs strings.Builder
		code := run(env{context.Background(), strings.NewReader(""), w, &errs}, args)
		var err error
		if code != 0 {
			err = fmt.Errorf("%v: exit %d: %s", args, code, errs.String())
		}
		done <- err
		_ = w.CloseWithError(err)
	}()
	lines := bufio.NewScanner(r)
	lines.Buffer(nil, 256<<20) // the names of all pieces of a year are one line
	for lines.Scan() {
		if err := each(lines.Bytes()); err != nil {
			y.t.Fatalf("%s: %v", lines.Text(), err)
		}
	}
	_ = r.CloseWithError(lines.Err()) // nil at the end: who still writes is told so
	if err := errors.Join(lines.Err(), <-done); err != nil {
		y.t.Fatal(err)
	}
}

func sameCounts(t *testing.T, what string, got, want map[string]int) {
	t.Helper()
	delete(got, "fault of the plant")
	if maps.Equal(got, want) {
		return
	}
	keys := maps.Clone(got)
	maps.Copy(keys, want)
	for k := range keys {
		if got[k] != want[k] {
			t.Errorf("%s: %q: %d, the hands counted %d", what, k, got[k], want[k])
		}
	}
}

// compare holds what the agent says at the end against what the hands counted.
func (y *year) compare() {
	t := y.t
	t.Helper()
	y.open()
	y.quiet()
	y.sent()
	c := y.count

	l := &yearLog{kinds: map[string]int{}, outcomes: map[string]int{}, work: map[string]int{}, strokes: map[string]int{}}
	y.lines(l.line, "log", "--config", y.config, "--json")
	plant := l.kinds["fault of the plant"]
	if l.gap != "" {
		t.Error(l.gap)
	}
	if got, want := l.last, uint64(c.total()+plant); y.size.keep == 0 && got != want {
		t.Errorf("%d records, the hands counted %d", got, want)
	}
	if y.size.keep == 0 {
		if l.first != 1 {
			t.Errorf("the log begins with record %d", l.first)
		}
		sameCounts(t, "log", l.kinds, c.kinds)
		sameCounts(t, "verdicts", l.outcomes, c.outcomes)
		sameCounts(t, "care", l.work, c.work)
		strokes := map[string]int{}
		for id, g := range c.cages {
			strokes[id] = g.ever
		}
		sameCounts(t, "strokes", l.strokes, strokes)
		if l.read != c.read {
			t.Errorf("the readings add up to %d, those sent to %d ten-thousandths of an inch", l.read, c.read)
		}
	}
	if y.plant != nil {
		last, repeats, kinds, faults := y.heard.copy()
		for _, f := range faults {
			t.Error(f)
		}
		if last != l.last {
			t.Errorf("the broker got events up to %d of %d", last, l.last)
		}
		sameCounts(t, "events", kinds, c.kinds)
		y.table.note("events that came again: %d, behind %d power cuts and by resend", repeats, y.killed)
	}
	y.cagesAre()
	y.ordersAre()
	y.capabilityIs()
	y.close()
}

// cagesAre compares the care of each cage.
func (y *year) cagesAre() {
	h := y.hands
	h.finish()
	for id, g := range y.count.cages {
		h.load(id)
		y.quiet()
		var st status
		y.lines(func(b []byte) error { return json.Unmarshal(b, &st) }, "status", "--config", y.config, "--json")
		if st.Cage.Cage != id || st.Cage.Lubricate != g.lubricate || st.Cage.Teardown != g.teardown || st.Cage.Clean != g.clean ||
			st.Cage.LubricateDue != g.lubricateDue || st.Cage.TeardownDue != g.teardownDue {
			y.t.Errorf("status: %+v, the hands counted %+v", st.Cage, *g)
		}
		if since := st.Cage.TeardownSince; since == nil || since.Sub(g.torn).Abs() > time.Millisecond {
			y.t.Errorf("cage %s was torn down at %v, status says %v", id, g.torn, since)
		}
	}
}

// ordersAre compares what became of some orders, old and new.
func (y *year) ordersAre() {
	c := y.count
	outcome := map[string]byte{"pass": 'p', "scrap": 's', "unsure": 'u', "": 0}
	arch := archive{y.hands.a.store, stationRules(y.hands.a.cfg)}
	for i := range 24 {
		n := i * (len(c.orders) - 1) / 23
		o := c.orders[n]
		kept := y.size.keep == 0 || o.began.After(y.hands.at.AddDate(0, 0, -y.size.keep+1))
		if o.n == 0 {
			continue
		}
		want := c.of(n)
		if kept {
			d, err := arch.dossier(c.id(n), 0)
			if err != nil {
				y.t.Error(err)
				continue
			}
			var got strings.Builder
			for j, p := range d.Pieces {
				if p.N != j+1 {
					y.t.Errorf("order %s: piece %d where %d was expected", c.id(n), p.N, j+1)
				}
				got.WriteByte(outcome[string(p.Outcome)])
			}
			if got.String() != want {
				y.t.Errorf("order %s: %q, the hands counted %q", c.id(n), got.String(), want)
			}
			firsts := 0
			y.lines(func(b []byte) error {
				if strings.Contains(string(b), `"kind":"start"`) {
					firsts++
				}
				return nil
			}, "log", "--config", y.config, "--json", "--order", c.id(n))
			if firsts != o.visits {
				y.t.Errorf("log --order %s: %d starts, the hands started it %d times", c.id(n), firsts, o.visits)
			}
		}
		// However old it is, it goes on counting.
		if yearSpecs[o.spec].cage == y.hands.cage || i%4 == 0 {
			y.hands.start(n)
			y.quiet()
			var st status
			y.lines(func(b []byte) error { return json.Unmarshal(b, &st) }, "status", "--config", y.config, "--json")
			if st.Work.Order != c.id(n) || st.Work.Pieces != o.n {
				y.t.Errorf("order %s goes on at %s with %d pieces, the hands made %d", c.id(n), st.Work.Order, st.Work.Pieces, o.n)
			}
			y.hands.finish()
			y.quiet()
		}
	}
}

// capabilityIs compares mean and standard deviation of all first crimps to one
// specification.
func (y *year) capabilityIs() {
	if y.size.keep > 0 || len(y.count.tolds) < 2 {
		return
	}
	var got struct {
		N        int
		Mean, SD float64
	}
	var text strings.Builder
	y.lines(func(b []byte) error { text.Write(b); return nil }, "capability", "--config", y.config, "--spec", "hs-16")
	if err := json.Unmarshal([]byte(text.String()), &got); err != nil {
		y.t.Fatal(err)
	}
	n, sum, squares := float64(len(y.count.tolds)), 0.0, 0.0
	for _, v := range y.count.tolds {
		sum += v
		squares += v * v
	}
	mean, sd := sum/n*0.0254, math.Sqrt((squares-sum*sum/n)/(n-1))*0.0254
	if got.N != len(y.count.tolds) || math.Abs(got.Mean-mean) > 1e-9 || math.Abs(got.SD-sd) > 1e-9 {
		y.t.Errorf("capability: %+v, the hands counted %d, %.9f, %.9f", got, len(y.count.tolds), mean, sd)
	}
}
