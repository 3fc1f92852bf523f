package store

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"time"

	"go.etcd.io/bbolt"
)

// Backup writes the store as it is at this moment, free pages and all, while
// others go on reading and writing. What w gets is a store when it got all. As
// long as w takes it, pages that are freed meanwhile are not used again.
func (s *Store) Backup(w io.Writer) error {
	return s.view(func(tx *bbolt.Tx) error {
		_, err := tx.WriteTo(w)
		return err
	})
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
	err = s.view(func(from *bbolt.Tx) error {
		if err := c.all(from); err != nil {
			return err
		}
		return c.commit()
	})
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

func (c *copier) all(from *bbolt.Tx) error {
	return from.ForEach(func(name []byte, b *bbolt.Bucket) error {
		return c.bucket([][]byte{name}, b)
	})
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
