package station

import (
	"fmt"
	"maps"
	"slices"
	"strings"
	"time"

	"benchtally/agent/crimp"
	"benchtally/agent/record"
)

// Clerk folds records to the dossier of one order. It is given all records from
// the order's first start on, in their order, to the latest, or those that PagesOf
// names: what became of the order may be told long after it was finished, as when
// the caliper is found wrong. Like a History it needs none of today's specifications.
type Clerk struct {
	h     *History
	order string
	d     Dossier

	shots   map[uint64]*CrimpEntry // by the seq of their stroke
	opened  map[int]*opening       // by the number of their piece
	entries map[int]*AssemblyEntry
	checks  map[int][]CheckEntry // of pieces, by number
	doubts  []span
	advice  []advised
	setUps  int            // at the order's first crimp; what is counted before it is of no matter
	strokes map[string]int // of a cage before its first crimp of the order
}

// opening is what held when a piece was opened.
type opening struct {
	piece *piece // as it stands: the state and the clerk share it
	spec  crimp.Spec
	cage  string
	parts Parts
}

// NewClerk begins the dossier of an order.
func NewClerk(rules Rules, order string) (*Clerk, error) {
	h, err := NewHistory(rules, func(string, string, string, time.Time) bool { return false })
	if err != nil {
		return nil, err
	}
	c := &Clerk{
		h: h, order: order, d: Dossier{Order: order},
		shots: map[uint64]*CrimpEntry{}, opened: map[int]*opening{}, entries: map[int]*AssemblyEntry{}, checks: map[int][]CheckEntry{},
		strokes: map[string]int{},
	}
	h.keep, h.s.clerk = order, c
	return c, nil
}

// Add takes in the next record.
func (c *Clerk) Add(r record.Record) error {
	if err := c.h.Add(r); err != nil {
		return err
	}
	switch r.Kind {
	case record.Zero, record.Standard:
		c.caliper(r)
	case record.Start:
		c.started(r)
	case record.Finish:
		c.d.Finished = c.d.Finished || r.Order == c.order
	case record.Correction:
		if r.Order == c.order && r.Setting != nil {
			c.advise(r, *r.Setting)
		}
	case record.Check:
		c.checked(r)
	case record.Proof:
		if e := c.assembly(r.Order, r.Assembly); e != nil {
			e.Proofs = append(e.Proofs, ProofEntry{
				At: r.At, Working: r.Working, Pressure: r.Pressure, Hold: r.Hold, OK: *r.OK, Operator: r.Operator, Reason: r.Reason,
			})
		}
	case record.Scrap:
		if e := c.assembly(r.Order, r.Assembly); e != nil && r.Piece == "" {
			if e.Scrap = r.Reason; r.State == record.Off {
				e.Scrap = ""
			}
		}
	case record.Set, record.Load, record.Retract, record.Measure, record.Stroke, record.Reading, record.Verdict,
		record.Care, record.Undo, record.Dry, record.Same, record.Fault, record.Refused, record.Operator, record.Turn, record.Lot:
	}
	if r.Order == c.order {
		if c.d.From == 0 {
			c.d.From, c.d.Began = r.Seq, r.At
		}
		c.d.To, c.d.Latest = r.Seq, r.At
		switch r.Clock {
		case Corrected:
			c.d.Corrected = c.d.Corrected.with(r.Seq)
		case Unset:
			c.d.Unset = c.d.Unset.with(r.Seq)
		}
	}
	return nil
}

func (c *Clerk) started(r record.Record) {
	if r.Order != c.order {
		return
	}
	o := c.h.s.state.Order
	c.d.Finished = false
	c.d.Job, c.d.Cut, c.d.Quantity = o.Job, o.Cut, o.Quantity
	c.d.Ends, c.d.Points = nil, o.points(c.h.s.rules.Points)
	if o.Job != nil {
		c.d.Ends = o.Job.EndNames()
	}
	if r.Advised != nil {
		c.advise(r, *r.Advised)
	} else {
		c.advise(r, -1)
	}
	c.d.Starts = append(c.d.Starts, StartEntry{
		At: r.At, End: r.End, Spec: o.Spec, Setting: *r.Setting, Operator: r.Operator, Parts: o.parts(r.End), Cage: r.Cage,
	})
}

