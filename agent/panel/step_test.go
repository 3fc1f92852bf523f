package panel

import (
	"strings"
	"testing"

	"benchtally/agent/crimp"
	"benchtally/agent/record"
	"benchtally/agent/station"
	"benchtally/agent/words"
)

// english is a snapshot as it is shown in English.
func english(s Snapshot) scene { return NewBoard("north-bench", testShop()).scene(s, words.English) }

// called is the call of a moment, with what belongs to it behind a bar.
func called(s Snapshot) string {
	call := nextStep(english(s))
	if call.More == "" {
		return call.Head
	}
	return call.Head + " | " + call.More
}

func TestNextStep(t *testing.T) {
	guarded := func(r *station.Rules) { r.Judge.Confidence = 0.95 }
	every3 := func(r *station.Rules) { r.Every = 3 }
	for _, c := range []struct {
		name string
		shop *shop
		want string
	}{
		{"no order", newShop(t), "No order. Start one"},
		{"no order, caliper away", newShop(t).lose("caliper", "not connected"), "No order. Start one"},
		{"order started", newShop(t).start(6), "Stroke: piece 1"},
		{"first place", newShop(t).start(6).stroke(), "Measure place 1 of 3 | piece 1"},
		{"second place", newShop(t).start(6).stroke().read("1.2010"), "Measure place 2 of 3 | piece 1"},
		{"within limits, on target", newShop(t).start(6).stroke().read("1.2000", "1.2000", "1.2000"), "Stroke: piece 2"},
		{"within limits, setting off", newShop(t).start(6).stroke().read("1.2010", "1.2020", "1.2000"), "Set 119, then stroke | piece 2"},
		{"setting told as advised", newShop(t).start(6).stroke().read("1.2010", "1.2020", "1.2000").set(119), "Stroke: piece 2"},
		{"readings left out", newShop(t).start(6).strokes(2), "Measure place 1 of 3 | piece 2"},
		{"not measured by plan", newShop(t, every3).start(6).stroke().read("1.2000", "1.2000", "1.2000").stroke(), "Stroke: piece 3"},
		{"too large", newShop(t).start(6).stroke().read("1.2080", "1.2080", "1.2080"), "Crimp again at 112 | Too large · piece 1"},
		{"too large, told", newShop(t).start(6).stroke().read("1.2080", "1.2080", "1.2080").set(112), "Crimp again at 112 | Too large · piece 1"},
		{"crimped again", newShop(t).start(6).stroke().read("1.2080", "1.2080", "1.2080").set(112).stroke(), "Measure place 1 of 3 | piece 1"},
		{"the crimp before was dry", newShop(t).start(6).stroke().read("1.2080", "1.2080", "1.2080").set(112).stroke().
			act(station.Action{Do: station.DoDry}), "Crimp again at 112 | Too large · piece 1"},
		{"too small", newShop(t).start(6).stroke().read("1.1930", "1.1930", "1.1930"), "Scrap this end. Set 127 for the next piece"},
		{"too small, told", newShop(t).start(6).stroke().read("1.1930", "1.1930", "1.1930").set(127), "Scrap this end | Then: Stroke: piece 2"},
		{"near a limit", newShop(t, guarded).start(6).stroke().read("1.2050", "1.2050", "1.2050"), "Unsure. Measure it again | or set this end aside"},
		{"reading withdrawn", newShop(t).start(6).stroke().read("1.2000", "1.2000", "1.2000").
			act(station.Action{Do: station.DoUndo}), "Measure place 3 of 3 | piece 1"},
		{"older piece measured again", newShop(t).start(6).stroke().read("1.2000", "1.2000", "1.2000").stroke().read("1.2000", "1.2000", "1.2000").
			act(station.Action{Do: station.DoMeasure, Piece: "A-1001/1"}), "Measure place 1 of 3 | piece 1"},
		{"all crimped", newShop(t).start(1).stroke().read("1.2000", "1.2000", "1.2000"), "All pieces are crimped. Finish the order"},
		{"scrap is made up for", newShop(t).start(1).stroke().read("1.1930", "1.1930", "1.1930").set(127), "Scrap this end | Then: Stroke: piece 2"},
		{"order finished", newShop(t).start(1).stroke().act(station.Action{Do: station.DoFinish}), "No order. Start one"},
		{"lubrication due", newShop(t).start(60).strokes(50).read("1.2000", "1.2000", "1.2000").set(120), "Lubricate, then stroke | piece 51"},
		{"lubrication due, setting off", newShop(t).start(60).strokes(50).read("1.2010", "1.2020", "1.2000"), "Lubricate, set 119, then stroke | piece 51"},
		{"caliper not zeroed", newShop(t).start(6).stroke().read("0.0020"), "Wipe the jaws, zero, send again | Caliper reads 0.0020 in closed"},
		{"caliper zeroed again", newShop(t).start(6).stroke().read("0.0020", "0.0000"), "Measure place 1 of 3 | piece 1"},
		{"caliper away while measuring", newShop(t).start(6).stroke().lose("caliper", "not connected, look at its cable"), "Look at the caliper | Not connected, look at its cable"},
		{"caliper away before a stroke", newShop(t).start(6).lose("caliper", "not connected"), "Look at the caliper | Not connected"},
		{"caliper away, too large", newShop(t).start(6).stroke().read("1.2080", "1.2080", "1.2080").lose("caliper", "not connected"), "Crimp again at 112 | Too large · piece 1"},
		{"caliper away, scrap", newShop(t).start(6).stroke().read("1.1930", "1.1930", "1.1930").set(127).lose("caliper", "not connected"), "Scrap this end | Then: Look at the caliper · Not connected"},
		{"caliper says nothing of itself", newShop(t).start(6).lose("caliper", ""), "Look at the caliper | Does not work"},
		{"switch away while measuring", newShop(t).start(6).stroke().lose("switch", "no line GPIO17"), "Measure place 1 of 3 | piece 1"},
		{"switch away before a stroke", newShop(t).start(6).lose("switch", "no line GPIO17"), "Look at the limit switch | No line GPIO17"},
		{"broker away", newShop(t).start(6).lose("broker", "no answer since 09:12"), "Stroke: piece 1"},
		{"gauge ring awaited", newShop(t, withCards).start(6).act(station.Action{Do: station.DoStandard, Standard: "ring-25"}), "Measure ring-25 | It checks the caliper. The reading counts for no piece."},
		{"job card", newShop(t, withCards).card("A-1001"), "Stroke: end A | assembly 1"},
		{"job card, measuring", newShop(t, withCards).card("A-1001").good().stroke(), "Measure place 1 of 3 | piece 2 · assembly 1, end B"},
		{"first piece", newShop(t, withCards).card("A-1001").stroke().read("1.2000", "1.2010", "1.1990"), "First piece: have it signed off | piece 1 · assembly 1, end A"},
		{"points to look at", newShop(t, withCards).card("A-1001").good().stroke().read("1.2000", "1.2010", "1.1990"), "Look at this end | piece 2 · assembly 1, end B · insertion mark · no cracks"},
		{"the other end", newShop(t, withCards).card("A-1001").good(), "Stroke: end B | assembly 1"},
		{"the other end by request", newShop(t, withCards).card("A-1001").good().act(station.Action{Do: station.DoTurn, End: crimp.EndA}), "Stroke: end A | assembly 2"},
		{"all ends crimped", newShop(t, withCards).card("A-1001").good().good().good().good().good().good(), "All ends are crimped | Assemblies still to be judged or checked: 3"},
		{"the other end wants another cage", newShop(t, withCards, onePiece).card("A-1002").good(), "Load cage C-30 | for end B"},
		{"nothing is kept, before all", newShop(t).start(6).stroke().lose("caliper", "not connected").hold("disk full", 2, 5), "Nothing is kept now | Waiting: strokes 2, other 5. Store: disk full"},
		{"the store in trouble, and all is kept", newShop(t).start(6).lose("store", "the journal has room for 40 more"), "Stroke: piece 1"},
	} {
		t.Run(c.name, func(t *testing.T) {
			if got := called(c.shop.snapshot()); got != c.want {
				t.Errorf("got %q, want %q", got, c.want)
			}
		})
	}
}

