package sensors

import "time"

// A level that is read after an edge is the level of that moment. Between two
// readings a contact that chatters fast may have been open and made many times, and
// be met at the same level for as long as a level takes to settle, all the more
// easily if it chatters evenly. So edges upon edges are told to the filter, which
// then takes no level for settled. Single ones tell nothing: they may be the rest of
// a bounce that the kernel kept, or a spike on a long cable.
const (
	// A contact that bounces, or a line that picks up noise, wakes the reader no
	// more often than this.
	stormCap = time.Millisecond

	// stormEdges in a row make a storm: more than the kernel keeps of three lines,
	// 16 each (from its documentation), so that a bounce which is over makes none.
	stormEdges = 64

	// An edge that was waited for longer than this is a single one: below some
	// 300 Hz a settled level is seen to change (own choice, no source).
	stormGap = 2500 * time.Microsecond

	// In a storm there is nothing to see, and it costs less to look seldom. It is
	// over after the edges that the kernel kept, a quarter of a second at most.
	stormHold = 5 * time.Millisecond
)

// A storm counts edges in a row.
type storm int

// edge takes in an edge that was waited for.
func (s *storm) edge(waited time.Duration) {
	if waited > stormGap {
		*s = 0
	}
	*s = min(*s+1, stormEdges)
}

func (s storm) blows() bool { return s >= stormEdges }

// hold is how long after an edge the next one is not looked for.
func (s storm) hold() time.Duration {
	if s.blows() {
		return stormHold
	}
	return stormCap
}

// blow takes in that the levels cannot be trusted now.
func (f *Filter) blow() {
	l := &f.limit
	if l.contact == unread {
		return
	}
	if l.quiet {
		f.restless = f.now
	}
	if l.touch == never {
		l.touch = f.now
	}
	l.quiet, l.since = false, f.now
	if l.settled == made && f.restless-l.edge < f.s.Shortest {
		f.barred = true // it may have been no closure
	}
}
