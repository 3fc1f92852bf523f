package main

import (
	"context"
	"fmt"
	"math/rand/v2"
	"strconv"
	"sync/atomic"
	"testing"
	"time"

	"benchtally/agent/crimp"
	"benchtally/agent/record"
	"benchtally/agent/station"
	"benchtally/agent/tape"
)

// yearSpec is a specification as the hands know it, lengths in ten-thousandths of
// an inch.
type yearSpec struct {
	id, cage                   string
	target, tolerance, setting int
	recrimps, places           int
}

// yearSpecs are invented. The last one's cage lies on the shelf for months.
var yearSpecs = []yearSpec{
	{"hs-08", "C-21", 12000, 50, 120, 1, 3},
	{"hs-09", "C-21", 12500, 60, 170, 1, 1},
	{"hs-04", "C-16", 8120, 40, 262, 0, 3},
	{"hs-12", "C-30", 14960, 40, 196, 1, 3},
	{"hs-16", "C-33", 19050, 100, 131, 2, 3},
	{"hs-99", "C-99", 21000, 100, 300, 1, 2},
}

const rareSpec = 5

// yearHands are the hands at the press: what they do goes to the agent by the
// filter and the reader that hardware goes through, in a time of their own.
type yearHands struct {
	t     *testing.T
	rnd   *rand.Rand
	count *yearCount
	now   atomic.Pointer[time.Time]
	at    time.Time
	a     *agent
	in    *intake

	cage  string // loaded
	order int    // in work; -1: none
	open  []int  // orders that were set aside before their time
	made  int
}

func (h *yearHands) clock() time.Time { return *h.now.Load() }

func (h *yearHands) wait(d time.Duration) {
	h.at = h.at.Add(d)
	at := h.at
	h.now.Store(&at)
}

func (h *yearHands) give(inputs []station.Input) {
	for _, in := range inputs {
		h.a.bench.put(context.Background(), in)
	}
}

func (h *yearHands) line(l tape.Line) { h.give(h.in.take(l, h.at)) }

func (h *yearHands) do(a station.Action) { h.line(tape.Line{Action: &a}) }

// send presses the caliper's button on a length in ten-thousandths of an inch.
func (h *yearHands) send(value int) {
	h.wait(2*time.Second + time.Duration(h.rnd.IntN(1500))*time.Millisecond)
	h.line(tape.Line{Bytes: fmt.Appendf(nil, "%+d.%04d\r\n", value/10000, value%10000)})
}

// read sends a diameter that is taken as one.
func (h *yearHands) read(value int) {
	h.send(value)
	h.count.kinds["reading"]++
	h.count.readings++
	h.count.read += int64(value)
}

// close closes the ring and opens it again.
func (h *yearHands) close(held time.Duration) {
	h.wait(time.Duration(4+h.rnd.IntN(6)) * time.Second)
	up, down := false, true
	h.line(tape.Line{Level: &up})
	began := h.at
	h.wait(held)
	h.line(tape.Line{Level: &down})
	h.wait(time.Second)
	h.give(h.in.idle(h.at))
	h.count.stroke(h.cage, began)
}

func (h *yearHands) spec() yearSpec { return yearSpecs[h.count.orders[h.order].spec] }

func (h *yearHands) load(cage string) {
	h.wait(20 * time.Second)
	h.cage = cage
	h.count.cage(cage, h.at)
	h.count.kinds["load"]++
	h.do(station.Action{Do: station.DoLoad, Cage: cage})
	h.count.due(cage, h.at)
}

// start takes an order into work, with its cage loaded.
func (h *yearHands) start(order int) {
	o := &h.count.orders[order]
	s := yearSpecs[o.spec]
	if h.cage != s.cage {
		h.finish()
		h.load(s.cage)
	}
	h.wait(5 * time.Second)
	a := station.Action{Do: station.DoStart, Order: h.count.id(order), Quantity: o.quantity}
	if !o.card {
		a.Spec = s.id
	}
	if o.visits == 0 {
		o.began = h.at
	}
	o.visits++
	h.order = order
	h.count.kinds["start"]++
	h.do(a)
	h.count.due(h.cage, h.at)
}

func (h *yearHands) finish() {
	if h.order < 0 {
		return
	}
	h.wait(3 * time.Second)
	h.count.kinds["finish"]++
	h.do(station.Action{Do: station.DoFinish})
	h.order = -1
}

