package store

import (
	"encoding/binary"
	"fmt"
	"iter"

	"go.etcd.io/bbolt"

	"benchtally/agent/record"
)

// pageOf is how many records are read in one transaction.
const pageOf = 256

// Records gives all records after the seq given that are kept when the walk
// begins, oldest first. A record that cannot be read comes as an error that
// wraps [ErrCorrupt], with its Seq alone, and the walk goes on; any other error
// is the last. No transaction is open while the loop's body runs, so it may take
// its time and may call the store.
func (s *Store) Records(after uint64) iter.Seq2[record.Record, error] {
	return func(yield func(record.Record, error) bool) {
		type item struct {
			r   record.Record
			err error
		}
		page := make([]item, 0, pageOf)
		for to := s.Last(); after < to; {
			page = page[:0]
			err := s.view(func(tx *bbolt.Tx) error {
				return walk(tx, after, func(seq uint64, key, value []byte) bool {
					if seq > to || len(page) == pageOf {
						return false
					}
					r, err := readRecord(seq, key, value)
					if err != nil {
						r, err = record.Record{Seq: seq}, s.badRecord(seq, err)
					}
					page = append(page, item{r, err})
					return true
				})
			})
			if err != nil {
				yield(record.Record{}, err)
				return
			}
			if len(page) == 0 {
				return
			}
			for _, i := range page {
				if !yield(i.r, i.err) {
					return
				}
			}
			after = page[len(page)-1].r.Seq
		}
	}
}

// State is the newest state kept and the seq up to which it is folded; nil and
// 0 when none was kept.
func (s *Store) State() (state []byte, seq uint64, err error) {
	b, err := s.value(keyState, func(tx *bbolt.Tx) *bbolt.Bucket { return tx.Bucket(bucketRest) })
	if b == nil || err != nil {
		return nil, 0, err
	}
	if len(b) < 8 {
		return nil, 0, corrupt(s.path, "state: value is too short")
	}
	return b[8:], binary.BigEndian.Uint64(b), nil
}

// Order is what was kept of an order that left the state; nil when nothing was.
func (s *Store) Order(id string) ([]byte, error) {
	if id == "" {
		return nil, nil
	}
	return s.value([]byte(id), func(tx *bbolt.Tx) *bbolt.Bucket { return tx.Bucket(bucketRest).Bucket(bucketOrders) })
}

// Note is the note kept last; nil when there is none.
func (s *Store) Note() ([]byte, error) {
	return s.value(keyNote, func(tx *bbolt.Tx) *bbolt.Bucket { return tx.Bucket(bucketMeta) })
}

// value copies the payload under key in a bucket; nil when there is none.
func (s *Store) value(key []byte, in func(*bbolt.Tx) *bbolt.Bucket) (payload []byte, err error) {
	err = s.view(func(tx *bbolt.Tx) error {
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
