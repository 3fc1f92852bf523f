package store

import (
	"bytes"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"
)

// Backups are whole and hold all that was acknowledged before, while appending,
// sending and reading go on.
func TestBackupWhileAppending(t *testing.T) {
	s := open(t, place(t), Options{})
	fill(t, s, 3000, 500)
	d := dir(t)
	for round := range 4 {
		var all sync.WaitGroup
		stop := make(chan struct{})
		all.Go(func() {
			for {
				select {
				case <-stop:
					return
				default:
				}
				if err := s.Append(Batch{Records: shift(s.Last(), 7), State: []byte("state")}); err != nil {
					t.Error(err)
					return
				}
				if err := s.Sent(s.Last() - 3); err != nil {
					t.Error(err)
					return
				}
				if _, err := s.Prune(shiftRecord(s.Last()-2000).At, 20); err != nil {
					t.Error(err)
					return
				}
			}
		})
		before := s.Last()
		dest := filepath.Join(d, fmt.Sprint("backup", round, ".db"))
		var err error
		if round%2 == 0 {
			err = s.BackupFile(dest)
		} else {
			var f *os.File
			if f, err = os.Create(dest); err == nil {
				err = errors.Join(s.Backup(f), f.Close())
			}
		}
		close(stop)
		all.Wait()
		if err != nil {
			t.Fatal(err)
		}
		mustBeWhole(t, dest)
		b := open(t, dest, Options{})
		if b.ID() != s.ID() || b.Last() < before {
			t.Errorf("backup of %s up to %d, want %s up to %d at least", b.ID(), b.Last(), s.ID(), before)
		}
		mustHold(t, b, b.first(t), b.Last())
		fill(t, b, 3, 1) // it is a store like any other
		closed(t, b)
	}
	names, err := os.ReadDir(d)
	if err != nil || len(names) != 4 {
		t.Errorf("left behind: %v, %v", names, err)
	}
}

// A packed backup is as small as what it holds.
func TestBackupFileIsPacked(t *testing.T) {
	s := open(t, place(t), Options{})
	fill(t, s, 50_000, 2000)
	if err := errors.Join(s.Append(Batch{State: []byte("s")}), s.Sent(s.Last())); err != nil {
		t.Fatal(err)
	}
	if n, err := s.Prune(shiftRecord(1<<40).At, 49_000); n != 49_000 || err != nil {
		t.Fatal(n, err)
	}
	dest := filepath.Join(dir(t), "packed.db")
	if err := s.BackupFile(dest); err != nil {
		t.Fatal(err)
	}
	info, err := os.Stat(dest)
	if err != nil || info.Size() > 256<<10 {
		t.Errorf("%d bytes for 1,000 records, %v", info.Size(), err)
	}
	b := open(t, dest, Options{})
	mustHold(t, b, 49_001, 50_000)
	closed(t, b)
	mustBeWhole(t, dest)
}

func TestBackupFileRefuses(t *testing.T) {
	s := open(t, place(t), Options{})
	fill(t, s, 3, 1)
	d := dir(t)
	taken := filepath.Join(d, "taken")
	if err := os.WriteFile(taken, []byte("mine"), 0o600); err != nil {
		t.Fatal(err)
	}
	for dest, want := range map[string]string{
		taken:                            "file already exists; name another file",
		s.path:                           "file already exists; name another file",
		filepath.Join(d, "none", "b.db"): "there is no folder",
	} {
		if err := s.BackupFile(dest); err == nil || !strings.Contains(err.Error(), want) || !strings.Contains(err.Error(), dest) {
			t.Errorf("%s: %v, want %q", dest, err, want)
		}
	}
	if err := s.BackupFile(taken); !errors.Is(err, fs.ErrExist) {
		t.Errorf("%v, want fs.ErrExist", err)
	}
	if b, err := os.ReadFile(taken); err != nil || !bytes.Equal(b, []byte("mine")) {
		t.Errorf("the file there was changed: %q, %v", b, err)
	}
	if names, err := os.ReadDir(d); err != nil || len(names) != 1 {
		t.Errorf("left behind: %v, %v", names, err)
	}
}

// What cannot be read whole is not backed up as if it were.
func TestBackupFileOfDamagedStore(t *testing.T) {
	b := sound(t)
	clear(b[leafOf(t, b, 200)*pageSize:][:pageSize])
	path := filepath.Join(dir(t), "benchtally.db")
	if err := os.WriteFile(path, b, 0o640); err != nil {
		t.Fatal(err)
	}
	s := open(t, path, Options{ReadOnly: true})
	d := dir(t)
	if err := s.BackupFile(filepath.Join(d, "backup.db")); !errors.Is(err, ErrCorrupt) {
		t.Errorf("got %v, want ErrCorrupt", err)
	}
	if names, err := os.ReadDir(d); err != nil || len(names) != 0 {
		t.Errorf("left behind: %v, %v", names, err)
	}
}

// One appends, one sends, some read, as in the agent. Worth running with -race.
func TestAllAtOnce(t *testing.T) {
	s := open(t, place(t), Options{})
	const n = 600
	var all sync.WaitGroup
	all.Go(func() {
		for s.Last() < n {
			if err := s.Append(Batch{Records: shift(s.Last(), 3)}); err != nil {
				t.Error(err)
				return
			}
		}
	})
	all.Go(func() {
		for seq := uint64(0); seq < n; {
			events, err := s.Unsent(seq, 16)
			if err != nil {
				t.Error(err)
				return
			}
			for _, e := range events {
				if e.Seq != seq+1 {
					t.Errorf("event %d after %d", e.Seq, seq)
					return
				}
				seq = e.Seq
				if err := s.Sent(seq); err != nil {
					t.Error(err)
					return
				}
			}
		}
	})
	all.Go(func() {
		for i := range uint64(10) {
			for s.Last() < 20*i+1 {
				time.Sleep(100 * time.Microsecond)
			}
			if err := s.Resend(1, 20*i+1); err != nil {
				t.Error(err)
			}
			if _, err := s.Resends(4); err != nil {
				t.Error(err)
			}
			if err := errors.Join(s.Resent(1), s.FlushSent(), second(s.NextSession())); err != nil {
				t.Error(err)
			}
		}
	})
	for range 2 {
		all.Go(func() {
			for s.SentSeq() < n {
				next := uint64(1)
				for r, err := range s.Records(0) {
					if err != nil || r.Seq != next {
						t.Errorf("record %d, %v; want %d", r.Seq, err, next)
						return
					}
					next++
				}
				if _, _, err := s.Queue(); err != nil {
					t.Error(err)
					return
				}
			}
		})
	}
	all.Wait()
	s = reopen(t, s)
	mustHold(t, s, 1, n)
	if s.SentSeq() != n {
		t.Errorf("sent %d of %d", s.SentSeq(), n)
	}
}
