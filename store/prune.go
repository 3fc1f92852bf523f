package store

import (
	"encoding/binary"
	"fmt"
	"time"

	"go.etcd.io/bbolt"
)

// pruneRoom is by how much a pruned store may outgrow its size, in bytes.
const pruneRoom = 2 << 20

// Prune deletes the oldest records, at most limit, as long as each happened before
// the time given, was sent, is asked for by no request to send again, and is
// folded into the state kept. One whose time is not sure, because it cannot be read
// or nothing kept the clock right, goes if one after it is old enough. So without a state it deletes nothing. The newest
// records always stay, so that no seq comes twice. It returns how many went.
func (s *Store) Prune(before time.Time, limit int) (int, error) {
	s.writing.Lock()
	defer s.writing.Unlock()
	if err := s.usable(); err != nil {
		return 0, err
	}
	// Deleting takes a few pages before it gives any back: a store that reached
	// its size must still find them.
	s.db.MaxSize += pruneRoom
	defer func() { s.db.MaxSize -= pruneRoom }()
	// The cursors of bbolt's pages must never be ahead of the journal's. Without room
	// for either, what may go is told by older ones.
	_ = s.flush()
	s.fileState()
	folded, err := s.folded()
	if err != nil {
		return 0, err
	}
	bound := min(s.kept.sent, folded)
	if s.last > 0 {
		bound = min(bound, s.last-1)
	}
	for _, r := range s.kept.requests {
		bound = min(bound, r.from-1)
	}

	var keys [][]byte
	old := 0             // how many of keys may go
	var latest time.Time // of those
	err = s.view(func(tx *bbolt.Tx, _ *waiting) error {
		for c, k, v := first(tx.Bucket(bucketRecords)); k != nil && len(keys) < limit; k, v = c.Next() {
			seq, ok := keySeq(k)
			if !ok {
				return unfit(fmt.Sprintf("bucket %q has the key %x", bucketRecords, k))
			}
			if seq > bound {
				break
			}
			keys = append(keys, append([]byte(nil), k...))
			r, err := readRecord(seq, k, v)
			if err != nil {
				continue // its time is not known; it goes if one after it is old enough
			}
			// A record written while nothing kept the clock right says for sure neither
			// that it is new, or a clock that was years ahead would keep all behind it,
			// nor, where it is older than those before it, that they are old.
			unsure := r.Clock != ""
			switch {
			case !r.At.Before(before) && !unsure:
				return nil
			case r.At.Before(before) && !(unsure && r.At.Before(latest)):
				old, latest = len(keys), r.At
			}
		}
		return nil
	})
	if err != nil || old == 0 {
		return 0, err
	}
	err = s.commit(s.kept, func(tx *bbolt.Tx) error {
		b := tx.Bucket(bucketRecords)
		b.FillPercent = 1
		for _, k := range keys[:old] {
			if err := b.Delete(k); err != nil {
				return err
			}
		}
		oldest := binary.BigEndian.Uint64(keys[old-1]) + 1
		if err := tx.Bucket(bucketMeta).Put(keyFirst, seal(keyFirst, seqKey(oldest))); err != nil {
			return err
		}
		if err := pruneDays(tx.Bucket(bucketRest), oldest); err != nil {
			return err
		}
		return pruneRuns(tx, oldest)
	})
	if err != nil {
		return 0, err
	}
	return old, nil
}

// fileState moves a state that waits to bbolt's pages: with all that waits, or
// without it where there is no room for all.
func (s *Store) fileState() {
	if s.waiting.state == nil || s.settle(s.waiting, s.kept) == nil {
		return
	}
	if s.commit(s.kept, s.waiting.fillState) == nil {
		s.mu.Lock()
		s.waiting.state, s.waiting.orders = nil, nil
		s.mu.Unlock()
	}
}

// folded is the seq up to which the state in bbolt's pages is folded.
func (s *Store) folded() (seq uint64, err error) {
	b, err := s.value(keyState, func(tx *bbolt.Tx) *bbolt.Bucket { return tx.Bucket(bucketRest) })
	if err == nil && len(b) >= 8 {
		seq = binary.BigEndian.Uint64(b)
	}
	return seq, err
}

// pruneRuns deletes the runs that ended before the oldest record.
func pruneRuns(tx *bbolt.Tx, oldest uint64) error {
	b := tx.Bucket(bucketRest).Bucket(bucketRuns)
	var gone [][]byte
	var last []byte
	for c, k, _ := first(b); k != nil; k, _ = c.Next() {
		if binary.BigEndian.Uint64(k) > oldest {
			break
		}
		if last != nil {
			gone = append(gone, last)
		}
		last = append([]byte(nil), k...)
	}
	for _, k := range gone {
		if err := b.Delete(k); err != nil {
			return err
		}
	}
	return nil
}
