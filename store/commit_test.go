package store

import (
	"errors"
	"os"
	"strings"
	"testing"

	"go.etcd.io/bbolt"
)

// A commit that fails before its root page is written can be tried again.
func TestFailedCommitKeepsNothing(t *testing.T) {
	path := place(t)
	s := open(t, path, Options{})
	fill(t, s, 30, 1)
	if err := s.Sent(20); err != nil {
		t.Fatal(err)
	}
	txid := 0
	if err := s.view(func(tx *bbolt.Tx, _ *waiting) error { txid = tx.ID(); return nil }); err != nil {
		t.Fatal(err)
	}
	s.writing.Lock()
	err := s.uncertain(errors.New("input/output error"), txid+1)
	s.writing.Unlock()
	if err == nil || !strings.Contains(err.Error(), "nothing was kept: input/output error") {
		t.Errorf("got %v", err)
	}
	fill(t, s, 1, 1)

	// A transaction that fails by itself leaves no trace either.
	s.writing.Lock()
	err = s.commit(s.kept, func(tx *bbolt.Tx) error {
		return errors.Join(tx.Bucket(bucketMeta).Put(keyNote, seal(keyNote, []byte("half"))), errors.New("no"))
	})
	s.writing.Unlock()
	if err == nil {
		t.Error("no error")
	}
	s = reopen(t, s)
	mustHold(t, s, 1, 31)
	if note, err := s.Note(); note != nil || err != nil {
		t.Errorf("note %q, %v", note, err)
	}
}

// When nobody knows whether a commit of bbolt reached the disk, its pages are left
// alone. The journal goes on until it is full, and all that it took is there after
// a restart.
func TestUncertainCommit(t *testing.T) {
	mustGoOnInTheJournal(t, func(s *Store) {
		txid := 0
		if err := s.view(func(tx *bbolt.Tx, _ *waiting) error { txid = tx.ID(); return nil }); err != nil {
			t.Fatal(err)
		}
		_ = s.uncertain(errors.New("input/output error"), txid) // the error is asked for again
		file, err := os.Open(s.path)                            // which cannot be written: the card confirms nothing later either
		if err != nil {
			t.Fatal(err)
		}
		t.Cleanup(func() { _ = file.Close() }) // it was only read
		s.file = file
	}, "the disk did not confirm the last commit (input/output error); check the card, it is tried again")
}

// A panic within a transaction is a fault of the file: its pages are left alone,
// the journal goes on, and the store can be read and closed.
func TestPanicInCommit(t *testing.T) {
	mustGoOnInTheJournal(t, func(s *Store) {
		if err := s.commit(s.kept, func(*bbolt.Tx) error { panic("page 7 already freed") }); !errors.Is(err, ErrCorrupt) {
			t.Errorf("got %v", err)
		}
	}, "page 7 already freed")
}

// mustGoOnInTheJournal breaks the store's pages and appends until the journal is full.
func mustGoOnInTheJournal(t *testing.T, breaks func(*Store), why string) {
	t.Helper()
	s := open(t, place(t), Options{})
	fill(t, s, 30, 1)
	s.writing.Lock()
	breaks(s)
	s.writing.Unlock()
	n := 0
	err := error(nil)
	for ; err == nil && n <= ringSlots; n++ {
		if err = s.Append(Batch{Records: shift(s.Last(), 1)}); err == nil {
			if room, trouble := s.Trouble(); n >= ringDue && (trouble == nil || room != ringSlots-ringSpare-30-n-1) {
				t.Fatalf("%d commits on: trouble %v, room for %d", n, trouble, room)
			}
		}
	}
	if n-1 != ringSlots-ringSpare-30 || !strings.Contains(err.Error(), why) {
		t.Errorf("after %d commits: %v", n-1, err)
	}
	for range ringSpare { // left to cursors
		if err := second(s.NextSession()); err != nil {
			t.Fatal(err)
		}
	}
	for name, err := range map[string]error{
		"append":  s.Append(Batch{Records: shift(s.Last(), 1)}),
		"session": second(s.NextSession()),
		"resend":  s.Resend(1, 2),
	} {
		if err == nil || !strings.Contains(err.Error(), why) {
			t.Errorf("%s: %v", name, err)
		}
	}
	mustHold(t, s, 1, ringSlots-ringSpare)
	s = reopen(t, s)
	if room, trouble := s.Trouble(); trouble != nil || room != ringSlots-ringSpare {
		t.Errorf("after a restart: trouble %v, room for %d", trouble, room)
	}
	fill(t, s, 1, 1)
	mustHold(t, s, 1, ringSlots-ringSpare+1)
}
