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
// others go on reading and writing. What w gets is a store when it got all.
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
	const perCommit = 1 << 20 // bytes held in memory
	err = guard(func() error { return bbolt.Compact(to, s.db, perCommit) })
	if err != nil {
		err = s.failure(err)
	} else {
		err = to.Sync()
	}
	return errors.Join(err, to.Close())
}
