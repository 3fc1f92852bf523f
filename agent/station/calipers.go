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

func (c *Clerk) doubted(seq uint64) bool {
	return slices.ContainsFunc(c.doubts, func(s span) bool { return s.from <= seq && seq <= s.to })
}
