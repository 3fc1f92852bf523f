package store

import (
	"crypto/rand"
	"encoding/binary"
	"encoding/hex"
	"errors"
	"fmt"
	"io/fs"
	"math"
	"os"
	"strconv"
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

// Options for Open. The zero value is good.
type Options struct {
	MaxSize  int64 // bytes the file may grow to; 0: 1 GiB, on 32-bit machines 512 MiB
	ReadOnly bool  // nothing is written; the file must exist. Any number may read, while none writes

	wait time.Duration // for the lock; 0: 2 s
}

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

// Open opens the store at path; when there is no file, it makes one, whole or
// not at all. It waits up to two seconds for a store in use, then returns
// [ErrLocked]. A file that cannot be trusted is left alone: [ErrCorrupt], [ErrNewer].
func Open(path string, o Options) (*Store, error) {
	if o.MaxSize <= 0 {
		o.MaxSize = 1 << 30
		if strconv.IntSize == 32 {
			o.MaxSize = 512 << 20
		}
	}
	if strconv.IntSize == 32 {
		o.MaxSize = min(o.MaxSize, math.MaxInt32)
	}
	if o.wait <= 0 {
		o.wait = 2 * time.Second
	}
	info, err := os.Stat(path)
	switch {
	case errors.Is(err, fs.ErrNotExist) && !o.ReadOnly:
		if err := create(path); err != nil {
			return nil, fmt.Errorf("store: make %s: %w", path, err)
		}
	case err != nil:
		return nil, fmt.Errorf("store: %w", err)
	case !info.Mode().IsRegular():
		return nil, fmt.Errorf("store: %s is not a file; name the file that the store is to be kept in", path)
	}

	s := &Store{path: path, readOnly: o.ReadOnly}
	if !o.ReadOnly {
		s.run = random()
	}
	err = guard(func() error { return s.open(o) })
	if err != nil {
		s.abandon()
		return nil, s.failure(err)
	}
	return s, nil
}

// open opens the file under the store and reads what is needed at once: a
// handful of pages, however many records there are.
func (s *Store) open(o Options) error {
	// Mapping all that the file can become keeps the writer from ever waiting for
	// a reader in order to map more. A 32-bit machine has no addresses to spare.
	initial := min(o.MaxSize, 4<<30)
	if strconv.IntSize == 32 {
		initial = min(initial, 128<<20)
	}
	db, err := bbolt.Open(s.path, 0o640, &bbolt.Options{
		Timeout:         o.wait,
		ReadOnly:        o.ReadOnly,
		PageSize:        pageSize,
		FreelistType:    bbolt.FreelistMapType,
		MaxSize:         int(o.MaxSize),
		InitialMmapSize: int(initial),
		OpenFile: func(path string, flag int, _ os.FileMode) (*os.File, error) {
			f, err := os.OpenFile(path, flag&^os.O_CREATE, 0)
			if err != nil {
				return nil, err
			}
			s.file = f
			if err := lock(f, !o.ReadOnly, o.wait); err != nil {
				return nil, err
			}
			return f, inspect(f)
		},
	})
	if err != nil {
		return err
	}
	s.db = db
	db.AllocSize = 1 << 20 // the file grows by this, each time with a sync of its own
	if err := s.load(); err != nil || o.ReadOnly {
		return err
	}
	if s.ring.base == 0 {
		if err := s.upgrade(); err != nil {
			return err
		}
	}
	if s.next != s.settled {
		_ = s.settle(s.waiting, s.kept) // Trouble tells
	}
	if s.stuck {
		return s.broken
	}
	return nil
}

// load reads identity, last seq and cursors, and what waits in the journal.
func (s *Store) load() error {
	found := false
	err := s.db.View(func(tx *bbolt.Tx) (err error) {
		m := tx.Bucket(bucketMeta)
		if m == nil {
			return unfit("it is a database of another program")
		}
		b, err := field(m, keyFormat, 4)
		if err != nil {
			return err
		}
		if v := binary.BigEndian.Uint32(b); v > format {
			return ErrNewer
		}
		for _, name := range [][]byte{bucketRecords, bucketRest} {
			if tx.Bucket(name) == nil {
				return unfit(fmt.Sprintf("bucket %q is missing", name))
			}
		}
		if s.lost, err = lostIn(tx); err != nil {
			return err
		}
		if err := s.identity(m); err != nil {
			return err
		}
		j := tx.Bucket(bucketJournal)
		if j == nil {
			return nil
		}
		found = true
		if s.settled, err = spotIn(m); err != nil {
			return err
		}
		s.ring, err = ringAt(s.file, uint64(j.Root()), s.id)
		return err
	})
	if err != nil || !found {
		s.next = s.settled
		return err
	}
	w, now, end, lost, err := s.ring.replay(s.settled, s.last, s.now)
	if err := errors.Join(err, lost); err != nil {
		return unfit(err.Error())
	}
	s.now, s.reach = now, end.pos
	s.keptNow(w, now, end, s.settled)
	if s.now.sent > s.last {
		return unfit(fmt.Sprintf("record %d was sent, but the last one kept is %d", s.now.sent, s.last))
	}
	return nil
}

// identity reads what bbolt's pages say of the store as a whole.
func (s *Store) identity(m *bbolt.Bucket) error {
	id, err := field(m, keyID, 0)
	if err != nil {
		return err
	}
	s.id = string(id)
	if s.last, err = number(m, keyLast); err != nil {
		return err
	}
	if s.now.sent, err = number(m, keySent); err != nil {
		return err
	}
	if s.now.session, err = number(m, keySession); err != nil {
		return err
	}
	requests, err := field(m, keyResend, 0)
	if err != nil {
		return err
	}
	if s.now.requests, err = readRequests(requests); err != nil {
		return err
	}
	s.kept, s.filed = s.now, s.now
	return nil
}

// upgrade gives a store of format 1 a journal, and puts the newest records where
// the others are.
func (s *Store) upgrade() error {
	var page uint64
	err := s.db.Update(func(tx *bbolt.Tx) error {
		if tail := tx.Bucket(bucketTail); tail != nil {
			records := tx.Bucket(bucketRecords)
			if err := tail.ForEach(records.Put); err != nil {
				return err
			}
			if err := tx.DeleteBucket(bucketTail); err != nil {
				return err
			}
		}
		if err := makeRing(tx); err != nil {
			return err
		}
		return tx.Bucket(bucketMeta).Put(keyFormat, seal(keyFormat, binary.BigEndian.AppendUint32(nil, format)))
	})
	if err != nil {
		return err
	}
	err = s.db.View(func(tx *bbolt.Tx) error {
		page = uint64(tx.Bucket(bucketJournal).Root())
		return nil
	})
	if err != nil {
		return err
	}
	s.ring, err = ringAt(s.file, page, s.id)
	s.room = ringSlots - ringSpare
	return err
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

// abandon closes what an unsuccessful open left behind.
func (s *Store) abandon() {
	if s.db != nil {
		// Nothing was written; what closing says adds nothing to why the opening failed.
		_ = guard(s.db.Close)
	} else if s.file != nil {
		_ = s.file.Close()
	}
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
