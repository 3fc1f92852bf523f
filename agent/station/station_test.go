package station

import (
	"encoding/json"
	"fmt"
	"strings"
	"testing"
	"time"

	"benchtally/agent/crimp"
	"benchtally/agent/record"
)

var began = time.Date(2026, 3, 2, 6, 0, 0, 0, time.UTC)

// bench is a station on a memory log with a clock of its own.
type bench struct {
	t   *testing.T
	s   *Station
	log *Memory
	now time.Time
	got []record.Record // of the latest call

	unset bool // nothing keeps the clock right
}

func shopRules() Rules {
	inch := func(s string) crimp.Length {
		l, err := crimp.ParseLength(s)
		if err != nil {
			panic(err)
		}
		return l
	}
	return Rules{
		Scale:  crimp.Scale{Step: crimp.Thousandth, Highest: 999},
		Model:  crimp.Model{Noise: float64(crimp.Thousandth)},
		Places: 3, Every: 1,
		Gauge:     crimp.Gauge{Limit: inch("0.02mm"), Zero: crimp.Zero{Allowed: inch("0.0005in")}},
		Intervals: crimp.Intervals{Lubricate: 50, Teardown: 1000, Months: 6},
		Specs: []crimp.Spec{
			{ID: "hs-08", Cage: "C-21", Unit: crimp.Inches, Diameter: inch("1.200in"), Plus: inch("0.005in"), Minus: inch("0.005in"), Setting: 120, Recrimps: 1},
			{ID: "hs-12", Cage: "C-30", Unit: crimp.Millimetres, Diameter: inch("38.00mm"), Plus: inch("0.10mm"), Minus: inch("0.10mm"), Setting: 200},
			{ID: "hs-09", Cage: "C-21", Unit: crimp.Inches, Diameter: inch("1.250in"), Plus: inch("0.005in"), Minus: inch("0.005in"), Setting: 170, Places: 2},
		},
	}
}

func newBench(t *testing.T, change ...func(*Rules)) *bench {
	t.Helper()
	rules := shopRules()
	for _, c := range change {
		c(&rules)
	}
	b := &bench{t: t, log: &Memory{Keep: true}, now: began}
	rules.ClockState = func() string {
		if b.unset {
			return Unset
		}
		return ""
	}
	var err error
	if b.s, err = Open(b.log, rules); err != nil {
		t.Fatal(err)
	}
	return b
}

func (b *bench) do(in ...Input) *bench {
	b.t.Helper()
	got, err := b.s.Do(in...)
	if err != nil {
		b.t.Fatal(err)
	}
	b.got = got
	b.now = b.now.Add(10 * time.Second)
	return b
}

func (b *bench) act(a Action) *bench { a.At = b.now; return b.do(a) }
func (b *bench) stroke() *bench      { return b.do(Stroke{At: b.now, Held: 800 * time.Millisecond}) }

// read gives readings in inches.
func (b *bench) read(values ...string) *bench {
	b.t.Helper()
	var all []record.Record
	for _, v := range values {
		l, err := crimp.ParseDecimal(v, crimp.Inches)
		if err != nil {
			b.t.Fatal(err)
		}
		b.do(Reading{At: b.now, Value: l, Step: crimp.Inch / 2000, Raw: v})
		all = append(all, b.got...)
	}
	b.got = all
	return b
}

// want compares the records of the latest call, each told shortly.
func (b *bench) want(lines ...string) *bench {
	b.t.Helper()
	var got []string
	for _, r := range b.got {
		got = append(got, brief(r))
	}
	if g, w := strings.Join(got, "\n"), strings.Join(lines, "\n"); g != w {
		b.t.Fatalf("records\n%s\nwant\n%s", g, w)
	}
	return b
}

