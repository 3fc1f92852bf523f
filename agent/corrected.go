package main

import (
	"time"

	"benchtally/agent/record"
	"benchtally/agent/station"
	"benchtally/store"
)

// corrections find out when records happened that were written before the clock
// was set. Records stay as they are; what the clock was behind is told by a later
// one. They belong to one goroutine.
type corrections struct {
	kept *store.Store
	read bool // those behind the first record that asked
	all  []correction
}

// correction is one setting of the clock.
type correction struct {
	from, seq uint64 // concerns the records from one up to the other that say unset
	behind    time.Duration
}

// of is when a record happened, and whether that is another time than the clock
// showed. Records are to be asked for in their order.
func (c *corrections) of(r record.Record) (time.Time, bool) {
	if r.Clock == "" {
		return r.At, false
	}
	if !c.read {
		c.read = true
		for later, err := range c.kept.Records(r.Seq) {
			if err == nil && later.Kind == record.Fault && later.Behind != nil {
				c.all = append(c.all, correction{later.Of, later.Seq, time.Duration(*later.Behind) * time.Millisecond})
			}
		}
	}
	var behind time.Duration
	known := false
	for _, one := range c.all {
		if one.from <= r.Seq && r.Seq < one.seq {
			behind, known = behind+one.behind, true
		}
	}
	return r.At.Add(behind), known
}

// right is a record with the time at which it happened, as far as that is known,
// in the place of the one that the clock showed.
func (c *corrections) right(r record.Record) record.Record {
	if at, known := c.of(r); known {
		r.At, r.Clock = at, station.Corrected
	}
	return r
}