// care does what is due, some strokes later than it should be now and then.
func (h *yearHands) care() {
	g := h.count.cages[h.cage]
	if g.teardownDue {
		h.tend("teardown")
		h.tend("clean")
	}
	if g.lubricateDue && h.rnd.IntN(3) > 0 {
		h.tend("lubricate")
	}
}

func (h *yearHands) tend(work string) {
	h.wait(40 * time.Second)
	h.count.care(h.cage, work, h.at)
	h.do(station.Action{Do: station.DoCare, Cage: h.cage, Work: crimp.Work(work)})
}

// zero closes the jaws.
func (h *yearHands) zero() {
	if h.rnd.IntN(12) == 0 { // a chip between them
		h.send(30)
		h.count.kinds["zero"]++
	}
	h.send(0)
	h.count.kinds["zero"]++
}

// ring checks the caliper against the shop's ring, 1.0000 in.
func (h *yearHands) ring() {
	h.wait(20 * time.Second)
	h.do(station.Action{Do: station.DoStandard, Standard: "ring-1"})
	value := 10000
	if h.rnd.IntN(5) == 0 {
		value = 10030
	}
	h.send(value)
	h.count.kinds["standard"] += 2
}

// deviation is how far a piece within limits is from its target.
func (h *yearHands) deviation(s yearSpec) int { return h.rnd.IntN(s.tolerance+1) - s.tolerance/2 }

// measure reads all places of a crimp so that they average to target plus dev.
func (h *yearHands) measure(s yearSpec, dev int) {
	switch s.places {
	case 1:
		h.read(s.target + dev)
	case 2:
		h.read(s.target + dev + 4)
		h.read(s.target + dev - 4)
	default:
		h.read(s.target + dev + 7)
		h.read(s.target + dev - 9)
		h.read(s.target + dev + 2)
	}
}

// said keeps what became of the latest piece.
func (h *yearHands) said(outcome byte) { h.count.pieces[len(h.count.pieces)-1].outcome = outcome }

// crimp closes the ring on the next piece of the order.
func (h *yearHands) crimp() {
	o := &h.count.orders[h.order]
	o.n++
	h.made++
	h.count.crimps++
	h.count.pieces = append(h.count.pieces, yearPiece{order: int32(h.order), n: int32(o.n)})
	h.close(1300 * time.Millisecond)
}

// piece makes a piece, and what can go wrong with it.
func (h *yearHands) piece(last bool) {
	s := h.spec()
	dev := h.deviation(s)
	judged := func(dev int) {
		h.measure(s, dev)
		if s.id == "hs-16" {
			h.count.tolds = append(h.count.tolds, float64(dev)/10)
		}
	}
	switch n := h.rnd.IntN(1000); {
	case n < 15: // too large
		h.crimp()
		judged(s.tolerance + 20)
		if s.recrimps == 0 {
			h.count.verdict("scrap", true, true)
			h.said('s')
			break
		}
		h.count.verdict("recrimp", true, true)
		h.made++
		h.count.crimps++
		h.close(1400 * time.Millisecond)
		h.measure(s, dev)
		h.count.verdict("pass", false, true)
		h.said('p')
	case n < 20: // too small
		h.crimp()
		judged(-s.tolerance - 20)
		h.count.verdict("scrap", true, true)
		h.said('s')
	case n < 26 && !last: // laid aside with readings missing
		h.crimp()
		for i := range h.rnd.IntN(s.places) {
			h.read(s.target + i)
		}
		h.count.verdict("unsure", true, false) // with the next stroke
		h.said('u')
		h.piece(true)
	case n < 34: // the jaws sat on a burr
		h.crimp()
		h.read(s.target + 2*s.tolerance)
		if s.places == 1 { // it was judged by that reading
			h.count.verdict(map[bool]string{true: "recrimp", false: "scrap"}[s.recrimps > 0], true, true)
		}
		h.undo()
		judged(dev)
		h.count.verdict("pass", true, true)
		h.said('p')
	case n < 42: // taken back after the verdict
		h.crimp()
		h.measure(s, dev)
		h.count.verdict("pass", true, true)
		h.undo()
		back := map[int]int{1: 0, 2: -4, 3: 2}[s.places]
		h.read(s.target + dev + back)
		if s.id == "hs-16" {
			h.count.tolds = append(h.count.tolds, float64(dev)/10)
		}
		h.count.verdict("pass", true, true)
		h.said('p')
	case n < 52: // the ring is closed with nothing in it
		h.plain(s, dev)
		h.close(1100 * time.Millisecond)
		h.wait(2 * time.Second)
		h.do(station.Action{Do: station.DoDry})
		h.count.kinds["dry"]++
	case n < 56: // and once more on the same piece
		h.plain(s, dev)
		h.close(1100 * time.Millisecond)
		h.wait(2 * time.Second)
		h.do(station.Action{Do: station.DoSame})
		h.count.kinds["same"]++
		h.measure(s, dev)
		h.count.verdict("pass", false, true)
	case n < 60: // the caliper shows millimetres
		h.crimp()
		h.send(s.target * 254 / 10)
		h.count.kinds["refused"]++
		judged(dev)
		h.count.verdict("pass", true, true)
		h.said('p')
	case n < 63: // noise on the wire
		h.wait(time.Second)
		h.line(tape.Line{Bytes: []byte("\x7f?~!\r\n")})
		h.count.kinds["refused"]++
		h.plain(s, dev)
	case n < 66:
		h.wait(time.Second)
		h.do(station.Action{Do: station.DoSet, Setting: record.Ptr(s.setting + h.rnd.IntN(21) - 10)})
		h.count.kinds["set"]++
		h.plain(s, dev)
	case n < 67: // the switch sticks
		o := &h.count.orders[h.order]
		o.n++
		h.made++
		h.count.crimps++
		h.count.pieces = append(h.count.pieces, yearPiece{order: int32(h.order), n: int32(o.n)})
		h.close(150 * time.Second)
		h.count.kinds["fault"] += 2
		judged(dev)
		h.count.verdict("pass", true, true)
		h.said('p')
	case n < 69: // given up after all
		h.plain(s, dev)
		h.wait(2 * time.Second)
		h.do(station.Action{Do: station.DoScrap, Piece: h.count.id(h.order) + "/" + strconv.Itoa(h.count.orders[h.order].n), Reason: "cut at the bend"})
		h.count.kinds["scrap"]++
		h.said('s')
	case n < 71: // a slip of the tongue
		h.wait(time.Second)
		h.do(station.Action{Do: station.DoStart, Order: "A-wrong", Spec: "hs-00"})
		h.count.kinds["refused"]++
		h.plain(s, dev)
	default:
		h.plain(s, dev)
	}
	h.care()
}

