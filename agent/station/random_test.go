package station

import (
	"fmt"
	"math/rand/v2"
	"testing"
	"time"

	"benchtally/agent/crimp"
	"benchtally/agent/record"
)

// random drives a bench with n inputs of any kind and calls check now and then.
func random(b *bench, seed uint64, n int, check func()) {
	rnd := rand.New(rand.NewPCG(seed, 1))
	orders := []string{"A-1", "J-1", "J-2"}
	specs := []string{"hs-08", "hs-09", "hs-12", "hs-99", ""}
	for i := range n {
		switch rnd.IntN(21) {
		case 0:
			b.act(Action{Do: DoStart, Order: orders[rnd.IntN(3)], Spec: specs[rnd.IntN(5)], Setting: record.Ptr(100 + rnd.IntN(100))})
		case 1:
			b.act(Action{Do: Dos()[rnd.IntN(len(Dos()))], Cage: fmt.Sprintf("C-%d", 21+9*rnd.IntN(2)), Work: crimp.Works()[rnd.IntN(3)], Setting: record.Ptr(rnd.IntN(1100)), Order: "A-1", Spec: "hs-08", Piece: fmt.Sprintf("A-1/%d", 1+rnd.IntN(20))})
		case 2:
			b.act(Action{Do: DoUndo})
		case 3:
			b.act(Action{Do: DoDry})
		case 4:
			b.act(Action{Do: DoSame})
		case 16, 17:
			b.act(randomAction(rnd))
		case 18:
			b.do(Reading{At: b.now, Value: crimp.Length(24_900+rnd.IntN(200)) * crimp.Micrometre, Step: 12_700, Raw: "ring"})
		case 19:
			b.act(Action{Do: DoLoad, Cage: fmt.Sprintf("C-%d", 21+9*rnd.IntN(2))})
		case 5:
			b.do(Fault{At: b.now, Source: record.Caliper, On: rnd.IntN(2) == 0, Reason: "away"})
		case 20: // the computer is started anew, or its clock is set
			jump := time.Duration(rnd.IntN(2000)-1000) * time.Hour
			b.now = b.now.Add(jump)
			if b.unset && rnd.IntN(2) == 0 {
				b.do(ClockSet{At: b.now, Behind: jump, From: uint64(max(1, int(b.s.Seq())-rnd.IntN(20)))})
			}
			b.unset = rnd.IntN(2) == 0
		case 6, 7, 8, 9:
			b.stroke()
		default:
			b.do(Reading{At: b.now, Value: crimp.Length(1190+rnd.IntN(25)) * crimp.Thousandth, Step: 12_700, Raw: "r"})
		}
		if i%37 == 0 {
			check()
		}
	}
	check()
}

// randomAction is one of those that a whole order has.
func randomAction(rnd *rand.Rand) Action {
	pick := func(of ...string) string { return of[rnd.IntN(len(of))] }
	ok, length, angle := rnd.IntN(4) > 0, crimp.Length(1190+rnd.IntN(30))*crimp.Millimetre, float64(rnd.IntN(360))
	a := Action{
		Do:    Do(pick("operator", "turn", "lot", "check", "check", "proof", "scrap", "scrap", "standard", "care", "start")),
		Order: pick("J-1", "J-2"), Operator: pick("", "kj", "mb"), End: crimp.EndName(pick("", "A", "B")), Lot: pick("L-1", "L-2"), Maker: pick("", "M1", "F2"),
		Reason: pick("", "leak"), Standard: pick("", "ring-25", "ring-25", "ring-9"), OK: &ok,
		Work: crimp.Work(pick("oil", "teardown")), Condition: crimp.Condition(pick("", "good", "worn", "out")),
		Pressure: crimp.Pressure(rnd.IntN(800)) * crimp.Bar, Hold: rnd.IntN(90), Off: rnd.IntN(3) == 0,
	}
	if a.Do == DoStart {
		return Action{Do: DoStart, Order: a.Order, End: a.End}
	}
	if rnd.IntN(2) == 0 {
		if a.Assembly = 1 + rnd.IntN(6); rnd.IntN(3) == 0 {
			a.Value, a.Angle = &length, &angle
		}
	} else if rnd.IntN(2) == 0 {
		a.Piece = fmt.Sprintf("%s/%d", a.Order, 1+rnd.IntN(20))
	}
	if a.Do == DoCheck {
		a.Points = pick("", "", "first-piece", "square-cut", "flushed", "nonsense")
	}
	return a
}

