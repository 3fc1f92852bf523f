package store

import (
	"errors"
	"fmt"

	"go.etcd.io/bbolt"
)

// commit runs fn in one transaction, together with the cursors that moved since
// the last one. The caller holds writing.
func (s *Store) commit(fn func(*bbolt.Tx) error) error {
	switch {
	case s.closed:
		return fmt.Errorf("store: %s is closed", s.path)
	case s.readOnly:
		return fmt.Errorf("store: %s is open for reading only", s.path)
	case s.broken != nil:
		return s.broken
	}
	s.mu.Lock()
	now, kept := s.now, s.kept
	s.try = now.sent
	s.mu.Unlock()

	txid, ran := 0, false
	err := guard(func() error {
		return s.db.Update(func(tx *bbolt.Tx) error {
			txid = tx.ID()
			if err := fn(tx); err != nil {
				return err
			}
			ran = true
			return keepCursors(tx, now, kept)
		})
	})
	var p panicked
	switch {
	case err == nil:
		s.mu.Lock()
		s.kept = now
		s.mu.Unlock()
		return nil
	case errors.As(err, &p):
		s.stuck = true
		s.broken = s.failure(err)
		return s.broken
	case !ran:
		return s.failure(err)
	}
	return s.uncertain(err, txid)
}

// keepCursors writes the cursors that differ from the file's.
func keepCursors(tx *bbolt.Tx, now, kept cursors) error {
	m := tx.Bucket(bucketMeta)
	if now.sent != kept.sent {
		if err := m.Put(keySent, seal(keySent, seqKey(now.sent))); err != nil {
			return err
		}
	}
	if now.changes != kept.changes {
		if err := m.Put(keyResend, seal(keyResend, appendRequests(nil, now.requests))); err != nil {
			return err
		}
	}
	if now.moves != kept.moves {
		return keepMarks(tx, now.marks)
	}
	return nil
}

// uncertain judges a commit that failed on its way to disk. As long as the root
// page is the old one, nothing of it is kept and it can be tried again. When the
// new one was written but not confirmed, nobody knows what a restart will find,
// so nothing more is written.
func (s *Store) uncertain(err error, txid int) error {
	found := 0
	verr := s.view(func(tx *bbolt.Tx) error { found = tx.ID(); return nil })
	switch {
	case verr != nil || found >= txid:
		s.broken = fmt.Errorf("store: %s: the disk did not confirm the last commit (%w); stop benchtally, check the card, and start it again", s.path, err)
		return s.broken
	case noRoom(err):
		return fmt.Errorf("store: %s %w (%v)", s.path, ErrFull, err)
	}
	return fmt.Errorf("store: %s: nothing was kept: %w", s.path, err)
}
