package station

import (
	"testing"
	"time"

	"benchtally/agent/crimp"
	"benchtally/agent/record"
)

// begun is a bench with one assembly of J-1 crimped, both ends within limits.
func begun(t *testing.T) *bench {
	return newBench(t, withJobs).act(Action{Do: DoOperator, Operator: "kj"}).act(Action{Do: DoStart, Order: "J-1"}).good().good()
}

func mm(n int) *crimp.Length { return record.Ptr(crimp.Length(n) * crimp.Millimetre) }

func TestChecksOfAnAssembly(t *testing.T) {
	b := begun(t)
	state := func() AssemblyState { o := b.order(); return o.Marks.State(1, o.Ends, o.Points) }
	b.act(Action{Do: DoCheck, Piece: "J-1/1"}).want("check J-1/1 1A square-cut,bore-open true")
	if b.order().Look != "J-1/2" {
		t.Errorf("to be looked at: %q", b.order().Look)
	}
	b.act(Action{Do: DoCheck}).want("check J-1/2 1B square-cut,bore-open true")
	if b.order().Look != "" {
		t.Errorf("to be looked at: %q", b.order().Look)
	}
	b.act(Action{Do: DoCheck, Assembly: 1}).want("check 1 flushed,capped true")
	b.act(Action{Do: DoCheck, Assembly: 1, Value: mm(1213)}).want("check 1 length false")
	if r := b.got[0]; r.Reason != "0.04 in too long" || *r.Deviation != 13*crimp.Millimetre || *r.Plus != 12*crimp.Millimetre || r.Operator != "kj" {
		t.Errorf("%+v", r)
	}
	b.act(Action{Do: DoCheck, Assembly: 1, Value: mm(1195), OK: record.Ptr(true)}).want("check 1 length false")
	b.act(Action{Do: DoCheck, Assembly: 1, Value: mm(1196), Angle: record.Ptr(93.5)}).want("check 1 length,angle true") // ±5° above 610 mm
	b.act(Action{Do: DoCheck, Assembly: 1, Angle: record.Ptr(96.0)}).want("check 1 angle false")
	if got := b.got[0].Reason; got != "6 degrees off, 5 are allowed" {
		t.Errorf("reason %q", got)
	}
	b.act(Action{Do: DoCheck, Assembly: 1, Angle: record.Ptr(85.0)}).want("check 1 angle true")
	if state() != ToCheck {
		t.Errorf("without its proof test it is %q", state())
	}
	b.act(Action{Do: DoProof, Assembly: 1, Pressure: 690 * crimp.Bar, Hold: 45}).want("proof 1 false")
	b.act(Action{Do: DoProof, Assembly: 1, Pressure: 700 * crimp.Bar, Hold: 20}).want("proof 1 false")
	b.act(Action{Do: DoProof, Assembly: 1, Pressure: 700 * crimp.Bar, Hold: 30, OK: record.Ptr(false), Reason: "weeps at end B"}).want("proof 1 false")
	b.act(Action{Do: DoProof, Assembly: 1, Pressure: 700 * crimp.Bar, Hold: 30}).want("proof 1 true")
	if state() != Complete || b.order().Done != 1 {
		t.Errorf("it is %q, %d complete", state(), b.order().Done)
	}
	b.act(Action{Do: DoCheck, Piece: "J-1/2", Points: "bore-open", OK: record.Ptr(false), Reason: "burr"}).want("check J-1/2 1B bore-open false")
	if state() != ToCheck {
		t.Errorf("with its bore closed it is %q", state())
	}
}