// consistent says whether what an order counts agrees with its pieces at hand.
func consistent(t *testing.T, o *order) {
	t.Helper()
	of := map[string]int{}
	for _, p := range o.Pieces {
		if len(p.Shots) == 0 || len(p.shot().Readings) > o.Spec.Places {
			t.Fatalf("piece %+v", p)
		}
		if (p.Assembly == 0) != (o.Job == nil) && p.End == o.End && o.End != "" {
			t.Fatalf("piece %+v in an order with the job card %+v", p, o.Job)
		}
		if p.Given != "" && p.Outcome != crimp.Scrap {
			t.Fatalf("piece %d was given up and is %q", p.N, p.Outcome)
		}
		if p.Assembly == 0 {
			continue
		}
		what := fmt.Sprintf("%d%s", p.Assembly, p.End)
		if of[what] != 0 {
			t.Fatalf("pieces %d and %d are both %s", of[what], p.N, what)
		}
		of[what] = p.N
		if got := o.Marks.At(string(p.End), p.Assembly); got != markOf(p.Outcome) {
			t.Fatalf("piece %d is %s with outcome %q and has the mark %c", p.N, what, p.Outcome, got)
		}
	}
	if o.Job != nil {
		if end, k := o.opens(); k < 1 || o.lost(k) || o.Marks.At(string(end), k) != MarkOpen {
			t.Fatalf("the next piece would be %d%s, marks %v", k, end, o.Marks)
		}
	}
}

func FuzzStation(f *testing.F) {
	f.Add(uint64(1))
	f.Fuzz(func(t *testing.T, seed uint64) {
		b := newBench(t, func(r *Rules) { r.SnapEvery = 11 }, withJobs)
		random(b, seed, 200, func() {
			if o := b.s.state.Order; o != nil {
				consistent(t, o)
			}
		})
	})
}

// holed is a log of which a rescue did not find everything.
type holed struct {
	Memory
	lost func(seq uint64) bool
}

// After folds what is left.
func (h *holed) After(seq uint64, fold func(record.Record) error) error {
	return h.Memory.After(seq, func(r record.Record) error {
		if h.lost(r.Seq) {
			return nil
		}
		return fold(r)
	})
}

// Whatever is lost of a history, the station folds the rest and goes on: it takes
// inputs, its state can be kept, and what is folded then is what was lived.
func FuzzHoles(f *testing.F) {
	for seed := range uint64(20) {
		f.Add(seed, seed*7, byte(seed))
	}
	f.Fuzz(func(t *testing.T, seed, holes uint64, share byte) {
		b := newBench(t, withJobs)
		random(b, seed, 200, func() {})
		rnd := rand.New(rand.NewPCG(holes, 2))
		lost := map[uint64]bool{}
		for seq := uint64(1); seq <= b.s.Seq(); seq += 1 + rnd.Uint64N(1+uint64(share)/4) {
			for n := rnd.Uint64N(8); n > 0; n-- {
				lost[seq] = true
				seq++
			}
		}
		delete(lost, b.s.Seq()) // the record of the rescue
		log := &holed{Memory: *b.log, lost: func(seq uint64) bool { return lost[seq] }}
		rules := shopRules()
		withJobs(&rules)
		rules.SnapEvery = 5
		s, err := Open(log, rules)
		if err != nil {
			t.Fatal(err)
		}
		s.View()
		left := &bench{t: t, log: &log.Memory, s: s, now: b.now}
		random(left, seed+1, 60, func() { s.View() })
		h, err := NewHistory(rules, all)
		if err != nil {
			t.Fatal(err)
		}
		if err := log.After(0, h.Add); err != nil {
			t.Fatal(err)
		}
		for _, j := range h.Judged() {
			if j.Offset != j.Offset {
				t.Fatalf("the offset of %s is no number", j.Piece)
			}
		}
	})
}
