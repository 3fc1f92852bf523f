// Package store keeps records on disk and the place up to which they were sent.
//
// It knows no trade: the station's folded state is bytes to it. One file holds
// everything, a bbolt database with pages of 4 KiB:
//
//	meta     format, identity, session, sent cursor, requests to send again, note
//	records  all records
//	rest     the state, the run table, the orders that left the state, marks,
//	         and the table of days, which says where the records of a day lie
//	journal  a ring of slots, outside of bbolt's rule
//
// A commit writes one entry into the next slot of the journal, in place, and
// flushes it: one page and one flush, where a transaction of bbolt takes three or
// more pages and two flushes. Every 64 slots, and with each state, what waits in the
// journal moves to bbolt's pages in one transaction; until then readers find it in
// memory. A start replays the entries behind the place that bbolt's pages name, each
// of which names the one before it by its checksum. The two last moves can be read
// back, so that nothing is lost with a root page.
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
