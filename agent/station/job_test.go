package station

import (
	"encoding/json"
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"benchtally/agent/crimp"
	"benchtally/agent/record"
)

// jobs are the job cards of an invented shop: J-1 has one specification at both
// ends, J-2 another one at each.
func jobs(id string) (crimp.Job, bool) {
	hose := crimp.Part{Name: "two-wire 08", Maker: "M1", Lot: "H-1"}
	end := func(spec, fitting string, cutOff crimp.Length) crimp.End {
		return crimp.End{Spec: spec, Fitting: crimp.Part{Name: fitting, Maker: "M1", Lot: "F-1"}, CutOff: cutOff * crimp.Millimetre}
	}
	switch id {
	case "J-1":
		return crimp.Job{
			Order: id, Reference: "PO 77", Quantity: 2, Hose: hose,
			Ends:   [2]crimp.End{end("hs-08", "swivel", 31), end("hs-08", "elbow", 48)},
			Length: 1200 * crimp.Millimetre, Angle: record.Ptr(90), Working: 350 * crimp.Bar,
		}, true
	case "J-2":
		return crimp.Job{Order: id, Quantity: 2, Hose: hose, Ends: [2]crimp.End{end("hs-08", "swivel", 31), end("hs-12", "flange", 60)}}, true
	}
	return crimp.Job{}, false
}

func withJobs(r *Rules) {
	r.Jobs = jobs
	r.Points = Points{End: []string{"square-cut", "bore-open"}, Assembly: []string{"flushed", "capped"}}
	r.FirstPiece = true
	r.Standards = []crimp.Standard{{Name: "ring-25", Value: 25 * crimp.Millimetre, Allowed: 20 * crimp.Micrometre}}
	r.CheckEvery = 12 * time.Hour
	r.Intervals.OilDays = 7
}

// good crimps one end and measures it in the middle of its limits.
func (b *bench) good() *bench {
	b.t.Helper()
	b.stroke()
	o := b.s.state.Order
	for range o.Spec.Places {
		b.do(Reading{At: b.now, Value: o.Spec.Diameter, Step: 12_700, Raw: "r"})
	}
	return b
}

func (b *bench) order() *OrderView {
	b.t.Helper()
	o := b.s.View().Order
	if o == nil {
		b.t.Fatal("no order is in work")
	}
	return o
}

func (b *bench) refused(with string) *bench {
	b.t.Helper()
	if len(b.got) != 1 || b.got[0].Kind != record.Refused || !strings.Contains(b.got[0].Reason, with) {
		b.t.Fatalf("%+v, want one refusal with %q", b.got, with)
	}
	return b
}

// pieces tells the pieces of the order in work: number, assembly and end, outcome.
func (b *bench) pieces() string {
	var all []string
	for _, p := range b.order().Latest {
		all = append(all, brief(record.Record{Kind: record.Kind(p.ID), Assembly: p.Assembly, End: p.End, Outcome: p.Outcome}))
	}
	return strings.Join(all, ", ")
}

func TestEndsInTurn(t *testing.T) {
	b := newBench(t, withJobs)
	b.act(Action{Do: DoStart, Order: "J-1", Operator: "kj"}).want("start 0A")
	start := b.got[0]
	if start.Quantity != 2 || *start.Cut != 1121*crimp.Millimetre || *start.LengthPlus != 12*crimp.Millimetre || *start.LengthMinus != 4*crimp.Millimetre || start.HoseLot != "H-1" || start.BPart != "elbow" {
		t.Errorf("the start keeps %+v of the job", start.Job)
	}
	for range 4 {
		b.good()
	}
	if got, want := b.pieces(), "J-1/1 1A pass, J-1/2 1B pass, J-1/3 2A pass, J-1/4 2B pass"; got != want {
		t.Errorf("pieces %s, want %s", got, want)
	}
	if o := b.order(); !o.Crimped || o.Next != 3 || o.NextEnd != crimp.EndA || o.Done != 0 || o.Tally[crimp.Pass] != 4 {
		t.Errorf("%+v", o)
	}
}

