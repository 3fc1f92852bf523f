package store

import (
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"strings"

	"go.etcd.io/bbolt"

	"benchtally/agent/record"
)

// ErrLost says that the records named were lost with a file that was set aside. The store
// knows of the gap, nothing is wrong with it, and whoever reads goes on.
var ErrLost = errors.New("were lost when the store was rescued")

// keyLost is in rest: the ranges of records that a rescue could not find, as pairs
// of numbers, ascending and apart.
var keyLost = []byte("lost")

// Range is records from one seq to another, both included.
type Range struct {
	From uint64 `json:"from"`
	To   uint64 `json:"to"`
}

func (r Range) String() string {
	if r.From == r.To {
		return fmt.Sprint(r.From)
	}
	return fmt.Sprintf("%d to %d", r.From, r.To)
}

// ranges are in order and do not touch.
type ranges []Range

// count is how many records they are.
func (rs ranges) count() (n uint64) {
	for _, r := range rs {
		n += r.To - r.From + 1
	}
	return n
}

// at is the range that holds seq, or otherwise the next one behind it; false when
// there is none.
func (rs ranges) at(seq uint64) (Range, bool) {
	i, _ := slices.BinarySearchFunc(rs, seq, func(r Range, seq uint64) int {
		if r.To < seq {
			return -1
		}
		return 1
	})
	if i == len(rs) {
		return Range{}, false
	}
	return rs[i], true
}

// split cuts a range into parts that lie within one of rs, and parts that lie
// within none, in order.
func (rs ranges) split(all Range, fn func(part Range, within bool) bool) {
	for next := all.From; next <= all.To; {
		r, ok := rs.at(next)
		part, within := Range{next, all.To}, false
		switch {
		case !ok || r.From > all.To:
		case r.From > next:
			part.To = r.From - 1
		default:
			part.To, within = min(r.To, all.To), true
		}
		if !fn(part, within) {
			return
		}
		next = part.To + 1
	}
}

// without is what of rs is not in others.
func (rs ranges) without(others ranges) (left ranges) {
	for _, r := range rs {
		others.split(r, func(part Range, within bool) bool {
			if !within {
				left = append(left, part)
			}
			return true
		})
	}
	return left
}

// bytes writes ranges; readRanges reads them.
func (rs ranges) bytes() (b []byte) {
	for _, r := range rs {
		b = append(append(b, seqKey(r.From)...), seqKey(r.To)...)
	}
	return b
}

func readRanges(b []byte) (rs ranges, err error) {
	last := uint64(0)
	for ; len(b) >= 16; b = b[16:] {
		from, _ := keySeq(b[:8])
		to, _ := keySeq(b[8:16])
		if from <= last || from > to || to > maxSeq {
			return nil, unfit(fmt.Sprintf("%s: holds the range %d to %d", keyLost, from, to))
		}
		rs, last = append(rs, Range{from, to}), to
	}
	if len(b) != 0 {
		return nil, unfit(fmt.Sprintf("%s: ends in the middle of a range", keyLost))
	}
	return rs, nil
}

// maxSeq is the highest seq that is believed of a damaged file: a stroke a second
// for 30,000 years. Keys of other kinds are far above it.
const maxSeq = 1 << 40

// lostIn reads what a rescue could not find.
func lostIn(tx *bbolt.Tx) (ranges, error) {
	v := tx.Bucket(bucketRest).Get(keyLost)
	if v == nil {
		return nil, nil
	}
	b, err := unseal(keyLost, v)
	if err != nil {
		return nil, unfit(fmt.Sprintf("%s: %v", keyLost, err))
	}
	return readRanges(b)
}

// missing tells fn that records from a seq to another are not there: those that a
// rescue did not find as [ErrLost], others as damage. next is moved along.
func (s *Store) missing(gap Range, next *uint64, fn func(record.Record, error) bool) (more bool) {
	more = true
	s.lost.split(gap, func(part Range, lost bool) bool {
		*next = part.To + 1
		err := fmt.Errorf("store: %s: records %d to %d: the file %w, they are missing", s.path, part.From, part.To, ErrCorrupt)
		if lost {
			err = fmt.Errorf("store: %s: records %d to %d %w", s.path, part.From, part.To, ErrLost)
		}
		more = fn(record.Record{Seq: part.To}, err)
		return more
	})
	return more
}

// origin is what the ids of a run's events begin with: a run that was rescued
// brings its store's id along.
func (s *Store) origin(run string) string {
	if strings.Contains(run, "-") {
		return run
	}
	return s.id + "-" + run
}

// story takes what a rescue left in the store; true when the value is of one.
func (c *checker) story(key, b []byte, err error) bool {
	switch {
	case string(key) == string(keyLost):
		if err == nil {
			c.report.Lost, err = readRanges(b)
		}
	case strings.HasPrefix(string(key), prefixStory):
		var story Rescued
		if err == nil {
			err = json.Unmarshal(b, &story)
		}
		c.report.Rescues = append(c.report.Rescues, story)
	default:
		return false
	}
	if err != nil {
		c.damage("what is told of a rescue: %v", err)
	}
	return true
}
