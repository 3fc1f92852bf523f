package store

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
)

// suspect ends the name of a file that says that the store beside it was found
// damaged in the middle of its work: opening a store reads a handful of pages, so
// that the next start would not find out by itself.
const suspect = ".suspect"

// Suspect has the store at path looked through at the next [Examine], for the
// reason given.
func Suspect(path string, why error) error {
	if err := os.WriteFile(path+suspect, []byte(why.Error()+"\n"), 0o640); err != nil {
		return fmt.Errorf("store: %w", err)
	}
	return syncDir(filepath.Dir(path))
}

// Examine looks a suspected store through. It returns nil when nobody suspects it
// or when it is sound after all, and else an error that wraps [ErrCorrupt] and names
// the damage. It takes as long as reading the file does.
func Examine(path string) error {
	why, err := os.ReadFile(path + suspect)
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	if err != nil {
		return fmt.Errorf("store: %w", err)
	}
	report, err := Verify(path)
	switch {
	case errors.Is(err, fs.ErrNotExist):
	case err != nil:
		return err
	case len(report.Damage) > 0:
		return corrupt(path, strings.Join(append(report.Damage, strings.TrimSpace(string(why))), ", "))
	}
	return Clear(path)
}

// Clear says that the store at path is sound, or was set aside.
func Clear(path string) error {
	if err := removeIfThere(path + suspect); err != nil {
		return fmt.Errorf("store: %w", err)
	}
	return nil
}