// brief tells a record by what matters to these tests.
func brief(r record.Record) string {
	s := string(r.Kind)
	add := func(format string, args ...any) { s += " " + fmt.Sprintf(format, args...) }
	if r.Piece != "" {
		add("%s", r.Piece)
	}
	if r.End != "" || r.Assembly != 0 {
		add("%d%s", r.Assembly, r.End)
	}
	if r.Points != "" {
		add("%s", r.Points)
	}
	if r.Standard != "" {
		add("%s %s", r.Standard, r.State)
	}
	if r.OK != nil && r.Kind != record.Zero {
		add("%t", *r.OK)
	}
	if r.Doubt != 0 {
		add("doubt from %d", r.Doubt)
	}
	if r.Place != 0 {
		add("place %d", r.Place)
	}
	if r.Outcome != "" {
		add("%s", r.Outcome)
	}
	if r.Crimp != 0 {
		add("crimp %d", r.Crimp)
	}
	if r.Kind == record.Verdict && r.Deviation != nil {
		add("%s", r.Deviation.Text(crimp.Inches, 4))
	}
	if r.For != "" {
		add("%s %s %+d", r.For, crimp.Dial(*r.Setting), *r.Change)
	}
	if r.Work != "" {
		add("%s %s %s %d", r.Cage, r.Work, r.State, *r.Strokes)
	}
	if r.Of != 0 {
		add("of %d", r.Of)
	}
	if r.Kind == record.Refused || r.Kind == record.Fault {
		add("%s", r.Source)
	}
	return s
}

func (b *bench) begin() *bench {
	return b.act(Action{Do: DoStart, Order: "A-1", Spec: "hs-08", Quantity: 6, Setting: record.Ptr(120)}).want("start")
}

func TestOversizeByThirtyFive(t *testing.T) {
	// Setting 120 and 0.035 in too large means 085: common practice, no source.
	b := newBench(t).begin()
	b.stroke().want("stroke A-1/1 crimp 1")
	b.read("1.2350", "1.2350", "1.2350").want(
		"reading A-1/1 place 1", "reading A-1/1 place 2", "reading A-1/1 place 3",
		"verdict A-1/1 recrimp crimp 1 0.0350 in",
		"correction A-1/1 recrimp 085 -35", "correction A-1/1 next 085 -35")
	b.act(Action{Do: DoSet, Setting: record.Ptr(85)})
	b.stroke().want("stroke A-1/1 crimp 2")
	b.read("1.2010", "1.2010", "1.2010").want(
		"reading A-1/1 place 1", "reading A-1/1 place 2", "reading A-1/1 place 3",
		"verdict A-1/1 pass crimp 2 0.0010 in")
	b.stroke().want("stroke A-1/2 crimp 1")
	// The second first crimp moves the setting by half its error (harmonic rule).
	b.read("1.2040", "1.2040", "1.2040").want(
		"reading A-1/2 place 1", "reading A-1/2 place 2", "reading A-1/2 place 3",
		"verdict A-1/2 pass crimp 1 0.0040 in", "correction A-1/2 next 083 -2")
}

func TestNoRecrimpLeft(t *testing.T) {
	b := newBench(t).begin()
	b.stroke().read("1.2100", "1.2100", "1.2100")
	b.stroke().read("1.2060", "1.2060", "1.2060").want(
		"reading A-1/1 place 1", "reading A-1/1 place 2", "reading A-1/1 place 3",
		"verdict A-1/1 scrap crimp 2 0.0060 in")
	b.stroke().want("stroke A-1/2 crimp 1")
	b.read("1.1940", "1.1940", "1.1940").want(
		"reading A-1/2 place 1", "reading A-1/2 place 2", "reading A-1/2 place 3",
		"verdict A-1/2 scrap crimp 1 -0.0060 in", "correction A-1/2 next 118 -2")
}

