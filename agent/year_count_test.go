package main

import (
	"fmt"
	"strings"
	"time"
)

// yearCount is what the simulated hands count of what they do, with plain numbers
// and none of the station's code: what all the records must come to.
type yearCount struct {
	kinds    map[string]int // records by kind, as they are expected; faults of the inputs only
	outcomes map[string]int // verdicts by outcome
	work     map[string]int // care by cage, work and state
	cages    map[string]*yearCage
	oil      int   // strokes of the press
	read     int64 // sum of all diameters read, in ten-thousandths of an inch
	readings int
	crimps   int // strokes that crimped something

	orders []yearOrder
	pieces []yearPiece
	tolds  []float64 // deviations of first crimps to hs-16 as they stand, thousandths of an inch
}

// yearCage is the care of a cage by simple counting.
type yearCage struct {
	lubricate, clean, teardown, ever int
	lubricateDue, teardownDue        bool
	torn                             time.Time // when it was taken apart last, or first seen
}

// yearOrder is an order by simple counting.
type yearOrder struct {
	spec     int
	card     bool
	quantity int
	n        int // pieces
	visits   int
	began    time.Time
}

// yearPiece is what became of a piece.
type yearPiece struct {
	order   int32
	n       int32
	outcome byte // p pass, s scrap, u not judged, 0 not said
}

func newYearCount(crimps int) *yearCount {
	c := &yearCount{
		kinds: map[string]int{}, outcomes: map[string]int{}, work: map[string]int{}, cages: map[string]*yearCage{},
		orders: make([]yearOrder, crimps/4+64), pieces: make([]yearPiece, crimps+crimps/8+64), tolds: make([]float64, crimps/8+64),
	}
	// All of it is touched now, so that the count itself never grows.
	for i := range c.orders {
		c.orders[i].visits = -1
	}
	for i := range c.pieces {
		c.pieces[i].order = -1
	}
	for i := range c.tolds {
		c.tolds[i] = -1
	}
	c.orders, c.pieces, c.tolds = c.orders[:0], c.pieces[:0], c.tolds[:0]
	return c
}

// sixMonths is the same day six months later, or the last of that month.
func sixMonths(t time.Time) time.Time {
	t = t.UTC()
	y, m, d := t.Date()
	if m += 6; m > 12 {
		y, m = y+1, m-12
	}
	last := map[time.Month]int{4: 30, 6: 30, 9: 30, 11: 30, 2: 28}[m]
	if last == 0 {
		last = 31
	}
	if m == 2 && y%4 == 0 { // holds from 1901 to 2099
		last = 29
	}
	return time.Date(y, m, min(d, last), t.Hour(), t.Minute(), t.Second(), t.Nanosecond(), time.UTC)
}

// cage is a cage, from when it is first seen.
func (c *yearCount) cage(id string, at time.Time) *yearCage {
	if c.cages[id] == nil {
		c.cages[id] = &yearCage{torn: at}
	}
	return c.cages[id]
}

// due counts what falls due of a cage at a time.
func (c *yearCount) due(id string, at time.Time) {
	g := c.cages[id]
	if g == nil {
		return
	}
	if !g.lubricateDue && g.lubricate >= 50 {
		g.lubricateDue = true
		c.kinds["care"]++
		c.work[id+" lubricate due"]++
	}
	if !g.teardownDue && (g.teardown >= 1000 || !at.Before(sixMonths(g.torn))) {
		g.teardownDue = true
		c.kinds["care"]++
		c.work[id+" teardown due"]++
	}
}

func (c *yearCount) stroke(cage string, at time.Time) {
	g := c.cage(cage, at)
	g.lubricate++
	g.clean++
	g.teardown++
	g.ever++
	c.oil++
	c.kinds["stroke"]++
	c.due(cage, at)
}

func (c *yearCount) care(cage, work string, at time.Time) {
	g := c.cage(cage, at)
	c.kinds["care"]++
	c.work[fmt.Sprintf("%s %s done", cage, work)]++
	switch work {
	case "lubricate":
		g.lubricate, g.lubricateDue = 0, false
	case "clean":
		g.clean = 0
	case "teardown":
		g.teardown, g.teardownDue, g.torn = 0, false, at
	}
}

func (c *yearCount) verdict(outcome string, first, judged bool) {
	c.kinds["verdict"]++
	c.outcomes[outcome]++
	if outcome == "recrimp" {
		c.kinds["correction"]++
	}
	if first && judged {
		c.kinds["correction"]++
	}
}

// total is how many records there are, without the faults of broker, clock and store.
func (c *yearCount) total() (n int) {
	for _, k := range c.kinds {
		n += k
	}
	return n
}

// id is an order's number, as on its papers.
func (c *yearCount) id(order int) string {
	if c.orders[order].card {
		return fmt.Sprintf("J-%06d", order)
	}
	return fmt.Sprintf("A-%06d", order)
}

// of is what became of an order's pieces, by their numbers.
func (c *yearCount) of(order int) string {
	var b strings.Builder
	for _, p := range c.pieces {
		if int(p.order) == order {
			b.WriteByte(p.outcome)
		}
	}
	return b.String()
}
