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
// folded into the state kept. So without a state it deletes nothing. The newest
// records always stay, so that no seq comes twice. It returns how many went.
func (s *Store) Prune(before time.Time, limit int) (int, error) {
	s.writing.Lock()
	defer s.writing.Unlock()
	_, folded, err := s.State()
	if err != nil {
		return 0, err
	}
	s.mu.Lock()
	bound := min(s.now.sent, folded)
	if s.last > 0 {
		bound = min(bound, s.last-1)
	}
	for _, r := range s.now.requests {
		bound = min(bound, r.from-1)
	}
	s.mu.Unlock()

	var keys [][]byte
	old := 0 // how many of keys may go
	err = s.view(func(tx *bbolt.Tx) error {
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
			if !r.At.Before(before) {
				break
			}
			old = len(keys)
		}
		return nil
	})
	if err != nil || old == 0 {
		return 0, err
	}
	// Deleting takes a few pages before it gives any back: a store that reached
	// its size must still find them.
	s.db.MaxSize += pruneRoom
	defer func() { s.db.MaxSize -= pruneRoom }()
	err = s.commit(func(tx *bbolt.Tx) error {
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
		return pruneRuns(tx, oldest)
	})
	if err != nil {
		return 0, err
	}
	return old, nil
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