func TestMissingReadingsThenSame(t *testing.T) {
	b := newBench(t).begin()
	b.stroke().read("1.2010").want("reading A-1/1 place 1")
	b.stroke().want("verdict A-1/1 unsure crimp 1", "stroke A-1/2 crimp 1")
	b.act(Action{Do: DoSame}).want("same A-1/1 crimp 2 of 5")
	b.read("1.2000", "1.2010", "1.2020").want(
		"reading A-1/1 place 1", "reading A-1/1 place 2", "reading A-1/1 place 3",
		"verdict A-1/1 pass crimp 2 0.0010 in")
	b.stroke().want("stroke A-1/2 crimp 1")
}

func TestSameAfterReadingsMovesThem(t *testing.T) {
	b := newBench(t).begin()
	b.stroke().read("1.2000", "1.2000", "1.2000")
	b.stroke().read("1.1990", "1.1990", "1.1990")
	b.act(Action{Do: DoSame}).want("same A-1/1 crimp 2 of 8", "verdict A-1/1 pass crimp 2 -0.0010 in")
	// The moved piece taught nothing: the next first crimp is the second one.
	b.stroke().read("1.2020", "1.2020", "1.2020").want(
		"reading A-1/2 place 1", "reading A-1/2 place 2", "reading A-1/2 place 3",
		"verdict A-1/2 pass crimp 1 0.0020 in", "correction A-1/2 next 119 -1")
}

func TestDryStroke(t *testing.T) {
	b := newBench(t).begin()
	b.stroke()
	b.stroke().want("verdict A-1/1 unsure crimp 1", "stroke A-1/2 crimp 1")
	b.act(Action{Do: DoDry}).want("dry of 4")
	b.read("1.2000", "1.2000", "1.2000").want(
		"reading A-1/1 place 1", "reading A-1/1 place 2", "reading A-1/1 place 3",
		"verdict A-1/1 pass crimp 1 0.0000 in", "correction A-1/1 next 120 +0")
	b.act(Action{Do: DoDry}).want("dry of 2")
	if n := b.s.View().Order.Pieces; n != 0 {
		t.Errorf("%d pieces after both strokes were dry, want 0", n)
	}
	if n := b.s.state.Cages["C-21"].Lubricated.Strokes; n != 2 {
		t.Errorf("the cage counts %d strokes, want 2: dry ones wear it too", n)
	}
	b.act(Action{Do: DoDry}).want("refused action")
}

func TestUndo(t *testing.T) {
	b := newBench(t).begin()
	b.stroke().read("1.2000", "1.2000", "1.2900")
	b.act(Action{Do: DoUndo}).want("undo A-1/1 of 5")
	b.read("1.2000").want("reading A-1/1 place 3", "verdict A-1/1 pass crimp 1 0.0000 in", "correction A-1/1 next 120 +0")
	b.stroke()
	b.act(Action{Do: DoUndo}).want("undo A-1/1 of 10", "verdict A-1/1 unsure crimp 1")
	b.read("1.2010").want("reading A-1/2 place 1")
	b.act(Action{Do: DoMeasure, Piece: "A-1/1"}).want("measure A-1/1")
	b.read("1.2000", "1.2010", "1.2020").want(
		"reading A-1/1 place 1", "reading A-1/1 place 2", "reading A-1/1 place 3",
		"verdict A-1/1 pass crimp 1 0.0010 in", "correction A-1/1 next 119 -1")
	b.read("1.2010").want("reading A-1/2 place 2")
}

// A slip while an older piece is measured again is taken back like any other.
func TestUndoOfAPieceMeasuredAgain(t *testing.T) {
	b := newBench(t).begin().stroke().read("1.2010", "1.2010", "1.2010").stroke().read("1.2000", "1.2000", "1.2000")
	b.act(Action{Do: DoMeasure, Piece: "A-1/1"}).read("1.2000", "1.2000", "1.2900")
	b.act(Action{Do: DoUndo}).want("undo A-1/1 of 17")
	b.read("1.2010").want("reading A-1/1 place 3", "verdict A-1/1 pass crimp 1 0.0003 in", "correction A-1/1 next 120 +0")
}

