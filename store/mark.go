package store

import (
	"errors"
	"fmt"
	"maps"

	"go.etcd.io/bbolt"
)

// Mark is how far somebody has come through the records, with a note of their
// own. The zero Mark is that of somebody who has not begun.
type Mark struct {
	Seq  uint64
	Note []byte // at most 64 KiB
}

// maxNote bounds a note, so that no commit becomes large by one.
const maxNote = 64 << 10

// prefixMark begins the key of a mark in the bucket rest.
const prefixMark = "mark "

// Mark gives the mark of that name as it was set last, the zero Mark if it never
// was.
func (s *Store) Mark(name string) (Mark, error) {
	s.mu.Lock()
	m, known := s.now.marks[name]
	s.mu.Unlock()
	if known {
		return m, nil
	}
	key := []byte(prefixMark + name)
	b, err := s.value(key, func(tx *bbolt.Tx) *bbolt.Bucket { return tx.Bucket(bucketRest) })
	switch {
	case err != nil || b == nil:
		return Mark{}, err
	case len(b) < 8:
		return Mark{}, s.failure(unfit(fmt.Sprintf("%s: has %d bytes, fewer than 8", key, len(b))))
	}
	m.Seq, _ = keySeq(b[:8])
	m.Note = b[8:]
	return m, nil
}

// SetMark sets the mark of that name, 1 to 32 characters. It moves in memory and
// is kept with the next Append, by FlushSent and by Close, as the sent cursor is;
// whoever must be sure calls FlushSent. The note is not copied.
func (s *Store) SetMark(name string, m Mark) error {
	switch {
	case name == "" || len(name) > 32:
		return fmt.Errorf("store: mark %.40q: want a name of 1 to 32 characters", name)
	case len(m.Note) > maxNote:
		return errors.New("store: the note of a mark may have 64 KiB")
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	s.now.marks = maps.Clone(s.now.marks) // another copy may be on its way to the disk
	if s.now.marks == nil {
		s.now.marks = map[string]Mark{}
	}
	s.now.marks[name] = m
	s.now.moves++
	return nil
}

// keepMarks writes the marks set since the store was opened.
func keepMarks(tx *bbolt.Tx, marks map[string]Mark) error {
	b := tx.Bucket(bucketRest)
	for name, m := range marks {
		key := []byte(prefixMark + name)
		if err := b.Put(key, seal(key, append(seqKey(m.Seq), m.Note...))); err != nil {
			return err
		}
	}
	return nil
}
