package store

import (
	"errors"
	"fmt"
	"io/fs"
	"strings"
	"syscall"

	berrors "go.etcd.io/bbolt/errors"
)

// Errors a caller branches on. The errors returned wrap them and say which file
// and what to do.
var (
	// ErrLocked: another process has the store open for writing. Ask that one,
	// or stop it.
	ErrLocked = errors.New("is in use by another benchtally; stop it or ask it")

	// ErrCorrupt: the file, or the record named, cannot be read. Nothing was
	// changed.
	ErrCorrupt = errors.New("is damaged")

	// ErrNewer: a newer benchtally wrote this. Nothing was changed.
	ErrNewer = errors.New("was written by a newer benchtally; install that one")

	// ErrFull: there is no room for what was to be kept, on the card or within
	// Options.MaxSize. Nothing of it was kept; the store can be read, pruned and,
	// given room, written again.
	ErrFull = errors.New("is full; free space on the card, or prune what was sent")
)

const remedy = "see what is left with `benchtally verify`; `benchtally run` sets the file aside and goes on with that, or restore a backup"

// corrupt is ErrCorrupt for the file at path, with what is wrong in words.
func corrupt(path, what string) error {
	return fmt.Errorf("store: %s %w: %s; %s", path, ErrCorrupt, what, remedy)
}

// unfit is what is wrong with a file, before failure says so in full.
type unfit string

func (u unfit) Error() string { return string(u) }

// failure puts an error of bbolt, of a damaged file or of the system into words.
func (s *Store) failure(err error) error {
	var p panicked
	var u unfit
	switch {
	case errors.As(err, &u):
		return corrupt(s.path, u.Error())
	case errors.As(err, &p):
		return corrupt(s.path, "it cannot be followed: "+p.Error())
	case errors.Is(err, ErrLocked), errors.Is(err, berrors.ErrTimeout):
		if who := holder(s.path); who != "" {
			return fmt.Errorf("store: %s %w (%s)", s.path, ErrLocked, who)
		}
		return fmt.Errorf("store: %s %w", s.path, ErrLocked)
	case errors.Is(err, ErrNewer):
		return fmt.Errorf("store: %s %w", s.path, ErrNewer)
	case errors.Is(err, berrors.ErrInvalid), errors.Is(err, berrors.ErrVersionMismatch), errors.Is(err, berrors.ErrChecksum):
		return corrupt(s.path, err.Error())
	case errors.Is(err, berrors.ErrDatabaseNotOpen):
		return fmt.Errorf("store: %s is closed", s.path)
	case errors.Is(err, fs.ErrPermission):
		return fmt.Errorf("store: %w; give the user that runs benchtally the right to read and write it, and its folder", err)
	}
	return fmt.Errorf("store: %s: %w", s.path, err)
}

// noRoom reports whether a commit failed for lack of room. bbolt does not wrap
// the error of growing the file, so the text has to tell.
func noRoom(err error) bool {
	if errors.Is(err, berrors.ErrMaxSizeReached) {
		return true
	}
	for _, errno := range []syscall.Errno{syscall.ENOSPC, syscall.EDQUOT, syscall.EFBIG} {
		if errors.Is(err, errno) || strings.Contains(err.Error(), errno.Error()) {
			return true
		}
	}
	return false
}
