package store

import (
	"encoding/binary"
	"errors"
	"fmt"
	"io/fs"
	"math"
	"os"
	"strconv"
	"time"

	"go.etcd.io/bbolt"
)

// Options for Open. The zero value is good.
type Options struct {
	MaxSize  int64 // bytes the file may grow to; 0: 1 GiB, on 32-bit machines 512 MiB
	ReadOnly bool  // nothing is written; the file must exist. Any number may read, while none writes

	wait time.Duration // for the lock; 0: 2 s
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

// abandon closes what an unsuccessful open left behind.
func (s *Store) abandon() {
	if s.db != nil {
		// Nothing was written; what closing says adds nothing to why the opening failed.
		_ = guard(s.db.Close)
	} else if s.file != nil {
		_ = s.file.Close()
	}
}
