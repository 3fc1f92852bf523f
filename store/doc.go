// Package store keeps records on disk and the place up to which they were sent.
//
// It knows no trade: the station's folded state is bytes to it. One file holds
// everything, a bbolt database with pages of 4 KiB:
//
//	meta     format, identity, session, sent cursor, requests to send again, note
//	tail     the newest records, at most a quarter of a page of them
//	records  all older records
//	rest     the state, the run table, the orders that left the state
//
// meta and tail are small enough for bbolt to keep them inside the page that
// lists the buckets, so a commit of one record usually writes three pages: that
// one, the list of free pages and the root. When the tail is full its records
// move to records in the transaction that needs the room.
//
// Every value carries a version and a checksum over itself and its key, because
// bbolt checks neither.
//
// # Caveats
//
// A card may lose the last commit although it acknowledged it. Sequence numbers
// are then given a second time; ids of events are not, because each opening for
// writing is a run with its own random name.
//
// A damaged file makes bbolt panic or touch memory that is not there. Every call
// of this package turns that into [ErrCorrupt] and leaves the file as it is.
//
// The file never shrinks. [Store.Prune] makes room inside it; a file written by
// [Store.BackupFile] is as small as its content.
package store