// A piece that waits for its next crimp waits on while an older one is measured
// again, and whatever is said of that one.
func TestRecrimpWaitsWhileAnotherIsMeasured(t *testing.T) {
	for _, readings := range [][]string{{}, {"1.2000"}, {"1.2000", "1.2000", "1.2000"}} {
		b := newBench(t).begin().stroke().read("1.2000", "1.2000", "1.2000").stroke().read("1.2080", "1.2080", "1.2080")
		b.act(Action{Do: DoMeasure, Piece: "A-1/1"}).read(readings...).stroke()
		if last := b.got[len(b.got)-1]; last.Piece != "A-1/2" || last.Crimp != 2 {
			t.Errorf("%d readings: the stroke was on %s, crimp %d", len(readings), last.Piece, last.Crimp)
		}
		b.read("1.2010", "1.2010", "1.2010")
		if n := b.s.state.Learned["hs-08"]; len(n.Recent) > 2 {
			t.Errorf("%d readings: %+v", len(readings), n.Recent)
		}
	}
}

// A reading of the latest piece that is withdrawn while an older one is measured
// again is taken anew when that one is done.
func TestUndoBehindAPieceMeasuredAgain(t *testing.T) {
	b := newBench(t).begin().stroke().read("1.2000", "1.2000", "1.2000").stroke().read("1.2010", "1.2010", "1.2010")
	b.act(Action{Do: DoMeasure, Piece: "A-1/1"}).act(Action{Do: DoUndo}).want("undo A-1/2 of 11")
	b.read("1.2000", "1.2000", "1.2000", "1.2020").want(
		"reading A-1/1 place 1", "reading A-1/1 place 2", "reading A-1/1 place 3", "verdict A-1/1 pass crimp 1 0.0000 in", "correction A-1/1 next 120 +0",
		"reading A-1/2 place 3", "verdict A-1/2 pass crimp 1 0.0013 in", "correction A-1/2 next 119 -1")
}

// TestMeasuredLate: a piece that is measured late tells of the stroke it was
// crimped with, which matters where the offset drifts.
func TestMeasuredLate(t *testing.T) {
	drifts := func(r *Rules) { r.Model.Drift = float64(crimp.Thousandth) / 2 }
	onTime := newBench(t, drifts).begin().piece("1.2000").piece("1.2010").piece("1.2030")
	late := newBench(t, drifts).begin().piece("1.2000").stroke().piece("1.2030")
	late.act(Action{Do: DoMeasure, Piece: "A-1/2"}).read("1.2010", "1.2010", "1.2010")
	a, b := onTime.next(), late.next()
	if *a.Offset != *b.Offset || *a.OffsetU != *b.OffsetU || *a.Setting != *b.Setting {
		t.Errorf("on time %s\nlate %s", a.AppendJSON(nil), b.AppendJSON(nil))
	}
}

func TestReadingWithoutPiece(t *testing.T) {
	b := newBench(t)
	b.read("1.2000").want("reading")
	b.begin().read("1.2000").want("reading")
	b.stroke().read("1.2000", "1.2000", "1.2000")
	b.read("1.2000").want("reading")
	b.act(Action{Do: DoUndo}).want("undo of 10")
}

func TestZeroAndWrongUnit(t *testing.T) {
	b := newBench(t).begin()
	b.stroke()
	b.read("0.0000").want("zero")
	if !*b.got[0].OK {
		t.Error("a zero of nothing is not ok")
	}
	b.read("0.0020").want("zero doubt from 4")
	if *b.got[0].OK {
		t.Error("a zero of two thousandths is ok")
	}
	b.do(Reading{At: b.now, Value: 1_200_000, Raw: "1.200"}).want("refused caliper")
	if !strings.Contains(b.got[0].Reason, "25.4 times too small") {
		t.Errorf("reason %q", b.got[0].Reason)
	}
	b.do(Reading{At: b.now, Value: crimp.Inch * 304 / 10, Raw: "30.48"}).want("refused caliper")
	if !strings.Contains(b.got[0].Reason, "25.4 times too large") {
		t.Errorf("reason %q", b.got[0].Reason)
	}
	b.do(Reading{At: b.now, Value: -30 * crimp.Millimetre, Raw: "-30.00"}).want("refused caliper")
}