// parts are the lots in use at an end.
func (o *order) parts(e crimp.EndName) Parts {
	if o.Job == nil {
		return Parts{Hose: crimp.Part{Name: o.Spec.Hose}, Fitting: crimp.Part{Name: o.Spec.Fitting}}
	}
	return Parts{Hose: o.Job.Hose, Fitting: o.Job.End(e).Fitting}
}

// assembly is the entry of an assembly; nil: it is of another order.
func (c *Clerk) assembly(order string, n int) *AssemblyEntry {
	if order != c.order || n == 0 {
		return nil
	}
	e := c.entries[n]
	if e == nil {
		e = &AssemblyEntry{N: n, Pieces: map[crimp.EndName]int{}}
		c.entries[n] = e
	}
	return e
}

func (c *Clerk) checked(r record.Record) {
	if r.Order != c.order {
		return
	}
	e := CheckEntry{
		At: r.At, Points: strings.Split(r.Points, ","), OK: *r.OK, Value: r.Value, Angle: r.Angle, Operator: r.Operator, Reason: r.Reason,
	}
	if n := pieceNumber(r.Piece); n != 0 {
		c.checks[n] = append(c.checks[n], e)
	} else if a := c.assembly(r.Order, r.Assembly); a != nil {
		a.Checks = append(a.Checks, e)
	}
}

// open hears that a piece was opened. Like the clerk's other ears it does nothing
// on nil: the station at work has no clerk.
func (c *Clerk) open(s *Station, o *order, p *piece) {
	if c == nil || o.ID != c.order {
		return
	}
	c.opened[p.N] = &opening{piece: p, spec: o.Spec, cage: s.state.Cage, parts: o.parts(p.End)}
	if e := c.assembly(o.ID, p.Assembly); e != nil {
		e.Pieces[p.End] = p.N
	}
}

// forget hears that a piece was none.
func (c *Clerk) forget(o *order, p *piece) {
	if c == nil || o.ID != c.order {
		return
	}
	delete(c.opened, p.N)
	delete(c.checks, p.N)
	if e := c.entries[p.Assembly]; e != nil {
		delete(e.Pieces, p.End)
	}
}

// Dossier is what the records so far leave of the order; false: they do not
// speak of it.
func (c *Clerk) Dossier() (*Dossier, bool) {
	if c.d.From == 0 {
		return nil, false
	}
	d := c.d
	d.Calipers = c.calipers()
	for _, n := range slices.Sorted(maps.Keys(c.opened)) {
		d.Pieces = append(d.Pieces, c.piece(c.opened[n]))
	}
	marks := c.marks()
	for _, n := range slices.Sorted(maps.Keys(c.entries)) {
		e := *c.entries[n]
		if len(e.Pieces) == 0 && e.Scrap == "" {
			continue
		}
		e.State = marks.State(n, d.Ends, d.Points)
		if e.Scrap == "" && e.State == GivenUp {
			e.Scrap = c.lostEnd(e)
		}
		d.Assemblies = append(d.Assemblies, e)
	}
	return &d, true
}

// marks are those of the order as it stands.
func (c *Clerk) marks() Marks {
	st := &c.h.s.state
	if o := st.Order; o != nil && o.ID == c.order {
		return o.Marks
	}
	if o := st.Aside[c.order]; o != nil {
		return o.Marks
	}
	return nil
}

// lostEnd says which end of an assembly is scrap.
func (c *Clerk) lostEnd(e AssemblyEntry) string {
	for _, end := range c.d.Ends {
		if o := c.opened[e.Pieces[end]]; o != nil && o.piece.Outcome == crimp.Scrap {
			return fmt.Sprintf("end %s is scrap", end)
		}
	}
	return ""
}
