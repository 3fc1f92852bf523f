package panel

import (
	"strings"
	"testing"

	"benchtally/agent/crimp"
	"benchtally/agent/record"
	"benchtally/agent/station"
)

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
		{"first place", newShop(t).start(6).stroke(), "Measure place 1 of 3 of piece A-1001/1"},
		{"second place", newShop(t).start(6).stroke().read("1.2010"), "Measure place 2 of 3 of piece A-1001/1"},
		{"within limits, on target", newShop(t).start(6).stroke().read("1.2000", "1.2000", "1.2000"), "Stroke: piece 2"},
		{"within limits, setting off", newShop(t).start(6).stroke().read("1.2010", "1.2020", "1.2000"), "Set 119, then stroke: piece 2"},
		{"setting told as advised", newShop(t).start(6).stroke().read("1.2010", "1.2020", "1.2000").set(119), "Stroke: piece 2"},
		{"readings left out", newShop(t).start(6).strokes(2), "Measure place 1 of 3 of piece A-1001/2"},
		{"not measured by plan", newShop(t, every3).start(6).stroke().read("1.2000", "1.2000", "1.2000").stroke(), "Stroke: piece 3"},
		{"too large", newShop(t).start(6).stroke().read("1.2080", "1.2080", "1.2080"), "Too large. Crimp the same piece again at 112"},
		{"too large, told", newShop(t).start(6).stroke().read("1.2080", "1.2080", "1.2080").set(112), "Too large. Crimp the same piece again at 112"},
		{"crimped again", newShop(t).start(6).stroke().read("1.2080", "1.2080", "1.2080").set(112).stroke(), "Measure place 1 of 3 of piece A-1001/1"},
		{"the crimp before was dry", newShop(t).start(6).stroke().read("1.2080", "1.2080", "1.2080").set(112).stroke().
			act(station.Action{Do: station.DoDry}), "Too large. Crimp the same piece again at 112"},
		{"too small", newShop(t).start(6).stroke().read("1.1930", "1.1930", "1.1930"), "Scrap this end. Set 127 for the next piece"},
		{"too small, told", newShop(t).start(6).stroke().read("1.1930", "1.1930", "1.1930").set(127), "Scrap this end. Stroke: piece 2"},
		{"near a limit", newShop(t, guarded).start(6).stroke().read("1.2050", "1.2050", "1.2050"), "Unsure. Measure it again or set this end aside"},
		{"reading withdrawn", newShop(t).start(6).stroke().read("1.2000", "1.2000", "1.2000").
			act(station.Action{Do: station.DoUndo}), "Measure place 3 of 3 of piece A-1001/1"},
		{"older piece measured again", newShop(t).start(6).stroke().read("1.2000", "1.2000", "1.2000").stroke().read("1.2000", "1.2000", "1.2000").
			act(station.Action{Do: station.DoMeasure, Piece: "A-1001/1"}), "Measure place 1 of 3 of piece A-1001/1"},
		{"all crimped", newShop(t).start(1).stroke().read("1.2000", "1.2000", "1.2000"), "All pieces are crimped. Finish the order"},
		{"scrap is made up for", newShop(t).start(1).stroke().read("1.1930", "1.1930", "1.1930").set(127), "Scrap this end. Stroke: piece 2"},
		{"order finished", newShop(t).start(1).stroke().act(station.Action{Do: station.DoFinish}), "No order. Start one"},
		{"lubrication due", newShop(t).start(60).strokes(50).read("1.2000", "1.2000", "1.2000").set(120), "Lubricate cage C-21, then stroke: piece 51"},
		{"lubrication due, setting off", newShop(t).start(60).strokes(50).read("1.2010", "1.2020", "1.2000"), "Lubricate cage C-21, set 119, then stroke: piece 51"},
		{"caliper not zeroed", newShop(t).start(6).stroke().read("0.0020"), "Caliper reads 0.0020 in closed. Wipe the jaws, zero it, send again"},
		{"caliper zeroed again", newShop(t).start(6).stroke().read("0.0020", "0.0000"), "Measure place 1 of 3 of piece A-1001/1"},
		{"caliper away while measuring", newShop(t).start(6).stroke().lose("caliper", "not connected, look at its cable"), "Caliper: not connected, look at its cable"},
		{"caliper away before a stroke", newShop(t).start(6).lose("caliper", "not connected"), "Caliper: not connected"},
		{"caliper away, too large", newShop(t).start(6).stroke().read("1.2080", "1.2080", "1.2080").lose("caliper", "not connected"), "Too large. Crimp the same piece again at 112"},
		{"caliper away, scrap", newShop(t).start(6).stroke().read("1.1930", "1.1930", "1.1930").set(127).lose("caliper", "not connected"), "Scrap this end. Caliper: not connected"},
		{"caliper says nothing of itself", newShop(t).start(6).lose("caliper", ""), "Caliper: does not work"},
		{"switch away while measuring", newShop(t).start(6).stroke().lose("switch", "no line GPIO17"), "Measure place 1 of 3 of piece A-1001/1"},
		{"switch away before a stroke", newShop(t).start(6).lose("switch", "no line GPIO17"), "Limit switch: no line GPIO17"},
		{"broker away", newShop(t).start(6).lose("broker", "no answer since 09:12"), "Stroke: piece 1"},
		{"store broken before all", newShop(t).start(6).stroke().lose("caliper", "not connected").lose("store", "disk full"), "Nothing is kept now. Store: disk full"},
	} {
		t.Run(c.name, func(t *testing.T) {
			if got := nextStep(c.shop.snapshot()); got != c.want {
				t.Errorf("got %q, want %q", got, c.want)
			}
		})
	}
}

