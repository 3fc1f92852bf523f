package people

import (
	"errors"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"syscall"
	"testing"
)

// operators writes an operators file for its owner alone.
func operators(t *testing.T, rows ...string) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "operators.csv")
	put(t, path, rows...)
	return path
}

func put(t *testing.T, path string, rows ...string) {
	t.Helper()
	if err := os.WriteFile(path, []byte(header+strings.Join(rows, "\n")+"\n"), 0o600); err != nil {
		t.Fatal(err)
	}
}

func TestReadRefuses(t *testing.T) {
	dir := t.TempDir()
	file := func(name, text string, mode os.FileMode) string {
		path := filepath.Join(dir, name)
		if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		if err := os.Chmod(path, mode); err != nil {
			t.Fatal(err)
		}
		return path
	}
	pipe := filepath.Join(dir, "pipe")
	if err := syscall.Mkfifo(pipe, 0o600); err != nil {
		t.Fatal(err)
	}
	world := file("world.csv", header, 0o604)
	for path, says := range map[string]string{
		world:                               "others than its owner may open it, mode 0604: chmod 600 " + world,
		file("group.csv", header, 0o640):    "mode 0640: chmod 600",
		file("bad.csv", "x\n", 0o600):       "bad.csv:1: the first line names the columns",
		filepath.Join(dir, "none.csv"):      `there is no such file: "benchtally operator add" makes it`,
		dir:                                 "want a file",
		pipe:                                "want a file",
		file("large.csv", large(), 0o600):   "larger than 1 MiB",
		filepath.Join(world, "below", "it"): "cannot be opened: not a directory",
	} {
		roll, err := Read(path)
		var faults Faults
		if roll != nil || !errors.As(err, &faults) || !strings.Contains(err.Error(), says) || !strings.HasPrefix(err.Error(), path+":") {
			t.Errorf("%s: %v, %v, want %q in it", path, roll, err, says)
		}
	}
}

func large() string { return header + strings.Repeat("\n", mostFile) }

func TestChange(t *testing.T) {
	path := filepath.Join(t.TempDir(), "operators.csv")
	add := func(id string) error { return Change(path, func(r *Roll) error { return r.Add(Person{ID: id}) }) }
	if err := add("kj"); err != nil {
		t.Fatal(err)
	}
	if info, err := os.Stat(path); err != nil || info.Mode().Perm() != 0o600 {
		t.Errorf("the new file is %v, %v, want mode 0600", info, err)
	}
	before, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if err := add("kj"); err == nil || !strings.Contains(err.Error(), "kj already") {
		t.Errorf("twice kj: %v", err)
	}
	if after, err := os.ReadFile(path); err != nil || !slices.Equal(before, after) {
		t.Errorf("what was refused wrote %s, %v", after, err)
	}

	// A file with faults is nobody's to overwrite.
	put(t, path, "kj,Kim,no,,")
	var faults Faults
	if err := add("mb"); !errors.As(err, &faults) || faults[0].Line != 2 {
		t.Errorf("a change of a file with faults: %v", err)
	}
	if text, err := os.ReadFile(path); err != nil || string(text) != header+"kj,Kim,no,,\n" {
		t.Errorf("the file with faults is now %s, %v", text, err)
	}
	names, err := filepath.Glob(filepath.Join(filepath.Dir(path), "*"))
	hidden, err2 := filepath.Glob(filepath.Join(filepath.Dir(path), ".*"))
	if err := errors.Join(err, err2); err != nil || len(names) != 1 || len(hidden) != 0 {
		t.Errorf("left in the folder: %v %v, %v", names, hidden, err)
	}
	if err := Change(filepath.Join(path, "x"), func(*Roll) error { return nil }); err == nil {
		t.Error("a file below a file was written")
	}
}

// TestChangeKeepsLink: a link to the operators file stays one.
func TestChangeKeepsLink(t *testing.T) {
	path := operators(t, "kj,Kim,,,")
	link := filepath.Join(t.TempDir(), "link.csv")
	if err := os.Symlink(path, link); err != nil {
		t.Fatal(err)
	}
	if err := Change(link, func(r *Roll) error { return r.Add(Person{ID: "mb"}) }); err != nil {
		t.Fatal(err)
	}
	if info, err := os.Lstat(link); err != nil || info.Mode()&os.ModeSymlink == 0 {
		t.Errorf("the link is now %v, %v", info, err)
	}
	if roll, err := Read(path); err != nil || len(roll) != 2 {
		t.Errorf("behind the link are %v, %v", roll, err)
	}
}

// TestChangesLoseNothing: of changes at the same time each one is kept.
func TestChangesLoseNothing(t *testing.T) {
	path := operators(t, "kj,Kim,,,")
	var all sync.WaitGroup
	signs := []string{"a", "b", "c", "d", "e", "f", "g", "h"}
	for _, id := range signs {
		all.Go(func() {
			if err := Change(path, func(r *Roll) error { return r.Add(Person{ID: id}) }); err != nil {
				t.Error(err)
			}
		})
	}
	all.Wait()
	roll, err := Read(path)
	if err != nil {
		t.Fatal(err)
	}
	for _, id := range append(signs, "kj") {
		if _, err := roll.Find(id); err != nil {
			t.Errorf("%s is lost", id)
		}
	}
}