func TestChecksRefuse(t *testing.T) {
	for name, c := range map[string]struct {
		act  Action
		want string
	}{
		"no such point":            {Action{Do: DoCheck, Points: "colour"}, `"colour" is no point of an end: want one of square-cut, bore-open, first-piece`},
		"a point of assemblies":    {Action{Do: DoCheck, Points: "flushed"}, `"flushed" is no point of an end`},
		"a point of ends":          {Action{Do: DoCheck, Assembly: 1, Points: "bore-open"}, `"bore-open" is no point of an assembly`},
		"a length of an end":       {Action{Do: DoCheck, Value: mm(1200)}, "a length and an angle are of an assembly"},
		"a length without a value": {Action{Do: DoCheck, Assembly: 1, Points: "length"}, "a length is checked by its measured value"},
		"a length of something":    {Action{Do: DoCheck, Assembly: 1, Points: "flushed", Value: mm(1200)}, "a length is checked by its measured value"},
		"an angle without a value": {Action{Do: DoCheck, Assembly: 1, Points: "angle"}, "an angle is checked by its measured value"},
		"a length of a mile":       {Action{Do: DoCheck, Assembly: 1, Value: mm(12_000)}, "472.44 in cannot be the length of an assembly of 47.24 in"},
		"an assembly to come":      {Action{Do: DoCheck, Assembly: 7}, "assembly 7 of order J-1 was not begun: 1 were"},
		"a piece to come":          {Action{Do: DoCheck, Piece: "J-1/9"}, `piece "J-1/9" is not at hand`},
		"a piece of another order": {Action{Do: DoCheck, Piece: "J-2/1"}, `piece "J-2/1" is not at hand`},
		"a proof of nothing":       {Action{Do: DoProof, Assembly: 1, Hold: 30}, "no pressure is named"},
		"a proof of no time":       {Action{Do: DoProof, Assembly: 1, Pressure: crimp.Bar, Hold: -1}, "held for -1 s"},
		"scrap without a reason":   {Action{Do: DoScrap}, "no reason is named"},
		"scrap of what stands":     {Action{Do: DoScrap, Off: true}, "piece J-1/2 is not given up already"},
		"scrap of no assembly":     {Action{Do: DoScrap, Assembly: 3, Reason: "leak"}, "assembly 3 of order J-1 was not begun"},
		"an operator of no name":   {Action{Do: DoCheck, Operator: "k\nj"}, "the name of the operator holds a character"},
		"a condition of no kind":   {Action{Do: DoCare, Work: crimp.Teardown, Condition: "rusty"}, `condition "rusty": want one of [good worn out]`},
		"a gauge ring not ours":    {Action{Do: DoStandard, Standard: "ring-9"}, `"ring-9" is no gauge block or ring of this shop: want one of ring-25`},
		"a gauge ring given up":    {Action{Do: DoStandard}, "no gauge block or ring is waited for"},
	} {
		t.Run(name, func(t *testing.T) { begun(t).act(c.act).refused(c.want) })
	}
	b := newBench(t, withJobs).begin().stroke()
	b.act(Action{Do: DoCheck, Assembly: 1}).refused("order A-1 has no job card: it is counted in single ends")
	b.act(Action{Do: DoFinish}).act(Action{Do: DoCheck}).refused("no order is in work")
	newBench(t).begin().stroke().act(Action{Do: DoCheck}).refused("the configuration names no points")
}

func TestFirstPieceIsSignedOffByName(t *testing.T) {
	b := newBench(t, withJobs).act(Action{Do: DoStart, Order: "J-1"})
	b.stroke().read("1.1900", "1.1900", "1.1900") // scrap: the next one is the first
	if b.order().Sign != "" {
		t.Errorf("to be signed off: %q", b.order().Sign)
	}
	b.stroke()
	if b.order().Sign != "J-1/2" {
		t.Errorf("to be signed off: %q", b.order().Sign)
	}
	b.act(Action{Do: DoCheck, Points: "first-piece"}).refused("a first piece is signed off by name")
	b.act(Action{Do: DoCheck, Points: "first-piece", Operator: "kj"}).refused("piece J-1/2 is not judged to be within its limits")
	b.read("1.2000", "1.2000", "1.2000")
	b.act(Action{Do: DoCheck, Points: "first-piece", Operator: "kj"}).want("check J-1/2 2A first-piece true")
	if b.order().Sign != "" {
		t.Errorf("still to be signed off: %q", b.order().Sign)
	}
	b.act(Action{Do: DoSet, Setting: record.Ptr(119)}).good() // another setting is no other set-up
	if b.order().Sign != "" {
		t.Errorf("after a set: %q", b.order().Sign)
	}
	b.act(Action{Do: DoLoad, Cage: "C-21"}).stroke()
	if b.order().Sign != "J-1/4" {
		t.Errorf("after a load: %q", b.order().Sign)
	}
}

