package rehearsal

import (
	"sort"
	"time"

	"benchtally/sensors"
)

// course is what the contacts say over time, a pure function of it.
type course struct {
	before sensors.Levels // until the first edge
	edges  []edge         // in order of time
}

// edge is a change of contacts.
type edge struct {
	at     time.Time
	levels sensors.Levels // from then on
}

// add lets the contacts change. Times never fall.
func (c *course) add(at time.Time, l sensors.Levels) {
	c.edges = append(c.edges, edge{at, l})
}

// at is what the contacts say at a time.
func (c *course) at(t time.Time) sensors.Levels {
	if n := c.passed(t); n > 0 {
		return c.edges[n-1].levels
	}
	return c.before
}

// next is the first change after a time; false: none is known.
func (c *course) next(t time.Time) (time.Time, bool) {
	if n := c.passed(t); n < len(c.edges) {
		return c.edges[n].at, true
	}
	return time.Time{}, false
}

// end is the last change that is known; the zero time: none.
func (c *course) end() time.Time {
	if len(c.edges) == 0 {
		return time.Time{}
	}
	return c.edges[len(c.edges)-1].at
}

// forget drops what was before a time.
func (c *course) forget(t time.Time) {
	n := c.passed(t)
	c.before = c.at(t)
	c.edges = append(c.edges[:0], c.edges[n:]...)
}

// passed is how many edges a time has behind it.
func (c *course) passed(t time.Time) int {
	return sort.Search(len(c.edges), func(i int) bool { return c.edges[i].at.After(t) })
}
