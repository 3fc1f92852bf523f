package store

import (
	"bytes"
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

// Batch is what is kept together.
type Batch struct {
	Records []record.Record   // Seq must go on from Last by one each
	State   []byte            // nil: none; else the state folded up to the last of Records
	Orders  map[string][]byte // with State only: orders that left it, by id
	Note    []byte            // nil: unchanged; empty, not nil: deleted; else a small value kept along
}

// Append keeps a batch: its records and its note are on disk when it returns nil,
// and nothing of it is kept when it returns an error. The state may reach the disk
// later: until then a start finds an older one, and the records after it. After
// [ErrFull] it can be tried again.
func (s *Store) Append(b Batch) error {
	s.writing.Lock()
	defer s.writing.Unlock()
	if err := s.refuse(b); err != nil {
		return fmt.Errorf("store: %w", err)
	}
	values, err := packAll(b.Records)
	if err != nil {
		return fmt.Errorf("store: %w", err)
	}
	if len(values) > 0 || b.Note != nil {
		now, kept := s.both()
		e := now.since(&kept)
		e.note, e.values = bytes.Clone(b.Note), values
		if len(values) > 0 {
			if e.first = b.Records[0].Seq; !s.runKept {
				e.run = s.run
			}
		}
		if err := s.keep(&e, now); err != nil {
			return err
		}
	}
	if b.State == nil {
		return nil
	}
	if err := s.usable(); err != nil {
		return err
	}
	s.mu.Lock()
	s.waiting.hold(b, s.last)
	s.mu.Unlock()
	_ = s.settle(s.waiting, s.kept) // what cannot be settled stays in the journal, or can be folded again
	return nil
}

// both are the cursors as they are now and as they are kept.
func (s *Store) both() (now, kept cursors) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.try = s.now.sent
	return s.now, s.kept
}

// packAll makes the values of records.
func packAll(rs []record.Record) ([][]byte, error) {
	values := make([][]byte, 0, len(rs))
	for i := range rs {
		v := finish(seqKey(rs[i].Seq), pack(begin(make([]byte, 0, 160)), &rs[i]))
		if len(v) > maxRecord {
			return nil, fmt.Errorf("record %d has %d bytes; at most %d are kept", rs[i].Seq, len(v), maxRecord)
		}
		values = append(values, v)
	}
	return values, nil
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

func first(b *bbolt.Bucket) (c *bbolt.Cursor, k, v []byte) {
	c = b.Cursor()
	k, v = c.First()
	return c, k, v
}