func TestScrapByHand(t *testing.T) {
	b := begun(t)
	b.act(Action{Do: DoScrap, Piece: "J-1/1", Reason: "cut not square"}).want("scrap J-1/1 1A")
	if o := b.order(); o.Tally[crimp.Scrap] != 1 || o.Lost != 1 || o.Next != 2 {
		t.Errorf("%+v", o)
	}
	b.act(Action{Do: DoScrap, Piece: "J-1/1", Reason: "cut not square"}).refused("piece J-1/1 is given up already")
	b.act(Action{Do: DoScrap, Piece: "J-1/1", Off: true})
	if o := b.order(); o.Tally[crimp.Scrap] != 0 || o.Tally[crimp.Pass] != 2 || o.Lost != 0 {
		t.Errorf("%+v", o)
	}
	b.act(Action{Do: DoScrap, Assembly: 1, Reason: "leak in proof test"})
	if o := b.order(); o.Lost != 1 || o.Marks.State(1, o.Ends, o.Points) != GivenUp {
		t.Errorf("%+v", o)
	}
	b.act(Action{Do: DoScrap, Assembly: 1, Off: true})
	// A piece that waits to be crimped again is given up: the next stroke opens the next piece.
	b.stroke().read("1.2100", "1.2100", "1.2100")
	if b.order().Again != "J-1/3" {
		t.Fatalf("again %q", b.order().Again)
	}
	b.act(Action{Do: DoScrap, Reason: "hose damaged"})
	if o := b.order(); o.Again != "" || o.Next != 3 {
		t.Errorf("%+v", o)
	}
	b.act(Action{Do: DoScrap, Off: true})
	if b.order().Again != "J-1/3" {
		t.Errorf("not scrap after all, and again %q", b.order().Again)
	}
	// Readings of a piece that was given up are of none, and nobody waits for them.
	b.act(Action{Do: DoScrap, Reason: "hose damaged"}).read("1.2000").want("reading")
	b.stroke().act(Action{Do: DoScrap, Reason: "bore closed"})
	if b.order().Missing != 0 {
		t.Errorf("%d readings are waited for", b.order().Missing)
	}
	b.stroke().want("stroke J-1/5 4A crimp 1")
}

func TestCaliperAgainstARing(t *testing.T) {
	b := newBench(t, withJobs).begin()
	if !b.s.View().Checks.Due {
		t.Error("a caliper that was never checked is not due")
	}
	ring := func(value string) {
		t.Helper()
		b.act(Action{Do: DoStandard, Standard: "ring-25", Operator: "kj"}).want("standard ring-25 due")
		b.read(value)
	}
	ring("0.9845")
	b.want("standard ring-25 done true")
	if v := b.s.View(); v.Checks.Due || v.Checks.Doubt != 0 || v.Awaited != "" || v.Standard.Value != 25_006_300 {
		t.Errorf("%+v %+v", v.Checks, v.Standard)
	}
	good := b.s.Seq()
	b.stroke().read("1.2000", "1.2000", "1.2000")
	ring("0.9860")
	b.want("standard ring-25 done false doubt from 4")
	if v := b.s.View(); v.Checks.Doubt != good+1 {
		t.Errorf("in doubt from %d, want %d", v.Checks.Doubt, good+1)
	}
	d := b.dossier("A-1", 0)
	for _, r := range d.Pieces[0].Crimps[0].Readings {
		if !r.Doubt {
			t.Errorf("reading %d is not in doubt", r.Seq)
		}
	}
	b.stroke().read("1.2000", "1.2000", "1.2000")
	ring("0.9843")
	if d := b.dossier("A-1", 0); d.Pieces[1].Crimps[0].Readings[0].Doubt || !d.Pieces[0].Crimps[0].Readings[0].Doubt || len(d.Calipers) != 3 {
		t.Errorf("%+v", d.Pieces)
	}
	if v := b.s.View(); v.Checks.Doubt != 0 {
		t.Errorf("after a good check in doubt from %d", v.Checks.Doubt)
	}
	// What cannot be the ring is refused, and the ring still waited for.
	b.act(Action{Do: DoStandard, Standard: "ring-25"}).read("0.2000").refused("cannot be a reading of ring-25, which is 25mm")
	b.read("0.0000").want("zero")
	b.act(Action{Do: DoStandard}).want("standard ring-25 off")
	b.now = b.now.Add(13 * time.Hour)
	if b.stroke(); !b.s.View().Checks.Due {
		t.Error("after 13 hours it is not due")
	}
}