func TestNextStepBeforeTheFirstSnapshot(t *testing.T) {
	if got, want := called(NewBoard("north-bench", Shop{}).Now()), "Waiting for the station"; got != want {
		t.Errorf("got %q, want %q", got, want)
	}
}

// A re-crimp whose advice is gone still says what to do, without a setting.
func TestNextStepWithoutAdvice(t *testing.T) {
	s := newShop(t).start(6).stroke().read("1.2080", "1.2080", "1.2080").snapshot()
	s.View.Recrimp, s.View.Verdict = nil, nil
	if got, want := called(s), "Crimp again | piece 1"; got != want {
		t.Errorf("got %q, want %q", got, want)
	}
}

// What was advised for another order is no advice for this one.
func TestAdviceOfAnotherOrder(t *testing.T) {
	p := newShop(t).start(6).stroke().read("1.2010", "1.2020", "1.2000")
	p.act(station.Action{Do: station.DoLoad, Cage: "C-21"}) // a new set-up
	p.act(station.Action{Do: station.DoStart, Order: "A-1002", Spec: "hs-08", Quantity: 2, Setting: record.Ptr(121)})
	if got, want := called(p.snapshot()), "Stroke: piece 1"; got != want {
		t.Errorf("got %q, want %q", got, want)
	}
}

// What this set-up taught holds for the next order too.
func TestAdviceBeforeTheFirstPiece(t *testing.T) {
	p := newShop(t).start(6).stroke().read("1.2010", "1.2020", "1.2000")
	p.act(station.Action{Do: station.DoStart, Order: "A-1002", Spec: "hs-08", Quantity: 2, Setting: record.Ptr(121)})
	if got, want := called(p.snapshot()), "Set 119, then stroke | piece 1"; got != want {
		t.Errorf("got %q, want %q", got, want)
	}
	if got, want := english(p.snapshot()).note(), "121 comes out 0.0020 in large ± 0.0020 in (1 first crimp)"; got != want {
		t.Errorf("note %q, want %q", got, want)
	}
}

func TestNextStepStaysShort(t *testing.T) {
	s := newShop(t).start(6).stroke().lose("caliper", strings.Repeat("no such file or directory ", 30)).snapshot()
	got := called(s)
	want := "Look at the caliper | No such file or directory " + strings.Repeat("no such file or directory ", 4) + "no such file or …"
	if got != want {
		t.Errorf("got %q, want %q", got, want)
	}
}
