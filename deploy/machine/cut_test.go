//go:build linux

package machine

import (
	"bytes"
	"math/rand/v2"
	"os"
	"path/filepath"
	"testing"
)

// cutDisk is the sectors of a small disk after a cut, a letter each.
func cutDisk(t *testing.T, log []byte, n int, how loss, seed uint64) string {
	t.Helper()
	l, err := readLog(bytes.NewReader(log), int64(len(log)))
	if err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	base, image := filepath.Join(dir, "base"), filepath.Join(dir, "image")
	if err := os.WriteFile(base, bytes.Repeat([]byte{'.'}, 8*512), 0o600); err != nil {
		t.Fatal(err)
	}
	r, err := newRebuilder(l, base, filepath.Join(dir, "durable"))
	if err != nil {
		t.Fatal(err)
	}
	r.lies = 1
	if err := r.cut(n, how, rand.New(rand.NewPCG(seed, 0)), image); err != nil {
		t.Fatal(err)
	}
	if err := r.close(); err != nil {
		t.Fatal(err)
	}
	disk, err := os.ReadFile(image)
	if err != nil {
		t.Fatal(err)
	}
	var letters []byte
	for i := 0; i < len(disk); i += 512 {
		if !bytes.Equal(disk[i:i+512], bytes.Repeat(disk[i:i+1], 512)) {
			t.Fatalf("sector %d is torn within", i/512)
		}
		letters = append(letters, disk[i])
	}
	return string(letters)
}

// TestCut: which disks a cut may leave, each found among many, and no other.
func TestCut(t *testing.T) {
	log := logBytes(7,
		logEntry(0, 1, 0, 0, sectorsOf('a', 1)...), // 1
		logEntry(0, 0, flagFlush, 0),               // 2
		logEntry(1, 1, 0, 0, sectorsOf('b', 1)...), // 3
		logEntry(0, 0, flagFlush, 0),               // 4
		logEntry(2, 1, 0, 0, sectorsOf('c', 1)...), // 5
		logEntry(3, 1, flagForced, 0, sectorsOf('d', 1)...),
		logEntry(4, 3, 0, 0, sectorsOf('e', 3)...), // 7
	)
	for _, test := range []struct {
		name string
		n    int
		how  loss
		want []string
	}{
		{"before all", 0, none, []string{"........"}},
		{"one write", 1, none, []string{"a......."}},
		{"one write, no flush", 1, some, []string{"a.......", "........"}},
		{"one write and its flush", 2, some, []string{"a......."}},
		{"all, in order", 7, none, []string{"abcdeee."}},
		{"what is forced is never lost", 6, some, []string{"abcd....", "ab.d...."}},
		{"what is not flushed may be lost", 7, some, []string{"abcdeee.", "abcd....", "ab.deee.", "ab.d...."}},
		{"the last may be torn", 7, torn, []string{"abcde...", "abcdee..", "abcd....", "ab.de...", "ab.dee..", "ab.d...."}},
		{"a card that lies loses what its last flush covers", 7, lying, []string{"a......."}},
	} {
		t.Run(test.name, func(t *testing.T) {
			found := map[string]bool{}
			for seed := range uint64(40) {
				found[cutDisk(t, log, test.n, test.how, seed)] = true
			}
			for _, w := range test.want {
				if !found[w] {
					t.Errorf("%s is not among 40 disks", w)
				}
				delete(found, w)
			}
			for f := range found {
				t.Errorf("%s cannot be", f)
			}
		})
	}
}

// TestRising: one rebuilder makes rising cuts, and refuses to go back.
func TestRising(t *testing.T) {
	log := logBytes(4,
		logEntry(0, 1, 0, 0, sectorsOf('a', 1)...), logEntry(0, 0, flagFlush, 0),
		logEntry(0, 1, 0, 0, sectorsOf('b', 1)...), logEntry(0, 0, flagFlush, 0))
	l, err := readLog(bytes.NewReader(log), int64(len(log)))
	if err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	base := filepath.Join(dir, "base")
	if err := os.WriteFile(base, sectorsOf('.', 8), 0o600); err != nil {
		t.Fatal(err)
	}
	r, err := newRebuilder(l, base, filepath.Join(dir, "durable"))
	if err != nil {
		t.Fatal(err)
	}
	image := filepath.Join(dir, "image")
	for n, want := range []byte{'.', 'a', 'a', 'b', 'b'} {
		if err := r.cut(n, none, nil, image); err != nil {
			t.Fatal(err)
		}
		disk, err := os.ReadFile(image)
		if err != nil {
			t.Fatal(err)
		}
		if disk[0] != want {
			t.Errorf("behind entry %d: got %c, want %c", n, disk[0], want)
		}
	}
	if err := r.cut(1, none, nil, image); err == nil {
		t.Error("a cut before the one made last is made")
	}
	if err := r.close(); err != nil {
		t.Fatal(err)
	}
}

// TestCopyFile: a copy has the same bytes, and its holes take no room.
func TestCopyFile(t *testing.T) {
	from, to := filepath.Join(t.TempDir(), "from"), filepath.Join(t.TempDir(), "to")
	f, err := os.Create(from)
	if err != nil {
		t.Fatal(err)
	}
	for _, at := range []int64{0, 1 << 20, 5<<20 - 3} {
		if _, err := f.WriteAt([]byte("abc"), at); err != nil {
			t.Fatal(err)
		}
	}
	if err := f.Truncate(16 << 20); err != nil {
		t.Fatal(err)
	}
	if err := f.Close(); err != nil {
		t.Fatal(err)
	}
	if err := copyFile(from, to); err != nil {
		t.Fatal(err)
	}
	a, _ := os.ReadFile(from)
	b, err := os.ReadFile(to)
	if err != nil || !bytes.Equal(a, b) {
		t.Errorf("the copy differs: %v", err)
	}
}
