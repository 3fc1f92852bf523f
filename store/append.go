package store

import (
	"errors"
	"fmt"

	"go.etcd.io/bbolt"

	"benchtally/agent/record"
)

// Limits of one value, far above what a station writes.
const (
	maxRecord = 64 << 10
	maxState  = 16 << 20
	maxSmall  = 1 << 20
)

// tailRoom is how many bytes of the tail bbolt keeps inside the page of the
// buckets: a quarter of a page, less its header.
const tailRoom = pageSize/4 - headerSize

// Batch is what is kept together.
type Batch struct {
	Records []record.Record   // Seq must go on from Last by one each
	State   []byte            // nil: none; else the state folded up to the last of Records
	Orders  map[string][]byte // with State only: orders that left it, by id
	Note    []byte            // nil: unchanged; empty, not nil: deleted; else a small value kept along
}

// Append keeps a batch in one transaction: all of it is on disk when it returns
// nil, and nothing when it returns an error. After [ErrFull] it can be tried again.
func (s *Store) Append(b Batch) error {
	s.writing.Lock()
	defer s.writing.Unlock()
	if err := s.refuse(b); err != nil {
		return fmt.Errorf("store: %w", err)
	}
	if len(b.Records) == 0 && b.State == nil && b.Note == nil {
		return nil
	}
	last := s.Last() + uint64(len(b.Records))
	err := s.commit(func(tx *bbolt.Tx) error {
		if err := s.keepRecords(tx, b.Records); err != nil {
			return err
		}
		if b.Note != nil {
			m := tx.Bucket(bucketMeta)
			if len(b.Note) == 0 {
				if err := m.Delete(keyNote); err != nil {
					return err
				}
			} else if err := m.Put(keyNote, seal(keyNote, b.Note)); err != nil {
				return err
			}
		}
		if b.State == nil {
			return nil
		}
		return keepState(tx, last, b)
	})
	if err != nil {
		return err
	}
	s.runKept = s.runKept || len(b.Records) > 0
	s.mu.Lock()
	s.last = last
	s.mu.Unlock()
	return nil
}

// refuse says what is wrong with a batch, before anything is written.
func (s *Store) refuse(b Batch) error {
	next := s.Last() + 1
	for i := range b.Records {
		r := &b.Records[i]
		if want := next + uint64(i); r.Seq != want {
			return fmt.Errorf("record %d cannot be kept: the next one is %d", r.Seq, want)
		}
		if y := r.At.UTC().Year(); y < 0 || y > 9999 {
			return fmt.Errorf("record %d cannot be kept: the year %d has no place in a record", r.Seq, y)
		}
	}
	if len(b.Orders) > 0 && b.State == nil {
		return errors.New("orders cannot be kept without the state they left")
	}
	for id, o := range b.Orders {
		if id == "" || len(id) > 1024 || len(o) > maxSmall {
			return fmt.Errorf("order %.40q cannot be kept: its id takes 1 to 1024 bytes, the rest at most %d", id, maxSmall)
		}
	}
	if len(b.State) > maxState {
		return fmt.Errorf("the state cannot be kept: it has %d bytes, at most %d are taken", len(b.State), maxState)
	}
	if len(b.Note) > maxSmall {
		return fmt.Errorf("the note cannot be kept: it has %d bytes, at most %d are taken", len(b.Note), maxSmall)
	}
	return nil
}

// keepRecords adds records to the tail. Without room there, what the tail holds
// moves to the records first, and with it what would not fit into an empty one.
func (s *Store) keepRecords(tx *bbolt.Tx, rs []record.Record) error {
	if len(rs) == 0 {
		return nil
	}
	if !s.runKept {
		key := seqKey(rs[0].Seq)
		if err := tx.Bucket(bucketRest).Bucket(bucketRuns).Put(key, seal(key, []byte(s.run))); err != nil {
			return err
		}
	}
	last := seqKey(rs[len(rs)-1].Seq)
	if err := tx.Bucket(bucketMeta).Put(keyLast, seal(keyLast, last)); err != nil {
		return err
	}
	size := 0
	add := make([]entry, 0, len(rs))
	for i := range rs {
		key := seqKey(rs[i].Seq)
		value := finish(key, pack(begin(make([]byte, 0, 160)), &rs[i]))
		if len(value) > maxRecord {
			return fmt.Errorf("record %d has %d bytes; at most %d are kept", rs[i].Seq, len(value), maxRecord)
		}
		add = append(add, entry{key, value})
		size += add[i].size()
	}
	tail := tx.Bucket(bucketTail)
	var held []entry
	heldSize := 0
	for c, k, v := first(tail); k != nil; k, v = c.Next() {
		held = append(held, entry{append([]byte(nil), k...), append([]byte(nil), v...)})
		heldSize += held[len(held)-1].size()
	}
	if heldSize+size <= tailRoom {
		return put(tail, add)
	}
	if err := tx.DeleteBucket(bucketTail); err != nil {
		return err
	}
	tail, err := tx.CreateBucket(bucketTail)
	if err != nil {
		return err
	}
	old := tx.Bucket(bucketRecords)
	old.FillPercent = 1 // keys only ever come at the end: no page will need room
	if err := put(old, held); err != nil {
		return err
	}
	if size > tailRoom {
		return put(old, add)
	}
	return put(tail, add)
}

// entry is a key with its value.
type entry struct{ key, value []byte }

// size is the room that bbolt takes for it in a page.
func (e entry) size() int { return itemSize + len(e.key) + len(e.value) }

func first(b *bbolt.Bucket) (c *bbolt.Cursor, k, v []byte) {
	c = b.Cursor()
	k, v = c.First()
	return c, k, v
}

func put(b *bbolt.Bucket, es []entry) error {
	for _, e := range es {
		if err := b.Put(e.key, e.value); err != nil {
			return err
		}
	}
	return nil
}

// keepState writes the state that seq is folded into, and the orders that left it.
func keepState(tx *bbolt.Tx, seq uint64, b Batch) error {
	rest := tx.Bucket(bucketRest)
	if err := rest.Put(keyState, seal(keyState, append(seqKey(seq), b.State...))); err != nil {
		return err
	}
	orders := rest.Bucket(bucketOrders)
	for id, o := range b.Orders {
		if err := orders.Put([]byte(id), seal([]byte(id), o)); err != nil {
			return err
		}
	}
	return nil
}