func TestScrapEndTakesItsAssembly(t *testing.T) {
	b := newBench(t, withJobs).act(Action{Do: DoStart, Order: "J-1"})
	b.good()
	b.stroke().read("1.1900", "1.1900", "1.1900") // 1B undersize: its hose is lost
	b.good().good().good().good()
	if got, want := b.pieces(), "J-1/1 1A pass, J-1/2 1B scrap, J-1/3 2A pass, J-1/4 2B pass, J-1/5 3A pass, J-1/6 3B pass"; got != want {
		t.Errorf("pieces %s, want %s", got, want)
	}
	if o := b.order(); !o.Crimped || o.Lost != 1 || o.Marks.State(1, o.Ends, o.Points) != GivenUp || o.Marks.State(2, o.Ends, o.Points) != ToCheck {
		t.Errorf("crimped %t, lost %d, marks %v", o.Crimped, o.Lost, o.Marks)
	}
}

func TestTurn(t *testing.T) {
	b := newBench(t, withJobs).act(Action{Do: DoStart, Order: "J-1"})
	b.act(Action{Do: DoTurn, End: crimp.EndA}).want("turn 0A")
	b.good().good().good() // two of end A as ordered, then the other end
	b.act(Action{Do: DoTurn}).want("turn").good()
	if got, want := b.pieces(), "J-1/1 1A pass, J-1/2 2A pass, J-1/3 1B pass, J-1/4 2B pass"; got != want {
		t.Errorf("pieces %s, want %s", got, want)
	}
	b.act(Action{Do: DoTurn, End: "C"}).refused(`end "C": want A or B`)
}

func TestOtherEndOtherCage(t *testing.T) {
	b := newBench(t, withJobs).act(Action{Do: DoStart, Order: "J-2"})
	b.stroke().read("1.2100", "1.2100", "1.2100") // 1A too large
	b.act(Action{Do: DoLoad, Cage: "C-30"}).refused("piece J-2/1 is still to be crimped again")
	b.act(Action{Do: DoTurn}).refused("cage C-21 is loaded, hs-12 needs cage C-30")
	b.stroke().read("1.2000", "1.2000", "1.2000").good()
	if o := b.order(); !o.EndDone || o.Crimped || o.End != crimp.EndA {
		t.Errorf("end A of both: %+v", o)
	}
	// Loading the cage of the other end goes on with that end.
	b.act(Action{Do: DoLoad, Cage: "C-30"}).want("load", "start 0B")
	if b.got[1].Spec != "hs-12" || *b.got[1].Setting != 200 || b.got[1].Quantity != 2 || b.got[1].Pieces != 2 {
		t.Errorf("start of end B: %+v", b.got[1])
	}
	b.good().good()
	if got, want := b.pieces(), "J-2/3 1B pass, J-2/4 2B pass"; got != want {
		t.Errorf("pieces %s, want %s", got, want)
	}
	if o := b.order(); !o.Crimped {
		t.Errorf("marks %v", o.Marks)
	}
	// Back at end A its pieces are at hand again.
	b.act(Action{Do: DoLoad, Cage: "C-21"}).want("load", "start 0A")
	if got, want := b.pieces(), "J-2/1 1A pass, J-2/2 2A pass"; got != want {
		t.Errorf("pieces %s, want %s", got, want)
	}
	b.act(Action{Do: DoMeasure, Piece: "J-2/2"}).want("measure J-2/2")
	b.act(Action{Do: DoFinish}).act(Action{Do: DoLoad, Cage: "C-30"}).want("load")
	b.act(Action{Do: DoStart, Order: "J-2"}).want("verdict J-2/2 2A unsure crimp 1", "start 0B") // whose cage is loaded
}

