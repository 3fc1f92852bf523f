package station

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"benchtally/agent/crimp"
	"benchtally/agent/record"
)

// all chooses everything.
func all(string, string, string, time.Time) bool { return true }

// history is what a bench's records leave judged, each told shortly.
func (b *bench) history() string {
	b.t.Helper()
	h, err := NewHistory(b.s.rules, all)
	if err != nil {
		b.t.Fatal(err)
	}
	if err := b.log.After(0, h.Add); err != nil {
		b.t.Fatal(err)
	}
	var lines []string
	for _, j := range h.Judged() {
		lines = append(lines, fmt.Sprintf("%s crimp %d setting %d set-up %d stroke %d: %+.1f, offset %+.1f",
			j.Piece, j.Crimp, j.Setting, j.SetUp, j.Stroke, j.Deviation()/25_400, j.Offset/25_400))
	}
	return strings.Join(lines, "\n")
}

func TestHistory(t *testing.T) {
	for name, c := range map[string]struct {
		do   func(b *bench)
		want string
	}{
		"as set and crimped again": {
			func(b *bench) {
				b.start("A-1", 120).piece("1.2080").act(Action{Do: DoSet, Setting: record.Ptr(112)}).piece("1.2010").piece("1.2005")
			},
			"A-1/1 crimp 1 setting 120 set-up 1 stroke 1: +8.0, offset +8.0\n" +
				"A-1/1 crimp 2 setting 112 set-up 1 stroke 2: +1.0, offset +9.0\n" +
				"A-1/2 crimp 1 setting 112 set-up 1 stroke 3: +0.5, offset +8.5",
		},
		"a reading withdrawn": {
			func(b *bench) { b.start("A-1", 120).piece("1.2010").piece("1.2900").act(Action{Do: DoUndo}) },
			"A-1/1 crimp 1 setting 120 set-up 1 stroke 1: +1.0, offset +1.0",
		},
		"and taken anew": {
			func(b *bench) { b.start("A-1", 120).piece("1.2020").act(Action{Do: DoUndo}).read("1.1990") },
			"A-1/1 crimp 1 setting 120 set-up 1 stroke 1: +1.0, offset +1.0",
		},
		"an older piece measured again": {
			func(b *bench) {
				b.start("A-1", 120).piece("1.2020").piece("1.2010").act(Action{Do: DoMeasure, Piece: "A-1/1"}).read("1.2000", "1.2000", "1.2000")
			},
			"A-1/1 crimp 1 setting 120 set-up 1 stroke 1: +0.0, offset +0.0\n" +
				"A-1/2 crimp 1 setting 120 set-up 1 stroke 2: +1.0, offset +1.0",
		},
		"the same piece after all": {
			func(b *bench) { b.start("A-1", 120).piece("1.2020").piece("1.2010").act(Action{Do: DoSame}) },
			"A-1/1 crimp 1 setting 120 set-up 1 stroke 1: +2.0, offset +2.0\n" +
				"A-1/1 crimp 2 setting 120 set-up 1 stroke 2: +1.0, offset +1.0",
		},
		"set-ups and strokes of the cage": {
			func(b *bench) { b.start("A-1", 120).piece("1.2020").load().stroke().piece("1.2010") },
			"A-1/1 crimp 1 setting 120 set-up 1 stroke 1: +2.0, offset +2.0\n" +
				"A-1/3 crimp 1 setting 120 set-up 2 stroke 3: +1.0, offset +1.0",
		},
		"nothing measured": {func(b *bench) { b.start("A-1", 120).stroke().stroke().read("1.2000") }, ""},
	} {
		t.Run(name, func(t *testing.T) {
			b := newBench(t)
			c.do(b)
			if got := b.history(); got != c.want {
				t.Errorf("got\n%s\nwant\n%s", got, c.want)
			}
		})
	}
}

// TestHistoryAgreesWithTheState: of the pieces at hand, the history has those that
// were measured, with their readings, whatever was withdrawn and moved.
func TestHistoryAgreesWithTheState(t *testing.T) {
	for seed := range uint64(40) {
		b := newBench(t, func(r *Rules) { r.SnapEvery = 13; r.Learn = true })
		random(b, seed, 400, func() {})
		h, err := NewHistory(b.s.rules, all)
		if err != nil {
			t.Fatal(err)
		}
		if err := b.log.After(0, h.Add); err != nil {
			t.Fatal(err)
		}
		o := b.s.state.Order
		if o == nil {
			continue
		}
		have := map[judgedKey]string{}
		for _, j := range h.Judged() {
			have[judgedKey{j.Piece, j.Crimp}] = fmt.Sprint(j.Readings)
		}
		for _, p := range o.Pieces {
			hit := p.shot()
			if len(hit.Readings) < o.Spec.Places || hit.Outcome == "" {
				continue
			}
			var want []crimp.Length
			for _, r := range hit.Readings {
				want = append(want, r.Value)
			}
			if got := have[judgedKey{o.id(p.N), len(p.Shots)}]; got != fmt.Sprint(want) {
				t.Errorf("seed %d: piece %s, crimp %d has %s, want %v", seed, o.id(p.N), len(p.Shots), got, want)
			}
		}
	}
}

