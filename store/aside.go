package store

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"time"
)

// A damaged store is set aside in steps, each of which leaves something that the
// next start can go on from. The damaged file itself is only ever renamed:
//
//  1. what is left of it is written to PATH.rescuing, then on disk under the name
//     PATH.rescued;
//  2. PATH becomes PATH.damaged-TIME;
//  3. PATH.rescued becomes PATH.
//
// A cut before step 2 leaves the damaged file in its place, and everything begins anew.
// A cut between 2 and 3 leaves no store and a rescued one: the last step is done at the
// next start.
const (
	rescued = ".rescued"
	damaged = ".damaged-"
	before  = ".before-" // instead of damaged, where a copy was restored
)

// Seen is the file of a store as it was looked at, so that it is not confused with
// one that took its place meanwhile. The zero value is of no file.
type Seen struct{ info os.FileInfo }

// See looks at the file at path, before it is opened.
func See(path string) Seen {
	info, err := os.Stat(path)
	if err != nil {
		return Seen{}
	}
	return Seen{info}
}

// SetAside renames the damaged file at path, which is kept as evidence, and puts a
// store in its place that has all that is left in it. It must be the file that was
// seen before the opening which failed for the reason why. A power cut at any
// moment leaves the damaged file whole; see [Recover].
func SetAside(path string, seen Seen, why error, o RescueOptions) (Rescued, error) {
	wrap := func(err error) error { return fmt.Errorf("store: set %s aside: %w", path, err) }
	f, err := os.OpenFile(path, os.O_RDWR, 0)
	if err != nil {
		return Rescued{}, wrap(err)
	}
	defer func() { _ = f.Close() }() // it was only read
	if err := lock(f, true, 2*time.Second); err != nil {
		return Rescued{}, wrap(fmt.Errorf("it %w", err))
	}
	locked, err := f.Stat()
	now := See(path)
	switch {
	case err != nil:
		return Rescued{}, wrap(err)
	case seen.info == nil || now.info == nil || !os.SameFile(locked, seen.info) || !os.SameFile(locked, now.info):
		return Rescued{}, wrap(errors.New("another file has taken its place meanwhile; start benchtally again"))
	}
	aside, err := asideName(path+damaged, o.Now)
	if err != nil {
		return Rescued{}, wrap(err)
	}
	if err := removeIfThere(path + rescued); err != nil {
		return Rescued{}, wrap(err)
	}
	o.Name, o.Why = aside, plainly(why)
	report, err := rescue(f, path, path+rescued, o)
	if err != nil {
		return report, err
	}
	return report, putInPlace(path, aside)
}

// plainly is why a store could not be opened, without what to do about it.
func plainly(why error) string {
	if why == nil {
		return ""
	}
	return strings.TrimSuffix(why.Error(), "; "+remedy)
}

// beforeStep is called before each step, by tests that cut it there.
var beforeStep = func(step string) error { return nil }

// putInPlace does the last two steps.
func putInPlace(path, aside string) error {
	if err := beforeStep("aside"); err != nil {
		return err
	}
	if err := os.Rename(path, aside); err != nil {
		return fmt.Errorf("store: set %s aside: %w", path, err)
	}
	if err := errors.Join(syncDir(filepath.Dir(path)), beforeStep("in place")); err != nil {
		return err
	}
	return finishAside(path)
}

// finishAside gives a rescued store its name.
func finishAside(path string) error {
	if err := os.Rename(path+rescued, path); err != nil {
		return fmt.Errorf("store: put the rescued store in its place: %w", err)
	}
	return syncDir(filepath.Dir(path))
}

// Recover ends the setting aside of the store at path that was cut short, and
// removes what an earlier step of it left behind. Call it before opening the store for
// writing, and not in a process beside the one that has it open.
func Recover(path string) error {
	_, err := os.Lstat(path)
	_, ready := os.Lstat(path + rescued)
	switch {
	case errors.Is(err, fs.ErrNotExist) && ready == nil:
		return finishAside(path)
	case err == nil && ready == nil:
		// The store is in its place: whatever it is now, it decides.
		if err := removeIfThere(path + rescued); err != nil {
			return fmt.Errorf("store: %w", err)
		}
	}
	return nil
}

func removeIfThere(name string) error {
	if err := os.Remove(name); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return err
	}
	return nil
}

// asideName is a name for a damaged file that nothing has yet.
func asideName(base string, now time.Time) (string, error) {
	base += now.UTC().Format("20060102T150405Z")
	for n := 1; n < 1000; n++ {
		name := base
		if n > 1 {
			name += "-" + strconv.Itoa(n)
		}
		if _, err := os.Lstat(name); errors.Is(err, fs.ErrNotExist) {
			return name, nil
		} else if err != nil {
			return "", err
		}
	}
	return "", fmt.Errorf("there are too many files %s already; move them away", base)
}

// Aside are the damaged files that lie beside the store at path, oldest first.
func Aside(path string) ([]string, error) {
	dir, base := filepath.Dir(path), filepath.Base(path)
	names, err := os.ReadDir(dir)
	if err != nil {
		return nil, err
	}
	var found []string
	for _, n := range names {
		if strings.HasPrefix(n.Name(), base+damaged) {
			found = append(found, filepath.Join(dir, n.Name()))
		}
	}
	slices.Sort(found)
	return found, nil
}