func TestNextStepBeforeTheFirstSnapshot(t *testing.T) {
	if got, want := nextStep(NewBoard("north-bench").Now()), "Waiting for the station"; got != want {
		t.Errorf("got %q, want %q", got, want)
	}
}

// A re-crimp whose advice is gone still says what to do, without a setting.
func TestNextStepWithoutAdvice(t *testing.T) {
	s := newShop(t).start(6).stroke().read("1.2080", "1.2080", "1.2080").snapshot()
	s.View.Recrimp, s.View.Verdict = nil, nil
	if got, want := nextStep(s), "Crimp piece A-1001/1 again"; got != want {
		t.Errorf("got %q, want %q", got, want)
	}
}

// What was advised for another order is no advice for this one.
func TestAdviceOfAnotherOrder(t *testing.T) {
	p := newShop(t).start(6).stroke().read("1.2010", "1.2020", "1.2000")
	p.act(station.Action{Do: station.DoLoad, Cage: "C-21"}) // a new set-up
	p.act(station.Action{Do: station.DoStart, Order: "A-1002", Spec: "hs-08", Quantity: 2, Setting: record.Ptr(121)})
	if got, want := nextStep(p.snapshot()), "Stroke: piece 1"; got != want {
		t.Errorf("got %q, want %q", got, want)
	}
}

// What this set-up taught holds for the next order too.
func TestAdviceBeforeTheFirstPiece(t *testing.T) {
	p := newShop(t).start(6).stroke().read("1.2010", "1.2020", "1.2000")
	p.act(station.Action{Do: station.DoStart, Order: "A-1002", Spec: "hs-08", Quantity: 2, Setting: record.Ptr(121)})
	if got, want := nextStep(p.snapshot()), "Set 119, then stroke: piece 1"; got != want {
		t.Errorf("got %q, want %q", got, want)
	}
	if got, want := note(p.snapshot().View), "121 comes out 0.0020 in large ± 0.0020 in (1 first crimp)"; got != want {
		t.Errorf("note %q, want %q", got, want)
	}
}

func TestNextStepStaysShort(t *testing.T) {
	s := newShop(t).start(6).stroke().lose("caliper", strings.Repeat("no such file or directory ", 30)).snapshot()
	got := nextStep(s)
	want := "Caliper: " + strings.Repeat("no such file or directory ", 5) + "no such …"
	if got != want {
		t.Errorf("got %q, want %q", got, want)
	}
}

func TestStrip(t *testing.T) {
	spec := crimp.Spec{Diameter: length("1.200in"), Plus: length("0.005in"), Minus: length("0.005in")}
	exact := crimp.Spec{Diameter: length("1.200in")}
	oneSided := crimp.Spec{Diameter: length("1.200in"), Plus: length("0.010in")}
	for _, c := range []struct {
		name string
		spec crimp.Spec
		at   string
		want int
	}{
		{"target", spec, "1.200in", 280},
		{"lower limit", spec, "1.195in", 150},
		{"upper limit", spec, "1.205in", 410},
		{"over", spec, "1.208in", 488},
		{"far over", spec, "99in", 548},
		{"far under", spec, "0.3in", 12},
		{"one-sided, target is the lower limit", oneSided, "1.200in", 150},
		{"one-sided, middle", oneSided, "1.205in", 280},
		{"no tolerance, exact", exact, "1.200in", 280},
		{"no tolerance, over", exact, "1.2001in", 548},
		{"no tolerance, under", exact, "1.1999in", 12},
	} {
		t.Run(c.name, func(t *testing.T) {
			if got := newStrip(c.spec, []crimp.Length{length(c.at)}, nil).Marks[0]; got != c.want {
				t.Errorf("got %d, want %d", got, c.want)
			}
		})
	}
}
