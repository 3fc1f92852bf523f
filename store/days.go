package store

import (
	"encoding/binary"
	"fmt"
	"time"

	"go.etcd.io/bbolt"
)

// The table of days says, of each UTC day on which a record happened, which
// records were the first and the last of it, in the order of seq. A clock that
// jumps makes ranges overlap, and loses nothing. It is kept in the bucket rest.
var (
	prefixDay = []byte("day ") // then the day as 4 bytes that sort as days do -> first and last seq
	keyDays   = []byte("days") // the seq from which on the table is whole
)

const daySeconds = 24 * 60 * 60

// dayOf is the UTC day of a time, from 1970 on; before it is below 0.
func dayOf(at time.Time) int64 {
	s := at.Unix()
	if s < 0 {
		s -= daySeconds - 1
	}
	return s / daySeconds
}

func dayKey(day int64) []byte {
	return binary.BigEndian.AppendUint32(append([]byte(nil), prefixDay...), uint32(day+1<<31)) //nolint:gosec // a record's year has at most four digits
}

// whenOf is the time of a record in a value that was sealed.
func whenOf(value []byte) (time.Time, bool) {
	if len(value) < 2 {
		return time.Time{}, false
	}
	us, n := binary.Varint(value[1:])
	return time.UnixMicro(us), n > 0
}

// fillDays enters records that are moved to bbolt's pages in the table of days.
func (w *waiting) fillDays(rest *bbolt.Bucket) error {
	if rest.Get(keyDays) == nil {
		if err := rest.Put(keyDays, seal(keyDays, seqKey(w.first))); err != nil {
			return err
		}
	}
	var day int64
	var from, to uint64 // of the day; 0: none yet
	enter := func() error {
		if from == 0 {
			return nil
		}
		key := dayKey(day)
		if v := rest.Get(key); v != nil {
			first, last, err := dayRange(key, v)
			if err != nil {
				return err
			}
			from, to = min(from, first), max(to, last)
		}
		return rest.Put(key, seal(key, append(seqKey(from), seqKey(to)...)))
	}
	for i, v := range w.values {
		at, ok := whenOf(v)
		if !ok {
			continue // cannot be: it was packed here
		}
		seq := w.first + uint64(i)
		if d := dayOf(at); from == 0 || d != day {
			if err := enter(); err != nil {
				return err
			}
			day, from = d, seq
		}
		to = seq
	}
	return enter()
}

func dayRange(key, value []byte) (first, last uint64, err error) {
	b, err := unseal(key, value)
	if err == nil && len(b) != 16 {
		err = fmt.Errorf("has %d bytes, not 16", len(b))
	}
	if err != nil {
		return 0, 0, unfit(fmt.Sprintf("%q: %v", key, err))
	}
	return binary.BigEndian.Uint64(b), binary.BigEndian.Uint64(b[8:]), nil
}

// Within is where the records lie that happened at or after one time and before
// another; a zero time bounds nothing. Others may lie between them, none outside of
// from to to, both included. From is larger than to when there are none.
func (s *Store) Within(since, until time.Time) (from, to uint64, err error) {
	last := s.Last()
	if since.IsZero() && until.IsZero() {
		return 1, last, nil
	}
	from, to = last+1, 0
	reach := func(a, b uint64) { from, to = min(from, a), max(to, b) }
	err = s.view(func(tx *bbolt.Tx, w *waiting) error {
		rest := tx.Bucket(bucketRest)
		var whole uint64
		if v := rest.Get(keyDays); v != nil {
			b, err := unseal(keyDays, v)
			if err != nil || len(b) != 8 {
				return unfit(fmt.Sprintf("%q: %v", keyDays, err))
			}
			whole = binary.BigEndian.Uint64(b)
		} else if whole = w.first; len(w.values) == 0 {
			whole = last + 1
		}
		if whole > 1 { // kept before there was a table, if they were not pruned
			reach(1, whole-1)
		}
		c := rest.Cursor()
		for k, v := c.Seek(prefixDay); len(k) == len(prefixDay)+4 && string(k[:len(prefixDay)]) == string(prefixDay); k, v = c.Next() {
			day := int64(binary.BigEndian.Uint32(k[len(prefixDay):])) - 1<<31
			if !since.IsZero() && day < dayOf(since) || !until.IsZero() && day > dayOf(until) {
				continue
			}
			a, b, err := dayRange(k, v)
			if err != nil {
				return err
			}
			reach(a, b)
		}
		if n := uint64(len(w.values)); n > 0 {
			reach(w.first, w.first+n-1)
		}
		return nil
	})
	return from, min(to, max(last, 1)), err
}

// pruneDays deletes the days whose records are all gone.
func pruneDays(rest *bbolt.Bucket, oldest uint64) error {
	var gone [][]byte
	c := rest.Cursor()
	for k, v := c.Seek(prefixDay); len(k) == len(prefixDay)+4 && string(k[:len(prefixDay)]) == string(prefixDay); k, v = c.Next() {
		_, last, err := dayRange(k, v)
		if err != nil {
			return err
		}
		if last < oldest {
			gone = append(gone, append([]byte(nil), k...))
		}
	}
	for _, k := range gone {
		if err := rest.Delete(k); err != nil {
			return err
		}
	}
	return nil
}