// plain makes a piece with which nothing goes wrong.
func (h *yearHands) plain(s yearSpec, dev int) {
	h.crimp()
	h.measure(s, dev)
	if s.id == "hs-16" {
		h.count.tolds = append(h.count.tolds, float64(dev)/10)
	}
	h.count.verdict("pass", true, true)
	h.said('p')
}

func (h *yearHands) undo() {
	h.wait(2 * time.Second)
	h.do(station.Action{Do: station.DoUndo})
	h.count.kinds["undo"]++
}

// operator says who is at the press.
func (h *yearHands) operator(who string) {
	h.wait(10 * time.Second)
	h.do(station.Action{Do: station.DoOperator, Operator: who})
	h.count.kinds["operator"]++
}

// work makes pieces of one order or another, and comes to an end between two.
func (h *yearHands) work(pieces int) {
	var order int
	switch n := h.rnd.IntN(100); {
	case n < 12 && len(h.open) > 0: // one that was set aside, of today or of months ago
		i := h.rnd.IntN(len(h.open))
		order = h.open[i]
		h.open[i] = h.open[len(h.open)-1]
		h.open = h.open[:len(h.open)-1]
	default:
		order = len(h.count.orders)
		h.count.orders = append(h.count.orders, plannedOrder(order))
	}
	o := &h.count.orders[order]
	h.start(order)
	stop := max(1, min(pieces, o.quantity-o.n+1))
	if h.rnd.IntN(6) == 0 { // something comes between
		stop = 1 + h.rnd.IntN(stop)
		h.open = append(h.open, order)
		if len(h.open) > 64 {
			h.open = h.open[1:]
		}
	}
	for range stop {
		h.piece(false)
	}
	if h.rnd.IntN(3) > 0 {
		h.finish()
	}
}

// plannedOrder is the order of a number, as the shop's planning has it: every
// tenth has a job card, and three in a row are for one cage.
func plannedOrder(n int) yearOrder {
	return yearOrder{spec: n / 3 % rareSpec, quantity: 6 + n*7%40, card: n%10 == 9}
}

// rare takes the cage from the shelf that is hardly ever used.
func (h *yearHands) rare() {
	h.finish()
	order := len(h.count.orders)
	h.count.orders = append(h.count.orders, yearOrder{spec: rareSpec, quantity: 3})
	h.start(order)
	for range 3 {
		h.piece(false)
	}
	h.finish()
}