func TestStartByJobCardRefuses(t *testing.T) {
	for name, c := range map[string]struct {
		act  Action
		want string
	}{
		"a spec that the card has not": {Action{Order: "J-1", Spec: "hs-12"}, "the job card of J-1 does not want hs-12"},
		"the wrong spec of an end":     {Action{Order: "J-2", End: crimp.EndA, Spec: "hs-12"}, "the job card of J-2 wants hs-08 at end A, not hs-12"},
		"an end that is none":          {Action{Order: "J-2", End: "C"}, `order J-2 has no end "C" that is crimped here`},
		"no card and no spec":          {Action{Order: "A-1"}, `spec "" is not in the specs files`},
		"an end without a card":        {Action{Order: "A-1", Spec: "hs-08", End: crimp.EndA}, "order A-1 has no job card"},
	} {
		t.Run(name, func(t *testing.T) {
			c.act.Do = DoStart
			newBench(t, withJobs).act(c.act).refused(c.want)
		})
	}
}

func TestLots(t *testing.T) {
	b := newBench(t, withJobs).act(Action{Do: DoStart, Order: "J-1"})
	b.act(Action{Do: DoLot, Lot: "H-2"}).want("lot")
	if b.got[0].Hint != "" || b.got[0].HoseLot != "H-2" {
		t.Errorf("lot %+v", b.got[0])
	}
	b.act(Action{Do: DoLot, End: crimp.EndB, Lot: "F-9", Maker: "F2", Operator: "kj"}).want("lot")
	if r := b.got[0]; r.BLot != "F-9" || r.ALot != "F-1" || !strings.Contains(r.Hint, "F2") {
		t.Errorf("lot %+v %+v", r, r.Job)
	}
	b.act(Action{Do: DoStart, Order: "J-1"}).want("start 0A") // lots told at the press stay
	if r := b.got[0]; r.HoseLot != "H-2" || r.BMaker != "F2" || !strings.Contains(r.Hint, "Mixing makers") {
		t.Errorf("start %+v %+v", r, r.Job)
	}
	b.act(Action{Do: DoLot, End: "C", Lot: "x"}).refused(`no end "C"`)
	b.act(Action{Do: DoLot, Lot: "a\tb"}).refused("cannot be written")
	b.act(Action{Do: DoFinish}).act(Action{Do: DoLot, Lot: "x"}).refused("no order is in work")
}

func TestDryTakesTheEndBack(t *testing.T) {
	b := newBench(t, withJobs).act(Action{Do: DoStart, Order: "J-1"})
	b.good().stroke()
	b.act(Action{Do: DoCheck, Points: "square-cut"}).want("check J-1/2 1B square-cut true")
	b.act(Action{Do: DoDry})
	if o := b.order(); o.Next != 1 || o.NextEnd != crimp.EndB || o.Marks.At("B:square-cut", 1) != MarkOpen {
		t.Errorf("next %d%s, marks %v", o.Next, o.NextEnd, o.Marks)
	}
	b.stroke().want("stroke J-1/2 1B crimp 1")
	b.act(Action{Do: DoSame}).want("same J-1/1 crimp 2 of 11")
	if o := b.order(); o.Next != 1 || o.NextEnd != crimp.EndB {
		t.Errorf("next %d%s, marks %v", o.Next, o.NextEnd, o.Marks)
	}
}

