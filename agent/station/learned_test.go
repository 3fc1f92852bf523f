package station

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"benchtally/agent/crimp"
	"benchtally/agent/record"
)

// piece crimps a piece and reads it in three places, all alike.
func (b *bench) piece(value string) *bench { return b.stroke().read(value, value, value) }

// next is the latest advice for the next piece.
func (b *bench) next() record.Record {
	b.t.Helper()
	r := b.s.state.next()
	if r == nil {
		b.t.Fatal("there is no advice")
	}
	return *r
}

func (b *bench) start(order string, setting int) *bench {
	return b.act(Action{Do: DoStart, Order: order, Spec: "hs-08", Quantity: 9, Setting: record.Ptr(setting)})
}

func (b *bench) load() *bench { return b.act(Action{Do: DoLoad, Cage: "C-21"}) }

// setUps makes set-ups of three pieces that come out 0.003in large, give or take
// 0.001in from set-up to set-up.
func (b *bench) setUps(n int) *bench {
	for i := range n {
		b.start(fmt.Sprintf("A-%d", 100+i), 120)
		for range 3 {
			b.piece([]string{"1.2030", "1.2020", "1.2040"}[i%3])
		}
		b.act(Action{Do: DoFinish}).load()
	}
	return b
}

func learning(r *Rules) { r.Learn = true; r.SnapEvery = 20 }

// TestEarlierSetUpsTeach: after five set-ups the sixth knows what to expect, and
// says so before its first piece.
func TestEarlierSetUpsTeach(t *testing.T) {
	b := newBench(t, learning).setUps(4).start("B-1", 120)
	if r := b.got[0]; r.Advised != nil || b.s.View().Opening != nil {
		t.Fatalf("four set-ups advise %v", *r.Advised)
	}
	b.piece("1.2030").piece("1.2030").piece("1.2030").act(Action{Do: DoFinish}).load().start("B-2", 120)
	r := b.got[0]
	if r.Advised == nil || *r.Advised != 117 || r.SetUps != 5 || *r.Offset != 76_200 {
		t.Fatalf("five set-ups advise %s", r.AppendJSON(nil))
	}
	// First offsets of 3, 2, 4, 3 and 3 thousandths: their mean is 3, their
	// variance 0.5, that of a further one 0.5 · 1.2 · 2.
	if want := math.Round(math.Sqrt(0.5*1.2*2) * 25_400); float64(*r.OffsetU) != want {
		t.Errorf("give or take %v nm, want %v", *r.OffsetU, want)
	}
	if want := "120 comes out 0.0030 in large ± 0.0022 in (5 earlier set-ups)"; r.Reason != want {
		t.Errorf("reason %q, want %q", r.Reason, want)
	}
	open := b.s.View().Opening
	if open == nil || *open.Setting != 117 || *open.Change != -3 || open.Reason != r.Reason {
		t.Fatalf("the view advises %+v", open)
	}
	b.act(Action{Do: DoSet, Setting: record.Ptr(117)}).piece("1.1990")
	if b.s.View().Opening != nil {
		t.Error("the first advice stands beside that of the first piece")
	}
	// The piece, set to 117, says 2, what was expected 3: weighed by 1/(1+σ²/σ0²).
	k := 1 / (1 + 1/(0.5*1.2*2))
	c := b.next()
	if want := math.Round((3 - k) * 25_400); float64(*c.Offset) != want || c.Crimps != 1 || c.SetUps != 5 {
		t.Errorf("%s, want an offset of %v nm", c.AppendJSON(nil), want)
	}
	if *c.Change != 1 || !strings.HasSuffix(c.Reason, "(1 first crimp and 5 earlier set-ups)") {
		t.Errorf("reason %q", c.Reason)
	}
}

// TestLearnedPriorIsDoubted: a set-up unlike the ones before is taken as it is.
func TestLearnedPriorIsDoubted(t *testing.T) {
	b := newBench(t, learning).setUps(6).start("B-1", 120).piece("1.2350")
	if c := b.next(); *c.Setting != 85 || c.SetUps != 0 || *c.Offset != 35*crimp.Thousandth {
		t.Errorf("%s, want all of the 0.035in", c.AppendJSON(nil))
	}
}

// TestNothingIsLearnedWhenTold: learn = off, and the harmonic rule stays.
func TestNothingIsLearnedWhenTold(t *testing.T) {
	b := newBench(t, func(r *Rules) { r.SnapEvery = 20 }).setUps(8).start("B-1", 120).piece("1.2050")
	if c := b.next(); *c.Setting != 115 || c.SetUps != 0 || c.Crimps != 1 {
		t.Errorf("%s", c.AppendJSON(nil))
	}
}

