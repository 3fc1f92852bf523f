package store

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"time"
)

// Restore puts a store made of the copy at backup in the place of the one at path,
// which nobody may have open and which is kept under a name of its own, damaged or not; it
// may also be missing. Records keep seq, text and event id. The restored store has an
// id of its own and goes on behind the highest seq, session and sent cursor that
// either of the two files knows, so that no number is given twice; the records that
// are not in the copy are noted as lost. Like [SetAside] it is whole or not at all.
func Restore(path, backup string, o RescueOptions) (Rescued, error) {
	wrap := func(err error) error { return fmt.Errorf("store: restore %s: %w", path, err) }
	from, err := os.Open(backup)
	if err != nil {
		return Rescued{}, wrap(err)
	}
	defer func() { _ = from.Close() }() // it was only read
	if err := lock(from, false, 2*time.Second); err != nil {
		return Rescued{}, wrap((&Store{path: backup}).failure(err))
	}
	if o.backup, err = filepath.Abs(backup); err != nil {
		return Rescued{}, wrap(err)
	}
	if err := Recover(path); err != nil {
		return Rescued{}, err
	}
	old, err := os.OpenFile(path, os.O_RDWR, 0)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		report, err := rescue(from, backup, path+rescued, o)
		if err != nil {
			return report, err
		}
		return report, finishAside(path)
	case err != nil:
		return Rescued{}, wrap(err)
	}
	defer func() { _ = old.Close() }() // it was only read
	if err := lock(old, true, 2*time.Second); err != nil {
		return Rescued{}, (&Store{path: path}).failure(err)
	}
	if same, err := sameFile(from, old); err != nil || same {
		return Rescued{}, wrap(errors.Join(err, errors.New("the copy is the store itself; name another file")))
	}
	aside, err := asideName(path+before, o.Now)
	if err != nil {
		return Rescued{}, wrap(err)
	}
	o.Name, o.beside = aside, old
	report, err := rescue(from, backup, path+rescued, o)
	if err != nil {
		return report, err
	}
	return report, putInPlace(path, aside)
}

func sameFile(a, b *os.File) (bool, error) {
	x, err1 := a.Stat()
	y, err2 := b.Stat()
	return err1 == nil && err2 == nil && os.SameFile(x, y), errors.Join(err1, err2)
}
