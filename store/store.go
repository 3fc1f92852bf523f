package store

import (
	"crypto/rand"
	"encoding/hex"
	"errors"
	"fmt"
	"os"
	"sync"
	"time"

	"go.etcd.io/bbolt"
)

// format is the version of the whole file; a newer program may raise it.
// Format 1 had no journal, and a bucket "tail" for the newest records.
const format = 2

// Names in the file. They keep their meaning for ever.
var (
	bucketMeta    = []byte("meta")
	bucketTail    = []byte("tail") // of format 1
	bucketRecords = []byte("records")
	bucketRest    = []byte("rest")
	bucketRuns    = []byte("runs")   // in rest: first seq of a run -> the run's name
	bucketOrders  = []byte("orders") // in rest: id -> what is kept of an order

	keyFormat  = []byte("format")  // uint32
	keyID      = []byte("id")      // text
	keySession = []byte("session") // uint64, counts sessions with the broker
	keyFirst   = []byte("first")   // uint64, the oldest record that must be there
	keyLast    = []byte("last")    // uint64, the newest
	keySent    = []byte("sent")    // uint64
	keyResend  = []byte("resend")  // pairs of uint64
	keyNote    = []byte("note")    // any bytes
	keyState   = []byte("state")   // in rest: uint64 seq, then any bytes
)

// Store is an open store, safe for concurrent use. Calls that write wait for
// each other; readers wait for nobody.
type Store struct {
	path     string
	id, run  string
	readOnly bool
	lost     ranges   // that a rescue did not find
	file     *os.File // the one under db
	db       *bbolt.DB

	writing sync.Mutex // held while anything is written; taken before mu
	closed  bool       // guarded by writing, as all up to mu
	runKept bool       // the run is in the run table, or waits to be
	ring    ring       // the journal's place
	next    spot       // where the next entry of the journal goes
	settled spot       // from where a start reads the journal
	reach   uint64     // up to which slots were tried to be written; behind next when that failed
	halted  error      // why nothing at all is written any more
	filed   cursors    // as they are in bbolt's pages
	broken  error      // why nothing can be moved to bbolt's pages any more
	stuck   bool       // bbolt was left in the middle of a transaction

	mu      sync.Mutex // guards what follows, never held while disk is touched
	last    uint64     // highest seq kept
	waiting waiting
	now     cursors
	kept    cursors   // as they are on disk
	try     uint64    // value of now.sent when it was last tried to keep it
	moved   time.Time // when the cursors moved away from kept; zero: they did not
	trouble error     // why the journal cannot be settled; nil: it can
	room    int       // slots of the journal that are free for records
}

// field reads a value of the meta bucket; size 0 means any.
func field(m *bbolt.Bucket, key []byte, size int) ([]byte, error) {
	b, err := unseal(key, m.Get(key))
	switch {
	case errors.Is(err, ErrNewer):
		return nil, err
	case err != nil:
		return nil, unfit(fmt.Sprintf("%s: %v", key, err))
	case size != 0 && len(b) != size:
		return nil, unfit(fmt.Sprintf("%s: has %d bytes, not %d", key, len(b), size))
	}
	return b, nil
}

// number reads a value of the meta bucket that is a number.
func number(m *bbolt.Bucket, key []byte) (uint64, error) {
	b, err := field(m, key, 8)
	n, _ := keySeq(b)
	return n, err
}

// random is a name nobody else has: 64 random bits in hexadecimal.
func random() string {
	var b [8]byte
	_, _ = rand.Read(b[:]) // never fails (crypto/rand)
	return hex.EncodeToString(b[:])
}

// ID is the name of the store, made with it: 16 hexadecimal characters.
func (s *Store) ID() string { return s.id }

// Run is the name of this opening for writing, 16 hexadecimal characters, and
// empty in a store opened for reading.
func (s *Store) Run() string { return s.run }

// Last is the highest seq kept, 0 when there is none.
func (s *Store) Last() uint64 {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.last
}

// Close keeps the cursors, settles the journal and closes the file. A second call
// does nothing. What was acknowledged is on disk without it, and what cannot be
// settled stays in the journal.
func (s *Store) Close() error {
	s.writing.Lock()
	defer s.writing.Unlock()
	if s.closed {
		return nil
	}
	var err error
	if !s.readOnly {
		if err = s.flush(); s.next != s.settled || s.waiting.state != nil {
			_ = s.settle(s.waiting, s.kept) // the journal holds it as well
		}
	}
	s.closed = true
	if s.stuck { // bbolt might wait for ever for its own transaction
		return errors.Join(err, unlock(s.file), s.file.Close())
	}
	return errors.Join(err, s.db.Close())
}

// view runs fn in a short reading transaction, with what waits in the journal:
// together they are all that is kept. What fn reads dies with it.
func (s *Store) view(fn func(*bbolt.Tx, *waiting) error) error {
	s.mu.Lock()
	w := s.waiting // before the transaction begins: what is settled in between is then in both
	s.mu.Unlock()
	if err := guard(func() error { return s.db.View(func(tx *bbolt.Tx) error { return fn(tx, &w) }) }); err != nil {
		return s.failure(err)
	}
	return nil
}
