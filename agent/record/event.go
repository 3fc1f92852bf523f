package record

// Event is a kept record on its way to subscribers. It is the same bytes at
// every repeat, so that a subscriber can tell a repeat from a new event.
type Event struct {
	Seq    uint64 // of the record
	ID     string // unique for ever: store, run and sequence
	Record []byte // the record's JSON, as AppendJSON wrote it
}
