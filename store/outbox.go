package store

import (
	"errors"
	"fmt"
	"strconv"
	"time"

	"go.etcd.io/bbolt"

	"benchtally/agent/record"
)

// keepEvery is how far the sent cursor may run ahead of the file: a crash sends
// at most that many events again.
const keepEvery = 64

// maxListed is how many records that cannot be read are named in one error.
const maxListed = 10

// Unsent gives the oldest records not yet sent and after the seq given, at most
// limit of them. Records that cannot be read are left out; the error, which
// wraps [ErrCorrupt], names them, and the events are good all the same.
func (s *Store) Unsent(after uint64, limit int) ([]record.Event, error) {
	last := s.Last()
	after = max(after, s.SentSeq())
	if after >= last {
		return nil, nil
	}
	return s.events(after, last, limit)
}

// events gives at most limit records after one seq up to another.
func (s *Store) events(after, to uint64, limit int) (events []record.Event, err error) {
	if limit <= 0 {
		return nil, nil
	}
	var unreadable []error
	more := 0       // all that cannot be read
	var json []byte // shared by several events
	err = s.view(func(tx *bbolt.Tx, w *waiting) error {
		var run span
		var inner error
		err := s.walk(tx, w, after, to, func(r record.Record, err error) bool {
			if errors.Is(err, ErrLost) {
				return true // was told when it was lost
			}
			if err != nil {
				if more++; len(unreadable) < maxListed {
					unreadable = append(unreadable, err)
				}
				return true
			}
			if !run.holds(r.Seq) {
				if run, inner = findRun(tx, w, r.Seq); inner != nil {
					return false
				}
			}
			if cap(json)-len(json) < 1024 {
				json = make([]byte, 0, 1024*min(limit-len(events), 32))
			}
			start := len(json)
			json = r.AppendJSON(json)
			events = append(events, record.Event{
				Seq:    r.Seq,
				ID:     s.origin(run.name) + "-" + strconv.FormatUint(r.Seq, 10),
				Record: json[start:len(json):len(json)],
			})
			return len(events) < limit
		})
		return errors.Join(err, inner)
	})
	if more -= len(unreadable); more > 0 {
		unreadable = append(unreadable, fmt.Errorf("and %d more", more))
	}
	return events, errors.Join(append(unreadable, err)...)
}

// readRecord gives the record in a value.
func readRecord(seq uint64, key, value []byte) (record.Record, error) {
	b, err := unseal(key, value)
	if err != nil {
		return record.Record{}, err
	}
	return unpack(seq, b)
}

// badRecord says that one record cannot be read.
func (s *Store) badRecord(seq uint64, err error) error {
	if errors.Is(err, ErrNewer) {
		return fmt.Errorf("store: %s: record %d: %w", s.path, seq, err)
	}
	return fmt.Errorf("store: %s: record %d %w: %v", s.path, seq, ErrCorrupt, err)
}

// span is a run: its records from first to the one before end.
type span struct {
	name       string
	first, end uint64 // end 0: no later run
}

func (s span) holds(seq uint64) bool {
	return s.name != "" && seq >= s.first && (s.end == 0 || seq < s.end)
}

// findRun looks up the run of a record: the last that began at it or before.
func findRun(tx *bbolt.Tx, w *waiting, seq uint64) (span, error) {
	found := w.run(seq)
	if found.name != "" {
		return found, nil
	}
	if len(w.runs) > 0 {
		found.end = w.runs[0].first
	}
	c := tx.Bucket(bucketRest).Bucket(bucketRuns).Cursor()
	var k, v []byte
	if next, _ := c.Seek(seqKey(seq + 1)); next != nil {
		found.end, _ = keySeq(next)
		k, v = c.Prev()
	} else {
		k, v = c.Last()
	}
	if k == nil {
		return span{}, unfit(fmt.Sprintf("record %d belongs to no run", seq))
	}
	name, err := unseal(k, v)
	if err != nil {
		return span{}, unfit(fmt.Sprintf("the run of record %d: %v", seq, err))
	}
	found.name = string(name)
	found.first, _ = keySeq(k)
	return found, nil
}

// Sent tells that all records up to seq were sent. It moves in memory and is
// kept with the next Append, every 64 records, and by FlushSent and Close; it
// never goes back.
func (s *Store) Sent(seq uint64) error {
	s.mu.Lock()
	if seq > s.last {
		defer s.mu.Unlock()
		return fmt.Errorf("store: record %d cannot have been sent, the last one kept is %d", seq, s.last)
	}
	s.now.sent = max(s.now.sent, seq)
	s.move()
	due := s.now.sent-max(s.kept.sent, s.try) >= keepEvery
	s.mu.Unlock()
	if due {
		return s.FlushSent()
	}
	return nil
}

// move notes when the cursors began to differ from those kept. The caller holds mu.
func (s *Store) move() {
	if s.moved.IsZero() && !s.now.same(&s.kept) {
		s.moved = time.Now()
	}
}

// FlushSent keeps the cursors of Sent and Resent and the marks if they moved.
func (s *Store) FlushSent() error {
	s.writing.Lock()
	defer s.writing.Unlock()
	return s.flush()
}

// FlushOld keeps the cursors if they moved longer ago than the time given, and
// tries again what Trouble tells of. The owner calls it every few seconds. Each
// flush is a commit of its own, while the next Append takes the cursors along for
// nothing; so they are given time, and a crash sends again what was sent in that
// time, at most 64 events.
func (s *Store) FlushOld(than time.Duration) error {
	s.mu.Lock()
	old, trouble := !s.moved.IsZero() && time.Since(s.moved) > than, s.trouble
	s.mu.Unlock()
	if !old && trouble == nil {
		return nil
	}
	s.writing.Lock()
	defer s.writing.Unlock()
	if s.usable() == nil && trouble != nil {
		_ = s.settle(s.waiting, s.kept)
	}
	if old {
		return s.flush()
	}
	return nil
}

// flush is FlushSent for who holds writing.
func (s *Store) flush() error {
	now, kept := s.both()
	if now.same(&kept) {
		return nil
	}
	e := now.since(&kept)
	return s.keep(&e, now)
}

// SentSeq is the seq up to which all records were sent.
func (s *Store) SentSeq() uint64 {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.now.sent
}

// Queue is how many records are not yet sent, and when the oldest of them
// happened; zero time when there is none.
func (s *Store) Queue() (n uint64, oldest time.Time, err error) {
	s.mu.Lock()
	last, sent := s.last, s.now.sent
	s.mu.Unlock()
	if n = last - sent; n == 0 {
		return 0, time.Time{}, nil
	}
	var bad error
	err = s.view(func(tx *bbolt.Tx, w *waiting) error {
		return s.walk(tx, w, sent, last, func(r record.Record, err error) bool {
			oldest, bad = r.At, err
			if errors.Is(err, ErrLost) {
				bad = nil
				return true // the oldest that can still be sent comes behind it
			}
			return false
		})
	})
	return n, oldest, errors.Join(err, bad)
}

// NextSession counts the sessions with the broker: it adds one, on disk, and
// returns the new number.
func (s *Store) NextSession() (session uint64, err error) {
	s.writing.Lock()
	defer s.writing.Unlock()
	s.mu.Lock()
	s.now.session++
	session = s.now.session
	s.mu.Unlock()
	if err := s.flush(); err != nil {
		s.mu.Lock()
		s.now.session--
		s.mu.Unlock()
		return 0, err
	}
	return session, nil
}
