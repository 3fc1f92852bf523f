package station

import (
	"slices"

	"benchtally/agent/record"
)

// span is a range of records, both ends included.
type span struct{ from, to uint64 }

func (c *Clerk) caliper(r record.Record) {
	e, ok := CaliperCheck(r)
	if !ok {
		return
	}
	if e.Doubt != 0 {
		c.doubts = append(c.doubts, span{e.Doubt, e.Seq})
	}
	if c.d.From != 0 {
		c.d.Calipers = append(c.d.Calipers, e)
	}
}

// CaliperCheck is what a record says of a check of the caliper; false: it is none.
func CaliperCheck(r record.Record) (CaliperEntry, bool) {
	e := CaliperEntry{At: r.At, Seq: r.Seq, Standard: r.Standard, Operator: r.Operator}
	if r.Doubt < r.Seq { // something was kept since it was last found good
		e.Doubt = r.Doubt
	}
	switch {
	case r.Kind == record.Zero:
		e.Value = *r.Value
	case r.Kind == record.Standard && r.State == record.Done:
		e.Nominal, e.Value = *r.Target, *r.Diameter
	default:
		return CaliperEntry{}, false
	}
	e.OK = *r.OK
	return e, true
}

// Later takes in a check of the caliper from behind the order, out of its turn.
// Other records are of no matter.
func (c *Clerk) Later(r record.Record) { c.caliper(r) }

// calipers are the checks between the order's first and its latest record, all to
// now while it is in work, and of the later ones those that put its readings in
// doubt: of those that reach back equally far, the latest.
func (c *Clerk) calipers() []CaliperEntry {
	if o := c.h.s.state.Order; o != nil && o.ID == c.order {
		return c.d.Calipers
	}
	var all []CaliperEntry
	for _, e := range c.d.Calipers {
		if e.Seq > c.d.To {
			if e.Doubt == 0 || e.Doubt > c.d.To {
				continue
			}
			all = slices.DeleteFunc(all, func(other CaliperEntry) bool { return other.Seq > c.d.To && other.Doubt == e.Doubt })
		}
		all = append(all, e)
	}
	return all
}

func (c *Clerk) doubted(seq uint64) bool {
	return slices.ContainsFunc(c.doubts, func(s span) bool { return s.from <= seq && seq <= s.to })
}
