package store

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"iter"

	"go.etcd.io/bbolt"

	"benchtally/agent/record"
)

// pageOf is how many records are read in one transaction.
const pageOf = 256

// Records gives all records after the seq given that are kept when the walk
// begins, oldest first. A record that cannot be read comes as an error with its
// Seq alone, several that are missing as one error with the Seq of the last of
// them, and the walk goes on; an error without Seq is the end. All these wrap
// [ErrCorrupt] or [ErrNewer], or [ErrLost] where a rescue did not find them. No transaction is open while the loop's body runs, so it may take
// its time and may call the store.
func (s *Store) Records(after uint64) iter.Seq2[record.Record, error] {
	return func(yield func(record.Record, error) bool) {
		type item struct {
			r   record.Record
			err error
		}
		var page []item
		limit := 8 // who wants one record reads few
		for to := s.Last(); after < to; {
			page = page[:0]
			err := s.view(func(tx *bbolt.Tx, w *waiting) error {
				return s.walk(tx, w, after, to, func(r record.Record, err error) bool {
					page = append(page, item{r, err})
					return len(page) < limit
				})
			})
			limit = min(2*limit, pageOf)
			for _, i := range page {
				if !yield(i.r, i.err) {
					return
				}
				after = i.r.Seq
			}
			if err != nil {
				yield(record.Record{}, err)
				return
			}
		}
	}
}

// walk calls fn with each record after one seq up to another, oldest first,
// until fn returns false. Every seq in between that was not pruned must turn up.
func (s *Store) walk(tx *bbolt.Tx, w *waiting, after, to uint64, fn func(record.Record, error) bool) error {
	if after >= to {
		return nil
	}
	first, err := number(tx.Bucket(bucketMeta), keyFirst)
	if err != nil {
		return err
	}
	next := max(after+1, first)
	missing := func(last uint64) bool { return s.missing(Range{next, last}, &next, fn) }
	// one takes a value; false is the end.
	one := func(k, v []byte) bool {
		seq, _ := keySeq(k)
		r, err := readRecord(seq, k, v)
		if whole := err == nil || errors.Is(err, ErrNewer); seq < next || seq > next && !whole {
			return true // the key itself cannot be right: the record counts as missing
		}
		if seq > next && !missing(min(seq-1, to)) || seq > to {
			return false
		}
		next = seq + 1
		if err != nil {
			r, err = record.Record{Seq: seq}, s.badRecord(seq, err)
		}
		return fn(r, err)
	}
	for _, name := range [][]byte{bucketRecords, bucketTail} {
		b := tx.Bucket(name)
		if b == nil {
			continue // no tail since format 2
		}
		c := b.Cursor()
		for k, v := c.Seek(seqKey(next)); k != nil && next <= to; k, v = c.Next() {
			if !one(k, v) {
				return nil
			}
		}
	}
	for i := max(next, w.first) - w.first; i < uint64(len(w.values)) && next <= to; i++ {
		if !one(seqKey(w.first+i), w.values[i]) {
			return nil
		}
	}
	if next <= to {
		missing(to)
	}
	return nil
}

// State is the newest state kept and the seq up to which it is folded; nil and
// 0 when none was kept.
func (s *Store) State() (state []byte, seq uint64, err error) {
	s.mu.Lock()
	w := s.waiting
	s.mu.Unlock()
	if w.state != nil {
		return bytes.Clone(w.state), w.folded, nil
	}
	b, err := s.value(keyState, func(tx *bbolt.Tx) *bbolt.Bucket { return tx.Bucket(bucketRest) })
	if b == nil || err != nil {
		return nil, 0, err
	}
	if len(b) < 8 {
		return nil, 0, corrupt(s.path, "state: value is too short")
	}
	return b[8:], binary.BigEndian.Uint64(b), nil
}

// Order is what was kept of an order that left the state, condensed or not; nil
// when nothing was.
func (s *Store) Order(id string) ([]byte, error) {
	if id == "" {
		return nil, nil
	}
	s.mu.Lock()
	o, held := s.waiting.orders[id]
	s.mu.Unlock()
	if held {
		return bytes.Clone(o), nil
	}
	kept, err := s.value([]byte(id), orders)
	if kept == nil && err == nil {
		kept, err = s.value(condensedKey([]byte(id)), orders)
	}
	return kept, err
}

func orders(tx *bbolt.Tx) *bbolt.Bucket { return tx.Bucket(bucketRest).Bucket(bucketOrders) }

// Note is the note kept last; nil when there is none.
func (s *Store) Note() ([]byte, error) {
	s.mu.Lock()
	note := s.waiting.note
	s.mu.Unlock()
	switch {
	case len(note) > 0:
		return bytes.Clone(note), nil
	case note != nil:
		return nil, nil
	}
	return s.value(keyNote, func(tx *bbolt.Tx) *bbolt.Bucket { return tx.Bucket(bucketMeta) })
}

// value copies the payload under key in a bucket; nil when there is none.
func (s *Store) value(key []byte, in func(*bbolt.Tx) *bbolt.Bucket) (payload []byte, err error) {
	err = s.view(func(tx *bbolt.Tx, _ *waiting) error {
		v := in(tx).Get(key)
		if v == nil {
			return nil
		}
		b, err := unseal(key, v)
		if err != nil {
			return unfit(fmt.Sprintf("%.40q: %v", key, err))
		}
		payload = append([]byte{}, b...)
		return nil
	})
	return payload, err
}
