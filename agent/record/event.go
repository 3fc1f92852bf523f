package record

// Event is a kept record on its way to the broker.
type Event struct {
	Seq    uint64
	ID     string // <store-id>-<run>-<seq>, never used for another record
	Record []byte // the record as one JSON object
}
