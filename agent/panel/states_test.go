package panel

import (
	"fmt"
	"testing"
	"time"

	"benchtally/agent/crimp"
	"benchtally/agent/record"
	"benchtally/agent/station"
)

func init() { time.Local = time.UTC } // the pages as they were show days and times of the wall

var began = time.Date(2026, 3, 2, 6, 0, 0, 0, time.UTC)

func length(text string) crimp.Length {
	l, err := crimp.ParseLength(text)
	if err != nil {
		panic(err)
	}
	return l
}

func shopSpecs() []crimp.Spec {
	return []crimp.Spec{
		{ID: "hs-08", Cage: "C-21", Unit: crimp.Inches, Diameter: length("1.200in"), Plus: length("0.005in"), Minus: length("0.005in"), Setting: 120, Recrimps: 1, Skive: length("1.10in"), Insertion: length("1.25in"), Revision: "7"},
		{ID: "hs-12", Cage: "C-30", Unit: crimp.Millimetres, Diameter: length("38.00mm"), Plus: length("0.10mm"), Minus: length("0.10mm"), Setting: 200},
	}
}

func testShop() Shop {
	return Shop{
		Specs:     shopSpecs(),
		Standards: []crimp.Standard{{Name: "ring-25", Value: length("25.000mm"), Allowed: length("0.02mm")}},
		Reasons:   []string{"cracked ferrule", "wrong fitting", "hose damaged"},
		Operators: []string{"kj", "mr"},
	}
}

// shopJobs are job cards: both ends alike, both ends different, and one end only.
func shopJobs() []crimp.Job {
	angle := 90
	return []crimp.Job{
		{
			Order: "A-1001", Reference: "pump 4", Quantity: 3, Hose: crimp.Part{Name: "H-8", Maker: "north", Lot: "L-77"},
			Ends:   [2]crimp.End{{Spec: "hs-08", Fitting: crimp.Part{Name: "F-8", Maker: "north", Lot: "L-5"}, CutOff: length("1.5in")}, {Spec: "hs-08", Fitting: crimp.Part{Name: "E-8", Maker: "south", Lot: "L-6"}, CutOff: length("2in")}},
			Length: length("40in"), Angle: &angle, Working: 350 * crimp.Bar, Note: "mind the bend",
		},
		{Order: "A-1002", Quantity: 6, Ends: [2]crimp.End{{Spec: "hs-08"}, {Spec: "hs-12"}}},
		{Order: "A-1003", Quantity: 2, Ends: [2]crimp.End{{Spec: "hs-12"}}},
	}
}

func jobCard(order string) (crimp.Job, bool) {
	for _, j := range shopJobs() {
		if j.Order == order {
			return j, true
		}
	}
	return crimp.Job{}, false
}

// withCards gives a shop job cards, and points that are looked at.
func withCards(r *station.Rules) {
	r.Jobs, r.FirstPiece = jobCard, true
	r.Points = station.Points{End: []string{"insertion mark", "no cracks"}, Assembly: []string{"flushed", "capped"}}
	r.Standards = testShop().Standards
}

// onePiece lets every job card ask for one assembly.
func onePiece(r *station.Rules) {
	r.Jobs = func(order string) (crimp.Job, bool) {
		j, ok := jobCard(order)
		j.Quantity = 1
		return j, ok
	}
}

// shop is a station behind a board, with everything connected.
type shop struct {
	t     testing.TB
	s     *station.Station
	at    time.Time
	links []Link
	queue uint64
	held  *Held
	demo  bool
}

func newShop(t testing.TB, change ...func(*station.Rules)) *shop {
	t.Helper()
	rules := station.Rules{
		Scale:  crimp.Scale{Step: crimp.Thousandth, Highest: 999},
		Model:  crimp.Model{Noise: float64(crimp.Thousandth)},
		Places: 3, Every: 1,
		Gauge:     crimp.Gauge{Limit: length("0.02mm"), Zero: crimp.Zero{Allowed: length("0.0005in")}},
		Intervals: crimp.Intervals{Lubricate: 50, Teardown: 1000, Months: 6},
		Specs:     shopSpecs(),
	}
	for _, c := range change {
		c(&rules)
	}
	s, err := station.Open(&station.Memory{}, rules)
	if err != nil {
		t.Fatal(err)
	}
	return &shop{t: t, s: s, at: began, links: []Link{
		{"switch", true, "on GPIO17, 214 strokes today"},
		{"caliper", true, "on /dev/serial/by-id/usb-caliper-0, signed decimal lines"},
		{"broker", true, "tcp://broker.riverside.test:1883"},
		{"store", true, "benchtally.db, 3.1 MB"},
		{"clock", true, "set by the network"},
	}}
}