func TestCareFollowsTheCage(t *testing.T) {
	b := newBench(t).begin()
	for i := range 49 {
		b.stroke()
		if r := b.got[len(b.got)-1]; r.Kind == record.Care {
			t.Fatalf("due with stroke %d", i+1)
		}
	}
	b.stroke().want("verdict A-1/49 unsure crimp 1", "stroke A-1/50 crimp 1", "care C-21 lubricate due 50")
	b.stroke().want("verdict A-1/50 unsure crimp 1", "stroke A-1/51 crimp 1")
	b.act(Action{Do: DoCare, Cage: "C-21", Work: crimp.Lubricate}).want("care C-21 lubricate done 51")
	b.act(Action{Do: DoStart, Order: "A-2", Spec: "hs-09"}).want("start")
	for range 49 {
		b.stroke()
	}
	b.stroke()
	if r := b.got[len(b.got)-1]; brief(r) != "care C-21 lubricate due 50" {
		t.Errorf("last record %s", brief(r))
	}
}

func TestTeardownByMonths(t *testing.T) {
	b := newBench(t).begin()
	b.stroke()
	b.now = time.Date(2026, 9, 1, 6, 0, 0, 0, time.UTC)
	b.stroke().want("verdict A-1/1 unsure crimp 1", "stroke A-1/2 crimp 1")
	b.now = time.Date(2026, 9, 2, 6, 0, 1, 0, time.UTC)
	b.stroke().want("verdict A-1/2 unsure crimp 1", "stroke A-1/3 crimp 1", "care C-21 teardown due 3")
	b.act(Action{Do: DoCare, Work: crimp.Teardown}).want("care C-21 teardown done 3")
}

func TestRefusedActions(t *testing.T) {
	b := newBench(t)
	for _, c := range []struct {
		name string
		a    Action
		want string
	}{
		{"unknown spec", Action{Do: DoStart, Order: "A-1", Spec: "hs-99"}, "not in the specs files"},
		{"no order to finish", Action{Do: DoFinish}, "no order is in work"},
		{"nothing to undo", Action{Do: DoUndo}, "no reading"},
		{"no stroke", Action{Do: DoSame}, "no stroke"},
		{"setting out of range", Action{Do: DoSet, Setting: record.Ptr(1000)}, "cannot be dialled"},
		{"unknown work", Action{Do: DoCare, Cage: "C-1", Work: "polish"}, "polish"},
	} {
		if b.act(c.a).want("refused action"); !strings.Contains(b.got[0].Reason, c.want) {
			t.Errorf("%s: reason %q, want one with %q", c.name, b.got[0].Reason, c.want)
		}
	}
	b.act(Action{Do: DoLoad, Cage: "C-30"}).want("load")
	b.act(Action{Do: DoStart, Order: "A-1", Spec: "hs-08"}).want("refused action")
	b.act(Action{Do: DoLoad, Cage: "C-21"}).want("load")
	b.begin().act(Action{Do: DoLoad, Cage: "C-30"}).want("refused action")
}

func TestOrderInterruptedAndTakenUpAgain(t *testing.T) {
	b := newBench(t).begin()
	b.stroke().read("1.2000", "1.2000", "1.2000")
	b.stroke().read("1.2100", "1.2100", "1.2100") // to be crimped again
	b.act(Action{Do: DoStart, Order: "A-2", Spec: "hs-09"}).want("start")
	b.stroke().want("stroke A-2/1 crimp 1")
	b.act(Action{Do: DoStart, Order: "A-1"}).want("start")
	b.stroke().want("stroke A-1/2 crimp 2")
	b.read("1.2000", "1.2000", "1.2000")
	b.stroke().want("stroke A-1/3 crimp 1")
}

