package store

import (
	"encoding/binary"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"go.etcd.io/bbolt"
)

const newSuffix = ".new-"

// create makes an empty store at path: under another name first, then, whole
// and on disk, under its own. A power cut leaves it there or not.
func create(path string) error {
	temp, err := temporary(path)
	if err != nil {
		return err
	}
	defer func() { _ = os.Remove(temp) }() // already gone when all went well
	db, err := bbolt.Open(temp, 0o640, &bbolt.Options{PageSize: pageSize, FreelistType: bbolt.FreelistMapType})
	if err != nil {
		return err
	}
	err = db.Update(func(tx *bbolt.Tx) error {
		if _, err := tx.CreateBucket(bucketRecords); err != nil {
			return err
		}
		rest, err := tx.CreateBucket(bucketRest)
		if err != nil {
			return err
		}
		for _, name := range [][]byte{bucketRuns, bucketOrders} {
			if _, err := rest.CreateBucket(name); err != nil {
				return err
			}
		}
		m, err := tx.CreateBucket(bucketMeta)
		if err != nil {
			return err
		}
		for _, v := range []struct{ key, payload []byte }{
			{keyFormat, binary.BigEndian.AppendUint32(nil, format)},
			{keyID, []byte(random())},
			{keySession, seqKey(0)},
			{keyFirst, seqKey(1)},
			{keyLast, seqKey(0)},
			{keySent, seqKey(0)},
			{keyResend, nil},
		} {
			if err := m.Put(v.key, seal(v.key, v.payload)); err != nil {
				return err
			}
		}
		return makeRing(tx)
	})
	if err := errors.Join(err, db.Close()); err != nil {
		return err
	}
	if err := publish(temp, path); err != nil && !errors.Is(err, fs.ErrExist) {
		return err
	} // one that exists was made by another process at the same moment; it is as good
	return sweep(path)
}

// temporary makes an empty file beside path and returns its name.
func temporary(path string) (string, error) {
	dir := filepath.Dir(path)
	f, err := os.CreateTemp(dir, filepath.Base(path)+newSuffix+"*")
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return "", fmt.Errorf("there is no folder %s; make it first", dir)
	case errors.Is(err, fs.ErrPermission):
		return "", fmt.Errorf("%w; give the user that runs benchtally the right to write in %s", err, dir)
	case err != nil:
		return "", err
	}
	return f.Name(), errors.Join(f.Chmod(0o640), f.Close())
}

// publish gives the file temp, already on disk, the name path, and waits until
// the folder is on disk too. It never replaces a file: fs.ErrExist.
func publish(temp, path string) error {
	if err := os.Link(temp, path); err == nil {
		if err := os.Remove(temp); err != nil {
			return err
		}
	} else if errors.Is(err, fs.ErrExist) {
		return err
	} else { // a file system without links
		if _, err := os.Lstat(path); err == nil {
			return fmt.Errorf("%s: %w", path, fs.ErrExist)
		}
		if err := os.Rename(temp, path); err != nil {
			return err
		}
	}
	return syncDir(filepath.Dir(path))
}

// syncDir waits until the names in a folder are on disk.
func syncDir(dir string) error {
	d, err := os.Open(dir)
	if err != nil {
		return err
	}
	return errors.Join(d.Sync(), d.Close())
}

// sweep removes what earlier, interrupted attempts to make path left behind.
func sweep(path string) error {
	names, err := os.ReadDir(filepath.Dir(path))
	if err != nil {
		return err
	}
	for _, n := range names {
		if strings.HasPrefix(n.Name(), filepath.Base(path)+newSuffix) {
			if err := os.Remove(filepath.Join(filepath.Dir(path), n.Name())); err != nil && !errors.Is(err, fs.ErrNotExist) {
				return err
			}
		}
	}
	return nil
}
