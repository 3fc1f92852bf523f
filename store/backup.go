package store

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"time"

	"go.etcd.io/bbolt"
	berrors "go.etcd.io/bbolt/errors"
)

// Backup writes the store as it is at this moment, free pages and all, while
// others go on reading and writing. What w gets is a store when it got all. As
// long as w takes it, pages that are freed meanwhile are not used again.
func (s *Store) Backup(w io.Writer) error {
	m, err := s.moment()
	if err != nil {
		return err
	}
	out := overlay{w: w, at: s.ring.base, with: m.journal}
	err = guard(func() error {
		_, err := m.tx.WriteTo(&out)
		return err
	})
	return m.end(err)
}

// moment is a store as it is at one moment.
type moment struct {
	s           *Store
	tx          *bbolt.Tx
	journal     []byte // nil: it has none
	waiting     waiting
	kept, filed cursors
}

// moment begins to read. No entry is written to the journal between its copy and
// the beginning of the transaction.
func (s *Store) moment() (m moment, err error) {
	s.writing.Lock()
	defer s.writing.Unlock()
	if s.closed {
		return m, s.failure(berrors.ErrDatabaseNotOpen)
	}
	m = moment{s: s, waiting: s.waiting, kept: s.kept, filed: s.filed}
	if s.ring.base > 0 {
		if m.journal, err = s.ring.all(); err != nil {
			return m, s.failure(err)
		}
	}
	err = guard(func() error {
		m.tx, err = s.db.Begin(false)
		return err
	})
	if err != nil {
		return m, s.failure(err)
	}
	return m, nil
}

// end ends the reading, and puts what went wrong meanwhile into words.
func (m *moment) end(err error) error {
	if err = errors.Join(err, m.tx.Rollback()); err != nil {
		return m.s.failure(err)
	}
	return nil
}

// overlay passes bytes on, and from a place on others instead.
type overlay struct {
	w    io.Writer
	done int64
	at   int64
	with []byte
}

func (o *overlay) Write(p []byte) (int, error) {
	if from, to := max(o.done, o.at), min(o.done+int64(len(p)), o.at+int64(len(o.with))); from < to {
		p = bytes.Clone(p) // a writer must leave what it is given
		copy(p[from-o.done:to-o.done], o.with[from-o.at:to-o.at])
	}
	n, err := o.w.Write(p)
	o.done += int64(n)
	return n, err
}

// BackupFile writes the store as it is at this moment to a new file, packed:
// without free pages. The file is there whole and on disk, or not at all; one
// that is already there is never replaced.
func (s *Store) BackupFile(dest string) error {
	if err := s.backupFile(dest); err != nil {
		return fmt.Errorf("store: back up to %s: %w", dest, err)
	}
	return nil
}

func (s *Store) backupFile(dest string) error {
	if _, err := os.Lstat(dest); err == nil {
		return fmt.Errorf("%w; name another file", fs.ErrExist)
	}
	temp, err := temporary(dest)
	if err != nil {
		return err
	}
	defer func() { _ = os.Remove(temp) }() // already gone when all went well
	if err := s.compact(temp); err != nil {
		return err
	}
	return publish(temp, dest)
}

// compact copies the store into the empty file temp and waits until it is on disk.
func (s *Store) compact(temp string) error {
	to, err := bbolt.Open(temp, 0o640, &bbolt.Options{
		PageSize:     pageSize,
		FreelistType: bbolt.FreelistMapType,
		NoSync:       true, // synced once, below, before anybody knows of the file
		Timeout:      time.Second,
	})
	if err != nil {
		return err
	}
	// Not bbolt.Compact (v1.5.0): it commits its last part after it has closed the
	// transaction that it reads from, and the pages it copies may be others by then.
	c := copier{to: to}
	m, err := s.moment()
	if err == nil {
		err = m.end(guard(func() error { return c.all(&m) }))
	}
	if c.tx != nil { // left open by a fault
		err = errors.Join(err, c.tx.Rollback())
	}
	if err == nil {
		err = to.Sync()
	}
	return errors.Join(err, to.Close())
}

// copier copies buckets in transactions of a size that fits in memory.
type copier struct {
	to   *bbolt.DB
	tx   *bbolt.Tx // nil: to be begun
	size int       // bytes put since it was begun
	done int       // transactions committed
}

const copyAtOnce = 1 << 20 // bytes

func (c *copier) all(m *moment) error {
	err := m.tx.ForEach(func(name []byte, b *bbolt.Bucket) error {
		if bytes.Equal(name, bucketJournal) {
			return nil // the copy gets one of its own when it is opened
		}
		return c.bucket([][]byte{name}, b)
	})
	if err != nil {
		return err
	}
	if _, err := c.make([][]byte{bucketMeta}); err != nil { // there is a transaction
		return err
	}
	if err := errors.Join(m.waiting.fill(c.tx), m.kept.file(c.tx, &m.filed)); err != nil {
		return err
	}
	return c.commit()
}

// bucket copies the bucket at path with those inside it.
func (c *copier) bucket(path [][]byte, from *bbolt.Bucket) error {
	b, err := c.make(path)
	if err != nil {
		return err
	}
	of := c.done // the transaction that b belongs to
	return from.ForEach(func(k, v []byte) (err error) {
		if v == nil {
			return c.bucket(append(path[:len(path):len(path)], k), from.Bucket(k))
		}
		if c.size += len(k) + len(v); c.size > copyAtOnce {
			if err := c.commit(); err != nil {
				return err
			}
		}
		if of != c.done {
			if b, err = c.make(path); err != nil {
				return err
			}
			of = c.done
		}
		return b.Put(k, v)
	})
}

// make gives the bucket at path to write into.
func (c *copier) make(path [][]byte) (b *bbolt.Bucket, err error) {
	if c.tx == nil {
		if c.tx, err = c.to.Begin(true); err != nil {
			return nil, err
		}
	}
	if b, err = c.tx.CreateBucketIfNotExists(path[0]); err != nil {
		return nil, err
	}
	for _, name := range path[1:] {
		if b, err = b.CreateBucketIfNotExists(name); err != nil {
			return nil, err
		}
	}
	b.FillPercent = 1
	return b, nil
}

// commit ends the transaction begun, if any.
func (c *copier) commit() error {
	if c.tx == nil {
		return nil
	}
	tx := c.tx
	c.tx, c.size, c.done = nil, 0, c.done+1
	return tx.Commit()
}