func TestOrderGoesOnWithAnotherSpec(t *testing.T) {
	b := newBench(t).begin()
	b.stroke().read("1.2000", "1.2000")
	b.act(Action{Do: DoStart, Order: "A-1", Spec: "hs-09"}).want("verdict A-1/1 unsure crimp 1", "start")
	b.read("1.2500").want("reading")
	b.stroke().want("stroke A-1/2 crimp 1")
	b.read("1.2500", "1.2500").want("reading A-1/2 place 1", "reading A-1/2 place 2",
		"verdict A-1/2 pass crimp 1 0.0000 in", "correction A-1/2 next 170 +0")
}

func TestSetAsideOrderGoesOnWithAnotherSpec(t *testing.T) {
	b := newBench(t).begin()
	b.stroke().read("1.2000")
	b.act(Action{Do: DoStart, Order: "A-2", Spec: "hs-09"}).want("start")
	b.stroke().read("1.2500")
	// A-1/1 stays unjudged; A-2/1, which has the same number, does not.
	b.act(Action{Do: DoStart, Order: "A-1", Spec: "hs-09"}).want("verdict A-1/1 unsure crimp 1", "start")
	b.act(Action{Do: DoStart, Order: "A-2", Spec: "hs-09"}).want("start")
	b.read("1.2500").want("reading A-2/1 place 2", "verdict A-2/1 pass crimp 1 0.0000 in", "correction A-2/1 next 170 +0")
}

func TestEvery(t *testing.T) {
	b := newBench(t, func(r *Rules) { r.Every = 3 }).begin()
	b.stroke().read("1.2000", "1.2000", "1.2000")
	b.stroke().want("stroke A-1/2 crimp 1")
	b.stroke().want("stroke A-1/3 crimp 1")
	b.stroke().want("stroke A-1/4 crimp 1")
	b.stroke().want("verdict A-1/4 unsure crimp 1", "stroke A-1/5 crimp 1")
	b.act(Action{Do: DoSet, Setting: record.Ptr(119)})
	b.stroke().want("stroke A-1/6 crimp 1")
	b.stroke().want("verdict A-1/6 unsure crimp 1", "stroke A-1/7 crimp 1")
}

func TestStrokeWithoutOrder(t *testing.T) {
	b := newBench(t)
	b.stroke().want("stroke")
	b.act(Action{Do: DoLoad, Cage: "C-21"})
	b.stroke().want("stroke")
	if b.got[0].Cage != "C-21" || b.got[0].Order != "" {
		t.Errorf("%+v", b.got[0])
	}
	b.act(Action{Do: DoDry}).want("dry of 3")
}

// TestFoldEqualsLived folds the kept records of every scenario at every point
// and compares the states.
func TestFoldEqualsLived(t *testing.T) {
	for seed := range 60 {
		b := newBench(t, func(r *Rules) { r.SnapEvery = 7 + seed%5; r.Every = 1 + seed%3; r.Learn = true })
		random(b, uint64(seed), 400, func() {
			again, err := Open(b.log, b.s.rules)
			if err != nil {
				t.Fatal(err)
			}
			want, _ := json.Marshal(&b.s.state)
			got, _ := json.Marshal(&again.state)
			if string(got) != string(want) {
				t.Fatalf("seed %d, record %d: folded\n%s\nlived\n%s", seed, b.s.Seq(), got, want)
			}
			for _, spec := range b.s.rules.Specs {
				want, got := b.s.lessons(spec.Cage, spec.ID), again.lessons(spec.Cage, spec.ID)
				if fmt.Sprint(got) != fmt.Sprint(want) {
					t.Fatalf("seed %d, record %d: %s taught\n%v folded\n%v lived", seed, b.s.Seq(), spec.Cage, got, want)
				}
			}
		})
	}
}