// TestAnotherOrderGoesOnWithTheSetUp: nothing was changed at the cage, so what
// is known of the offset stands for the next order too.
func TestAnotherOrderGoesOnWithTheSetUp(t *testing.T) {
	b := newBench(t).start("A-1", 120).piece("1.2030").piece("1.2010").start("A-2", 120)
	if r := b.got[0]; r.Advised == nil || *r.Advised != 118 || r.Crimps != 2 || r.SetUps != 0 {
		t.Fatalf("%s, want the mean of both pieces", r.AppendJSON(nil))
	}
	b.load()
	if b.s.View().Opening != nil {
		t.Error("a set-up that was ended still advises")
	}
}

// TestLessonsSurviveRestarts: they are kept beside the snapshots, and folded.
func TestLessonsSurviveRestarts(t *testing.T) {
	for _, every := range []int{1, 7, 50, 10_000} {
		b := newBench(t, learning, func(r *Rules) { r.SnapEvery = every })
		for range 6 {
			b.setUps(1)
			again, err := Open(b.log, b.s.rules)
			if err != nil {
				t.Fatal(err)
			}
			b.s = again
		}
		if b.start("B-1", 120); b.got[0].SetUps != 6 {
			t.Errorf("a snapshot every %d: %s, want 6 set-ups", every, b.got[0].AppendJSON(nil))
		}
	}
}

// TestAWithdrawnPieceTeachesNothing.
func TestAWithdrawnPieceTeachesNothing(t *testing.T) {
	b := newBench(t, learning).start("A-1", 120).piece("1.2030").piece("1.2030").piece("1.2030").piece("1.2900")
	b.act(Action{Do: DoUndo}).act(Action{Do: DoFinish}).load()
	lessons := b.s.lessons("C-21", "hs-08")
	if len(lessons) != 1 || lessons[0].N != 3 || lessons[0].First != 76_200 {
		t.Errorf("lessons %+v, want three pieces of 0.003in", lessons)
	}
}

// TestAim: with costs told the advice is beside the target, and says why.
func TestAim(t *testing.T) {
	b := newBench(t, func(r *Rules) { r.Costs = crimp.Costs{Shape: crimp.Linear, Scrap: 3, Stroke: 1} }).start("A-1", 120).piece("1.2000")
	c := b.next()
	// After one piece the next scatters by √2 thousandths about it; Φ⁻¹(3/4) of it.
	if want := math.Round(0.6744897501960817 * math.Sqrt2 * 25_400); c.Aim == nil || float64(*c.Aim) != want {
		t.Fatalf("%s, want an aim of %v nm", c.AppendJSON(nil), want)
	}
	if *c.Setting != 121 || *c.Change != 1 {
		t.Errorf("setting %d, want 121", *c.Setting)
	}
	if want := "120 comes out on target ± 0.0020 in (1 first crimp); aim 0.0010 in high: an undersize end is scrap"; c.Reason != want {
		t.Errorf("reason %q, want %q", c.Reason, want)
	}
}

// TestAimSaysWhy: the words name what moves the aim most.
func TestAimSaysWhy(t *testing.T) {
	for name, c := range map[string]struct {
		costs       crimp.Costs
		plus, minus crimp.Length
		want        string
	}{
		"scrap is dear":               {crimp.Costs{Shape: crimp.AtLimits, Scrap: 20, Stroke: 1}, 5, 5, "high: an undersize end is scrap"},
		"more room above":             {crimp.Costs{Shape: crimp.AtLimits, Scrap: 3, Stroke: 1}, 8, 2, "high: that is about the middle of the limits"},
		"more room below":             {crimp.Costs{Shape: crimp.AtLimits, Scrap: 3, Stroke: 1}, 2, 8, "low: that is about the middle of the limits"},
		"strokes are dear":            {crimp.Costs{Shape: crimp.AtLimits, Scrap: 1, Stroke: 20}, 5, 5, "low: a second stroke costs more than scrap"},
		"about the target, more room": {crimp.Costs{Shape: crimp.Linear, Scrap: 3, Stroke: 1}, 8, 2, "high: an undersize end is scrap"},
	} {
		b := newBench(t, func(r *Rules) {
			r.Costs = c.costs
			r.Specs[0].Plus, r.Specs[0].Minus = c.plus*crimp.Thousandth, c.minus*crimp.Thousandth
		}).start("A-1", 120).piece("1.2000")
		if got := b.next().Reason; !strings.HasSuffix(got, c.want) {
			t.Errorf("%s: %q, want %q", name, got, c.want)
		}
	}
}

// TestGuardedAim: the aim stays inside the guard bands.
func TestGuardedAim(t *testing.T) {
	b := newBench(t, func(r *Rules) {
		r.Costs = crimp.Costs{Shape: crimp.Linear, Scrap: 1e6, Stroke: 1}
		r.Judge.Confidence, r.U = 0.95, 2*crimp.Thousandth
	}).start("A-1", 120).piece("1.2000")
	z := 1.6448536269514722 // one-sided 95 % quantile of the normal distribution
	if c, want := b.next(), math.Round((5-2*z)*25_400); float64(*c.Aim) != want {
		t.Errorf("aim %v nm, want %v", *c.Aim, want)
	}
}

