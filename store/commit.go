package store

import (
	"errors"
	"fmt"
	"time"

	"go.etcd.io/bbolt"
)

// usable says why nothing can be written. The caller holds writing, as for all in
// this file.
func (s *Store) usable() error {
	switch {
	case s.closed:
		return fmt.Errorf("store: %s is closed", s.path)
	case s.readOnly:
		return fmt.Errorf("store: %s is open for reading only", s.path)
	}
	return s.halted
}

// keep writes an entry to the journal, on disk when it returns nil, and settles
// the journal when that is due. now are the cursors that the entry has.
func (s *Store) keep(e *entry, now cursors) error {
	if err := s.usable(); err != nil {
		return err
	}
	b := e.append(make([]byte, ringHead, ringHead+256))
	need, free := slots(len(b)-ringHead), ringSlots-(s.next.pos-s.settled.pos)
	if len(e.values) > 0 {
		free -= min(free, ringSpare)
	}
	if need > free {
		// As large as this, or the journal could not be settled for long: what has no
		// room there goes straight to bbolt's pages, with all that waits.
		w, before := s.waiting, s.broken
		w.add(e)
		err := s.settle(w, now)
		if err != nil && s.broken != before && !s.stuck {
			// It may be on disk, and its records' numbers must not be given to others.
			s.halted = err
		}
		return err
	}
	s.reach = max(s.reach, s.next.pos+need)
	next, err := s.ring.write(s.next, b)
	if err != nil {
		return s.unkept(err)
	}
	w := s.waiting
	w.add(e)
	s.keptNow(w, now, next, s.settled)
	if s.next.pos-s.settled.pos >= ringDue {
		// What cannot be settled stays in the journal: no error to who wanted it kept.
		_ = s.settle(w, now)
	}
	return nil
}

// keptNow notes what is on disk now.
func (s *Store) keptNow(w waiting, now cursors, next, settled spot) {
	s.next, s.settled = next, settled
	if n := len(w.runs); n > 0 {
		s.runKept = s.runKept || w.runs[n-1].name == s.run
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	s.last = w.last(s.last)
	s.waiting, s.kept = w, now
	if now.same(&s.now) {
		s.moved = time.Time{}
	}
	s.room = max(0, int(ringSlots-ringSpare-(next.pos-settled.pos)))
}

// settle moves what waits to bbolt's pages, and the cursors. When that cannot be
// done, the journal goes on as long as it has room, and Trouble tells why.
func (s *Store) settle(w waiting, now cursors) error {
	err := s.forget()
	if err == nil {
		err = s.commit(now, func(tx *bbolt.Tx) error {
			if err := w.fill(tx); err != nil {
				return err
			}
			return tx.Bucket(bucketMeta).Put(keySpot, seal(keySpot, s.next.bytes()))
		})
	}
	if err == nil {
		s.keptNow(w, now, s.next, s.next)
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.trouble = err; err == nil {
		s.waiting = waiting{}
	}
	return err
}

// forget wipes what was tried to be written behind the last entry, and failed: it
// may be on disk, and must not be taken for the next entry by a start that finds
// what it held in bbolt's pages already.
func (s *Store) forget() error {
	if s.reach <= s.next.pos {
		return nil
	}
	if err := s.ring.wipe(s.next.pos, s.reach); err != nil {
		return s.unkept(err)
	}
	s.reach = s.next.pos
	return nil
}

// commit runs fn in one transaction of bbolt, together with the cursors.
func (s *Store) commit(now cursors, fn func(*bbolt.Tx) error) error {
	if s.broken != nil {
		if s.stuck || s.confirm() != nil {
			return s.broken
		}
		s.broken = nil
	}
	txid, ran := 0, false
	err := guard(func() error {
		return s.db.Update(func(tx *bbolt.Tx) error {
			txid = tx.ID()
			if err := now.file(tx, &s.filed); err != nil {
				return err
			}
			ran = true
			return fn(tx)
		})
	})
	var p panicked
	switch {
	case err == nil:
		s.filed = now
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

// unkept puts into words that nothing was kept, and that it can be tried again.
func (s *Store) unkept(err error) error {
	if noRoom(err) {
		return fmt.Errorf("store: %s %w (%v)", s.path, ErrFull, err)
	}
	return fmt.Errorf("store: %s: nothing was kept: %w", s.path, err)
}

// uncertain judges a commit that failed on its way to disk. As long as the root
// page is the old one, nothing of it is kept and it can be tried again. When the
// new one was written but not confirmed, nobody knows what a restart will find,
// so bbolt's pages are left alone. The journal leads on from either.
func (s *Store) uncertain(err error, txid int) error {
	found := 0
	verr := s.view(func(tx *bbolt.Tx, _ *waiting) error { found = tx.ID(); return nil })
	if verr != nil || found >= txid {
		s.broken = fmt.Errorf("store: %s: the disk did not confirm the last commit (%w); check the card, it is tried again", s.path, err)
		return s.broken
	}
	return s.unkept(err)
}

// Trouble says for how many commits of the usual size the journal has room, and
// why what it holds cannot be moved on; nil when all is well. Nothing is lost
// meanwhile.
func (s *Store) Trouble() (room int, why error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.room, s.trouble
}