// TestDossierFromTheOrdersStart: the records before an order do not matter to its
// paper, and it agrees with the state.
func TestDossierFromTheOrdersStart(t *testing.T) {
	for seed := range uint64(60) {
		b := newBench(t, withJobs, func(r *Rules) { r.SnapEvery = 13 })
		random(b, seed, 300, func() {})
		for _, id := range []string{"A-1", "J-1", "J-2"} {
			whole := b.dossier(id, 0)
			if whole == nil {
				continue
			}
			if diff := cmp.Diff(whole, b.dossier(id, whole.From-1)); diff != "" {
				t.Fatalf("seed %d, %s: from the first record -, from its start +:\n%s", seed, id, diff)
			}
			o := b.s.state.Order
			if o == nil || o.ID != id {
				continue
			}
			if whole.From != o.First {
				t.Errorf("seed %d, %s: from %d, the state says %d", seed, id, whole.From, o.First)
			}
			byN := map[int]PieceEntry{}
			for _, p := range whole.Pieces {
				byN[p.N] = p
			}
			for _, p := range o.Pieces {
				e, ok := byN[p.N]
				if !ok || e.Outcome != p.Outcome || len(e.Crimps) != len(p.Shots) || e.Scrap != p.Given || e.Assembly != p.Assembly {
					t.Errorf("seed %d, %s/%d: %+v, the state has %+v", seed, id, p.N, e, p)
				}
			}
			consistent(t, o)
		}
	}
}

// dossier folds what was kept after a seq; nil: it does not speak of the order.
func (b *bench) dossier(id string, after uint64) *Dossier {
	b.t.Helper()
	c, err := NewClerk(b.s.rules, id)
	if err != nil {
		b.t.Fatal(err)
	}
	if err := b.log.After(after, c.Add); err != nil {
		b.t.Fatal(err)
	}
	d, _ := c.Dossier()
	return d
}

// TestOldOrdersAreRead: an order kept before there were job cards is gone on with.
func TestOldOrdersAreRead(t *testing.T) {
	b := newBench(t, withJobs)
	old := `{"id":"A-1","spec":{"ID":"hs-08","Cage":"C-21"},"quantity":6,"n":2,"pieces":[{"n":1,"shots":[{"seq":2,"setting":120,"set_up":1,"stroke":1}]},{"n":2,"due":true,"shots":[{"seq":7,"setting":120,"set_up":1,"stroke":2}]}],"tally":{}}`
	b.log.orders = map[string][]byte{"A-1": json.RawMessage(old)}
	b.act(Action{Do: DoStart, Order: "A-1", Spec: "hs-08"}).want("start").stroke().want("verdict A-1/2 unsure crimp 1", "stroke A-1/3 crimp 1")
}

// TestDossierTellsHowItWasDialled: what was advised for each crimp, its offset,
// and the cage's strokes and set-ups as the order saw them.
func TestDossierTellsHowItWasDialled(t *testing.T) {
	b := newBench(t, learning).setUps(5).start("B-2", 120).act(Action{Do: DoSet, Setting: record.Ptr(117)})
	b.piece("1.1990").act(Action{Do: DoSet, Setting: record.Ptr(118)}).piece("1.2080")
	b.act(Action{Do: DoSet, Setting: record.Ptr(110)}).piece("1.2005").load().piece("1.2000")
	b.stroke().act(Action{Do: DoSame}).read("1.1990", "1.1990", "1.1990") // nothing led to that
	var got []string
	for _, p := range b.dossier("B-2", 0).Pieces {
		for _, c := range p.Crimps {
			got = append(got, fmt.Sprintf("%s stroke %d set-up %d dialled %d advised %d offset %s", p.ID, c.Stroke, c.SetUp, c.Setting, c.Advised, c.Offset))
		}
	}
	want := []string{
		"B-2/1 stroke 1 set-up 1 dialled 117 advised 117 offset 0.0508mm", // 1.1990 in where 1.1970 in should come out
		"B-2/2 stroke 2 set-up 1 dialled 118 advised 118 offset 0.254mm",  // 1.2080 in, 1.1980 in
		"B-2/2 stroke 3 set-up 1 dialled 110 advised 110 offset 0.2667mm", // 1.2005 in, 1.1900 in
		"B-2/3 stroke 4 set-up 2 dialled 110 advised 115 offset 0.254mm",  // 1.2000 in, 1.1900 in
		"B-2/3 stroke 5 set-up 2 dialled 110 advised -1 offset 0.2286mm",  // 1.1990 in, 1.1900 in
	}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Error(diff)
	}
}