func (p *shop) do(in station.Input) *shop {
	p.t.Helper()
	records, err := p.s.Do(in)
	if err != nil {
		p.t.Fatal(err)
	}
	for _, r := range records {
		if r.Kind == record.Refused {
			p.t.Fatalf("refused: %s", r.Reason)
		}
	}
	p.at = p.at.Add(10 * time.Second)
	return p
}

func (p *shop) act(a station.Action) *shop { p.t.Helper(); a.At = p.at; return p.do(a) }

func (p *shop) start(quantity int) *shop {
	p.t.Helper()
	return p.act(station.Action{Do: station.DoStart, Order: "A-1001", Spec: "hs-08", Quantity: quantity, Setting: record.Ptr(120), Operator: "kj"})
}

// card starts an order by its job card.
func (p *shop) card(order string) *shop {
	p.t.Helper()
	return p.act(station.Action{Do: station.DoStart, Order: order, Operator: "kj"})
}

// good makes a piece that is on target, signed off and looked at.
func (p *shop) good() *shop {
	p.t.Helper()
	p.stroke().read("1.2000", "1.2010", "1.1990")
	if o := p.s.View().Order; o.Sign != "" {
		p.act(station.Action{Do: station.DoCheck, Piece: o.Sign, Points: station.PointFirst, Operator: "mr"})
	}
	return p.act(station.Action{Do: station.DoCheck})
}

func (p *shop) set(setting int) *shop {
	p.t.Helper()
	return p.act(station.Action{Do: station.DoSet, Setting: &setting})
}

func (p *shop) stroke() *shop { p.t.Helper(); return p.strokes(1) }

func (p *shop) strokes(n int) *shop {
	p.t.Helper()
	for range n {
		p.do(station.Stroke{At: p.at, Held: 800 * time.Millisecond})
	}
	return p
}

// read gives readings in inches.
func (p *shop) read(values ...string) *shop {
	p.t.Helper()
	for _, v := range values {
		p.do(station.Reading{At: p.at, Value: length(v + "in"), Step: 12700, Raw: v})
	}
	return p
}

func (p *shop) lose(name, text string) *shop {
	for i := range p.links {
		if p.links[i].Name == name {
			p.links[i].OK, p.links[i].Text = false, text
			return p
		}
	}
	panic(fmt.Sprintf("no link %q", name))
}

// hold has the store take nothing more.
func (p *shop) hold(why string, strokes, other int) *shop {
	p.held = &Held{Why: why, Strokes: strokes, Other: other}
	return p
}

func (p *shop) snapshot() Snapshot {
	return Snapshot{Press: "north-bench", At: p.at, View: p.s.View(), Links: p.links, Queue: p.queue, Held: p.held, Demo: p.demo}
}

// states are the moments of the page that are kept in testdata.
func states(t testing.TB) map[string]Snapshot {
	demo := newShop(t).start(6).stroke().read("1.2020", "1.2010")
	demo.demo, demo.queue = true, 12
	awaited := newShop(t, withCards).start(6).act(station.Action{Do: station.DoStandard, Standard: "ring-25"})
	running := newShop(t).start(20)
	for _, v := range []string{"1.2005", "1.2010", "1.1990", "1.2000", "1.1995", "1.2015", "1.1930", "1.2000"} {
		running.stroke().read(v, v, v).set(*running.s.View().Advice())
	}
	return map[string]Snapshot{
		"nothing":   newShop(t).snapshot(),
		"started":   newShop(t).start(6).snapshot(),
		"measuring": demo.snapshot(),
		"within":    newShop(t).start(6).stroke().read("1.2010", "1.2020", "1.2000").snapshot(),
		"running":   running.snapshot(),
		"recrimp":   newShop(t).start(6).stroke().read("1.2080", "1.2085", "1.2075").snapshot(),
		"scrap":     newShop(t).start(6).stroke().read("1.1930", "1.1925", "1.1935").snapshot(),
		"unsure":    newShop(t, func(r *station.Rules) { r.Judge.Confidence = 0.95 }).start(6).stroke().read("1.2050", "1.2050", "1.2045").snapshot(),
		"caliper":   newShop(t).start(6).stroke().lose("caliper", "not connected, look at its cable and battery").snapshot(),
		"awaited":   awaited.snapshot(),
		"card":      newShop(t, withCards).card("A-1001").snapshot(),
		"sign":      newShop(t, withCards).card("A-1001").stroke().read("1.2000", "1.2010", "1.1990").snapshot(),
		"look":      newShop(t, withCards).card("A-1001").good().stroke().read("1.2000", "1.2010", "1.1990").snapshot(),
		"turn":      newShop(t, withCards).card("A-1001").good().snapshot(),
		"ends":      newShop(t, withCards).card("A-1001").good().good().good().snapshot(),
		"crimped":   newShop(t, withCards).card("A-1001").good().good().good().good().good().good().snapshot(),
	}
}
