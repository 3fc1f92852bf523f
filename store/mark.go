package store

import (
	"errors"
	"fmt"
	"maps"

	"go.etcd.io/bbolt"
)

// mark is how far somebody has come through the records, with a note of their
// own.
type mark struct {
	seq  uint64
	note []byte
}

// maxNote bounds a note, so that no commit becomes large by one.
const maxNote = 64 << 10

// prefixMark begins the key of a mark in the bucket rest.
const prefixMark = "mark "

// Mark gives the mark of that name as it was set last: how far somebody has come
// through the records, and a note of their own. It is 0 and nil if it never was
// set.
func (s *Store) Mark(name string) (seq uint64, note []byte, err error) {
	s.mu.Lock()
	m, known := s.now.marks[name]
	s.mu.Unlock()
	if known {
		return m.seq, m.note, nil
	}
	key := []byte(prefixMark + name)
	b, err := s.value(key, func(tx *bbolt.Tx) *bbolt.Bucket { return tx.Bucket(bucketRest) })
	switch {
	case err != nil || b == nil:
		return 0, nil, err
	case len(b) < 8:
		return 0, nil, s.failure(unfit(fmt.Sprintf("%s: has %d bytes, fewer than 8", key, len(b))))
	}
	seq, _ = keySeq(b[:8])
	return seq, b[8:], nil
}

// SetMark sets the mark of that name, 1 to 32 characters, with a note of at most
// 64 KiB, which is not copied. It moves in memory and is kept with the next
// Append, by FlushSent and by Close, as the sent cursor is; whoever must be sure
// calls FlushSent.
func (s *Store) SetMark(name string, seq uint64, note []byte) error {
	switch {
	case name == "" || len(name) > 32:
		return fmt.Errorf("store: mark %.40q: want a name of 1 to 32 characters", name)
	case len(note) > maxNote:
		return errors.New("store: the note of a mark may have 64 KiB")
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	s.now.marks = maps.Clone(s.now.marks) // another copy may be on its way to the disk
	if s.now.marks == nil {
		s.now.marks = map[string]mark{}
	}
	s.now.marks[name] = mark{seq, note}
	s.now.moves++
	s.move()
	return nil
}

// keepMarks writes the marks set since the store was opened.
func keepMarks(tx *bbolt.Tx, marks map[string]mark) error {
	b := tx.Bucket(bucketRest)
	for name, m := range marks {
		key := []byte(prefixMark + name)
		if err := b.Put(key, seal(key, append(seqKey(m.seq), m.note...))); err != nil {
			return err
		}
	}
	return nil
}
