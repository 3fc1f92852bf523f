package main

import (
	"math"
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
	from, seq uint64    // concerns the records from one up to the other that say unset
	at        time.Time // when it was made, by the clock that was set
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
		c.all = correctionsAfter(c.kept, r.Seq)
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

// correctionsAfter are the settings of the clock that were told after a record.
// What cannot be read corrects nothing.
func correctionsAfter(kept *store.Store, seq uint64) (all []correction) {
	lie, err := station.ClockRecords(&keeper{Store: kept}, seq)
	if err != nil {
		lie = []station.Extent{{From: seq + 1, To: math.MaxUint64}}
	}
	for _, e := range lie {
		for later, err := range kept.Records(e.From - 1) {
			if later.Seq > e.To {
				break
			}
			if err == nil && later.Kind == record.Fault && later.Behind != nil {
				all = append(all, correction{later.Of, later.Seq, later.At, time.Duration(*later.Behind) * time.Millisecond})
			}
			if later.Seq == e.To {
				break
			}
		}
	}
	return all
}

// placesOf is where the records lie that happened at or after one time and before
// another, others between them; a zero time bounds nothing. What happened while the
// clock was wrong did so before it was set.
func placesOf(kept *store.Store, since, until time.Time) ([]station.Extent, error) {
	from, to, err := kept.Within(since, until)
	if err != nil || since.IsZero() && until.IsZero() {
		return []station.Extent{{From: from, To: to}}, err
	}
	lie := []station.Extent{{From: from, To: to}}
	for _, c := range correctionsAfter(kept, 0) {
		if c.from < c.seq && !c.at.Before(since) {
			lie = append(lie, station.Extent{From: c.from, To: c.seq - 1})
		}
	}
	return station.Joined(lie), nil
}

// right is a record with the time at which it happened, as far as that is known,
// in the place of the one that the clock showed.
func (c *corrections) right(r record.Record) record.Record {
	if at, known := c.of(r); known {
		r.At, r.Clock = at, station.Corrected
	}
	return r
}