// TestZeroIsNotAveragedAway: the shift seen with the jaws closed counts whole,
// however many readings there are.
func TestZeroIsNotAveragedAway(t *testing.T) {
	b := newBench(t).start("A-1", 120)
	u := func() float64 { return float64(*b.s.state.Last.Verdict.U) }
	b.piece("1.2000")
	// 0.02mm/√3, 0.0005in/√12 and 0.0005in/√3 for a zero that was not looked at.
	if want := math.Sqrt(20_000*20_000/3 + 12_700*12_700/12.0 + 12_700*12_700/3.0); math.Abs(u()-want) > 1 {
		t.Errorf("u %v nm, want %v", u(), want)
	}
	b.read("0.0005").piece("1.2000")
	if want := math.Sqrt(20_000*20_000/3 + 12_700*12_700/12.0 + 12_700*12_700*(1+1/12.0)); math.Abs(u()-want) > 1 {
		t.Errorf("u %v nm, want %v", u(), want)
	}
	b.read("0.0000").piece("1.2000")
	if want := math.Sqrt(20_000*20_000/3 + 2*12_700*12_700/12.0); math.Abs(u()-want) > 1 {
		t.Errorf("u %v nm, want %v", u(), want)
	}
}

// TestAnOldZeroSaysNothing: a check of the closed jaws holds for a shift, and one
// that was not good is pointed at.
func TestAnOldZeroSaysNothing(t *testing.T) {
	b := newBench(t).read("0.0090").start("A-1", 120).piece("1.2000")
	last := b.s.state.Last.Verdict
	if want := "the closed jaws showed 0.0090 in: wipe them, zero the caliper and send the closed jaws again"; last.Hint != want || *last.U < 228_600 {
		t.Errorf("hint %q, u %v", last.Hint, *last.U)
	}
	b.now = b.now.Add(13 * time.Hour)
	b.piece("1.2000")
	if last = b.s.state.Last.Verdict; last.Hint != "" || *last.U > 20_000 {
		t.Errorf("a day later: hint %q, u %v", last.Hint, *last.U)
	}
}

// TestASheetThatWasCorrected: the offset is of the press, so it is not taken off
// twice when the sheet's setting is put right, in the set-up or after it.
func TestASheetThatWasCorrected(t *testing.T) {
	correct := func(b *bench, setting int) {
		t.Helper()
		rules := b.s.rules
		rules.Specs = slices.Clone(rules.Specs)
		rules.Specs[0].Setting = setting
		again, err := Open(b.log, rules)
		if err != nil {
			t.Fatal(err)
		}
		b.s = again
	}
	b := newBench(t, learning).start("A-1", 120).piece("1.2040").piece("1.2040").piece("1.2040").act(Action{Do: DoFinish})
	correct(b, 116)
	if b.start("A-2", 116); *b.got[0].Advised != 116 || *b.got[0].Offset != 0 {
		t.Errorf("in the set-up: %s, want 116", b.got[0].AppendJSON(nil))
	}
	b.piece("1.2000").piece("1.2000").piece("1.2000")
	if c := b.next(); *c.Setting != 116 || *c.Offset != 0 || c.Crimps != 6 {
		t.Errorf("then: %s", c.AppendJSON(nil))
	}
	b = newBench(t, learning).setUps(6) // 3 too large
	correct(b, 117)
	if b.start("B-1", 117); *b.got[0].Advised != 117 || b.got[0].SetUps != 6 || *b.got[0].Offset != 0 {
		t.Errorf("after six set-ups: %s, want 117", b.got[0].AppendJSON(nil))
	}
}

// TestAWidePriorAdvisesNothing: before a piece was measured there is no advice
// from what is less sure than the tolerance.
func TestAWidePriorAdvisesNothing(t *testing.T) {
	for prior, want := range map[crimp.Length]bool{4 * crimp.Thousandth: true, 6 * crimp.Thousandth: false} {
		b := newBench(t, func(r *Rules) {
			r.Model.PriorKnown, r.Model.PriorMean, r.Model.Prior = true, float64(9*crimp.Thousandth), float64(prior)
		}).start("A-1", 120)
		if got := b.got[0].Advised != nil; got != want || (b.s.View().Opening != nil) != want {
			t.Errorf("a prior of ±%v advises: %v, want %v", prior, got, want)
		}
	}
}

// TestLongTextsAreCut: noise on the wire may be long, a record may not.
func TestLongTextsAreCut(t *testing.T) {
	b := newBench(t)
	b.do(Refusal{At: b.now, Source: record.Caliper, Reason: "noise: " + strings.Repeat("é", 5000), Raw: strings.Repeat("x", 70_000)})
	r := b.got[0]
	if len(r.Raw) != longestText+len("…") || len(r.Reason) > longestText+len("…") || !strings.HasSuffix(r.Reason, "é…") {
		t.Errorf("raw of %d bytes, reason of %d bytes", len(r.Raw), len(r.Reason))
	}
}