// TestHistoryReads: every reading counts for the piece that it was of, whatever
// was said of the strokes later.
func TestHistoryReads(t *testing.T) {
	again := func(b *bench) *bench { return b.act(Action{Do: DoMeasure, Piece: "A-1/1"}) }
	for name, c := range map[string]struct {
		do   func(b *bench)
		want string
	}{
		"measured again": {
			func(b *bench) { again(b.start("A-1", 120).piece("1.2010")).read("1.2020", "1.2030", "1.2040") },
			"A-1/1 1:1.0 2:1.0 3:1.0 1:2.0 2:3.0 3:4.0",
		},
		"a slip taken back": {
			func(b *bench) { b.start("A-1", 120).stroke().read("1.2900").act(Action{Do: DoUndo}).read("1.2010") },
			"A-1/1 1:1.0",
		},
		"crimped again": {func(b *bench) { b.start("A-1", 120).piece("1.2080").piece("1.2010") }, "A-1/1 1:1.0 2:1.0 3:1.0"},
		"the same piece after all, then the next": {
			func(b *bench) {
				b.start("A-1", 120).piece("1.2010").piece("1.2000").act(Action{Do: DoSame}).piece("1.2040")
			},
			"A-1/1 1:0.0 2:0.0 3:0.0 A-1/2 1:4.0 2:4.0 3:4.0",
		},
		"a further crimp that was none": {
			func(b *bench) { b.start("A-1", 120).piece("1.2080").stroke().act(Action{Do: DoDry}) },
			"A-1/1 1:8.0 2:8.0 3:8.0",
		},
		"a dry stroke between a piece and its readings": {
			func(b *bench) { b.start("A-1", 120).stroke().stroke().read("1.2010", "1.2020").act(Action{Do: DoDry}) },
			"A-1/1 1:1.0 2:2.0",
		},
		"a dry stroke with readings that no piece wants": {
			func(b *bench) { b.start("A-1", 120).piece("1.2010").stroke().read("1.2050").act(Action{Do: DoDry}) },
			"A-1/1 1:1.0 2:1.0 3:1.0",
		},
	} {
		t.Run(name, func(t *testing.T) {
			b := newBench(t)
			c.do(b)
			h, err := NewHistory(b.s.rules, all)
			if err != nil {
				t.Fatal(err)
			}
			if err := b.log.After(0, h.Add); err != nil {
				t.Fatal(err)
			}
			var got, piece string
			for _, r := range h.Reads() {
				if r.Piece != piece {
					piece, got = r.Piece, got+" "+r.Piece
				}
				got += fmt.Sprintf(" %d:%.1f", r.Place, float64(r.Value-1200*crimp.Thousandth)/25_400)
			}
			if got = strings.TrimSpace(got); got != c.want {
				t.Errorf("got  %s\nwant %s", got, c.want)
			}
		})
	}
}

// TestHistoryOfAPrunedStore: records may begin anywhere.
func TestHistoryOfAPrunedStore(t *testing.T) {
	for seed := range uint64(10) {
		b := newBench(t)
		random(b, seed, 300, func() {})
		for from := uint64(0); from < b.s.Seq(); from += 7 {
			h, err := NewHistory(b.s.rules, all)
			if err != nil {
				t.Fatal(err)
			}
			if err := b.log.After(from, h.Add); err != nil {
				t.Fatal(err)
			}
			h.Judged()
		}
	}
}

// TestHistoryChooses: what is not chosen is not kept, and orders set aside long
// ago are let go.
func TestHistoryChooses(t *testing.T) {
	b := newBench(t)
	for i := range keptAside + 20 {
		b.start(fmt.Sprintf("A-%d", i), 120).piece("1.2000").act(Action{Do: DoFinish})
	}
	h, err := NewHistory(b.s.rules, func(order, cage, spec string, _ time.Time) bool {
		return order == "A-3" && cage == "C-21" && spec == "hs-08"
	})
	if err != nil {
		t.Fatal(err)
	}
	if err := b.log.After(0, h.Add); err != nil {
		t.Fatal(err)
	}
	if j := h.Judged(); len(j) != 1 || j[0].Piece != "A-3/1" || len(h.Reads()) != 3 {
		t.Errorf("judged %+v, read %+v", j, h.Reads())
	}
	if n := len(h.s.state.Aside); n > keptAside {
		t.Errorf("%d orders are at hand", n)
	}
}
