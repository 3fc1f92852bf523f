package store

import (
	"path/filepath"
	"syscall"
	"testing"
)

// A disk without room, as a small file system in memory.
func TestDiskFull(t *testing.T) {
	const size = 4 << 20
	d := t.TempDir()
	if err := syscall.Mount("benchtally", d, "tmpfs", 0, "size=4m"); err != nil {
		t.Skipf("a small file system cannot be mounted here: %v", err)
	}
	t.Cleanup(func() {
		if err := syscall.Unmount(d, 0); err != nil {
			t.Error(err)
		}
	})
	path := filepath.Join(d, "benchtally.db")
	mustSurviveFull(t, path, Options{}, size)
	mustBeWhole(t, path)
}
