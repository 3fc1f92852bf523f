package store

import (
	"errors"
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
	if err := s.view(func(tx *bbolt.Tx) error { txid = tx.ID(); return nil }); err != nil {
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
	err = s.commit(func(tx *bbolt.Tx) error {
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

// When nobody knows whether a commit reached the disk, nothing more is written.
func TestUncertainCommitStopsWriting(t *testing.T) {
	s := open(t, place(t), Options{})
	fill(t, s, 30, 1)
	txid := 0
	if err := s.view(func(tx *bbolt.Tx) error { txid = tx.ID(); return nil }); err != nil {
		t.Fatal(err)
	}
	s.writing.Lock()
	_ = s.uncertain(errors.New("input/output error"), txid) // the error is asked for again below
	s.writing.Unlock()
	for name, err := range map[string]error{
		"append":  s.Append(Batch{Records: shift(30, 1)}),
		"session": second(s.NextSession()),
		"prune":   second(s.Prune(epoch, 1)),
	} {
		if name != "prune" && (err == nil || !strings.Contains(err.Error(), "the disk did not confirm the last commit (input/output error); stop benchtally, check the card")) {
			t.Errorf("%s: %v", name, err)
		}
	}
	mustHold(t, s, 1, 30)
	s = reopen(t, s)
	fill(t, s, 1, 1)
	mustHold(t, s, 1, 31)
}

// A panic within a transaction is a fault of the file: the store stops writing,
// goes on reading and can be closed.
func TestPanicStopsWriting(t *testing.T) {
	s := open(t, place(t), Options{})
	fill(t, s, 30, 1)
	s.writing.Lock()
	err := s.commit(func(*bbolt.Tx) error { panic("page 7 already freed") })
	s.writing.Unlock()
	if !errors.Is(err, ErrCorrupt) || !strings.Contains(err.Error(), "page 7 already freed") {
		t.Errorf("got %v", err)
	}
	if err := s.Append(Batch{Records: shift(30, 1)}); !errors.Is(err, ErrCorrupt) {
		t.Errorf("append: %v", err)
	}
	mustHold(t, s, 1, 30)
	s = reopen(t, s)
	mustHold(t, s, 1, 30)
}
