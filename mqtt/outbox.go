package mqtt

import "benchtally/agent/record"

// Outbox keeps the events that wait for the broker. One goroutine of the
// publisher calls it; others may add events at the same time and say so with
// Publisher.Wake.
type Outbox interface {
	// Unsent returns up to limit unsent events with a sequence above after,
	// in order. Events that come with an error are good; it tells of others.
	Unsent(after uint64, limit int) ([]record.Event, error)
	// Sent says that the broker has acknowledged all events up to seq. The
	// outbox may write that down later: if it is lost, events are repeated.
	Sent(seq uint64) error
	// Resends returns up to limit sent events that are asked for again, in
	// order, and returns them until Resent is called. An error is as in Unsent.
	Resends(limit int) ([]record.Event, error)
	// Resent says that the broker has acknowledged the repeat of seq.
	Resent(seq uint64) error
	// NextSession counts the connections to a broker, and has the new count on
	// disk when it returns.
	NextSession() (uint64, error)
}
