package store

import (
	"bytes"
	"fmt"

	"go.etcd.io/bbolt"
)

// condensed begins the key of an order of which only the least is kept. No id
// begins with it, and all such keys lie together, packed.
const condensed = '\x01'

func condensedKey(id []byte) []byte { return append([]byte{condensed}, id...) }

// Condense lets less be kept of orders that left the state: it calls less with each
// of the next orders after the id given, at most limit of them and in the order of
// their ids, and keeps what it returns in place; nil leaves the order as it is. Each
// order is condensed at most once until it is kept anew. It returns the id to go on
// from, "" when all were seen.
func (s *Store) Condense(after string, limit int, less func(id string, kept []byte) []byte) (next string, err error) {
	type change struct{ id, was, less []byte }
	var changes []change
	err = s.view(func(tx *bbolt.Tx, _ *waiting) error {
		c := orders(tx).Cursor()
		n := 0
		for k, v := c.Seek([]byte(max(after, string([]byte{condensed + 1})))); k != nil; k, v = c.Next() {
			id := string(k)
			if id == after {
				continue
			}
			if n++; n > limit {
				return nil
			}
			next = id
			b, err := unseal(k, v)
			if err != nil {
				continue // Verify names it
			}
			if to := less(id, b); to != nil {
				changes = append(changes, change{[]byte(id), bytes.Clone(v), to})
			}
		}
		next = ""
		return nil
	})
	if err != nil || len(changes) == 0 {
		return next, err
	}
	s.writing.Lock() // nobody waited while less was thinking
	defer s.writing.Unlock()
	if err := s.usable(); err != nil {
		return "", err
	}
	err = s.commit(s.kept, func(tx *bbolt.Tx) error {
		b := orders(tx)
		b.FillPercent = 0.9 // most ids come in their order
		for _, c := range changes {
			if _, newer := s.waiting.orders[string(c.id)]; newer || !bytes.Equal(b.Get(c.id), c.was) {
				continue // it was kept anew meanwhile
			}
			if err := b.Delete(c.id); err != nil {
				return err
			}
			key := condensedKey(c.id)
			if err := b.Put(key, seal(key, c.less)); err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		return after, fmt.Errorf("condense orders: %w", err)
	}
	return next, nil
}