// TestNothingInDoubt: a bad check right behind a good one leaves nothing in doubt
// but what is read from then on.
func TestNothingInDoubt(t *testing.T) {
	bad := record.Record{Seq: 8, Kind: record.Zero, Value: record.Ptr(crimp.Millimetre), OK: record.Ptr(false)}
	for _, c := range []struct{ from, want uint64 }{{8, 0}, {7, 7}, {1, 1}} {
		bad.Doubt = c.from
		if e, ok := CaliperCheck(bad); !ok || e.Doubt != c.want || e.OK {
			t.Errorf("in doubt from %d: %+v, want from %d", c.from, e, c.want)
		}
	}
}

func TestZeroInDoubt(t *testing.T) {
	b := newBench(t).begin()
	b.read("0.0000").want("zero")
	b.stroke().read("1.2000")
	b.read("0.0030").want("zero doubt from 3")
	b.read("0.0000").want("zero")
}

func TestOilAndInspection(t *testing.T) {
	b := newBench(t, withJobs, func(r *Rules) { r.Retracts = true })
	b.act(Action{Do: DoLoad, Cage: "C-21"}).stroke()
	b.act(Action{Do: DoCare, Work: crimp.Oil}).refused("retract it first")
	b.do(Retract{At: b.now}).act(Action{Do: DoCare, Work: crimp.Oil, Operator: "kj", Finding: "topped up"}).want("care  oil done 1")
	b.now = b.now.AddDate(0, 0, 7)
	b.stroke().want("stroke", "care  oil due 1")
	if v := b.s.View().Oil; !v.Due || v.Strokes != 1 || v.Days != 0 {
		t.Errorf("%+v", v)
	}
	b.act(Action{Do: DoCare, Work: crimp.Teardown, Condition: crimp.Out, Finding: "two segments cracked"}).want("care C-21 teardown done 2")
	b.act(Action{Do: DoLoad, Cage: "C-21"}).refused("cage C-21 was taken out of service")
	b.act(Action{Do: DoCare, Work: crimp.Teardown, Cage: "C-21", Condition: crimp.Good}).act(Action{Do: DoLoad, Cage: "C-21"}).want("load")
}

func TestOperatorStays(t *testing.T) {
	b := newBench(t, withJobs)
	b.act(Action{Do: DoOperator, Operator: "mb"}).want("operator").act(Action{Do: DoStart, Order: "J-1"})
	if b.got[0].Operator != "mb" || b.s.View().Operator != "mb" {
		t.Errorf("start by %q", b.got[0].Operator)
	}
	b.act(Action{Do: DoOperator}).act(Action{Do: DoStart, Order: "J-1"})
	if b.got[0].Operator != "" {
		t.Errorf("start by %q", b.got[0].Operator)
	}
	// Without that, an operator is told with each order.
	b = newBench(t).act(Action{Do: DoStart, Order: "A-1", Spec: "hs-08", Operator: "kj"}).act(Action{Do: DoStart, Order: "A-1"})
	if b.got[0].Operator != "" {
		t.Errorf("start by %q", b.got[0].Operator)
	}
}
