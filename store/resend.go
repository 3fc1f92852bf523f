package store

import (
	"errors"
	"fmt"

	"go.etcd.io/bbolt"

	"benchtally/agent/record"
)

// maxRequests is how many requests to send again may wait: with these, meta
// still fits inside the page of the buckets.
const maxRequests = 16

// request is a range of records to send again, both ends included.
type request struct{ from, to uint64 }

// Resend asks for the records of a range to be sent again; the request is on
// disk when it returns nil. Requests are served in the order they come.
func (s *Store) Resend(from, to uint64) error {
	if err := s.refuseResend(from, to); err != nil {
		return fmt.Errorf("store: records %d to %d cannot be sent again: %w", from, to, err)
	}
	s.mu.Lock()
	for i, r := range s.now.requests {
		// The first may be partly sent, so only a later one makes this one needless.
		if i > 0 && r.from <= from && to <= r.to {
			s.mu.Unlock()
			return s.FlushSent()
		}
	}
	if len(s.now.requests) >= maxRequests {
		s.mu.Unlock()
		return fmt.Errorf("store: records %d to %d cannot be sent again: %d requests are waiting; ask again later", from, to, maxRequests)
	}
	before, asked := s.now, request{from, to}
	s.now.setRequests(append(s.now.requests[:len(s.now.requests):len(s.now.requests)], asked))
	s.move()
	s.mu.Unlock()

	err := s.FlushSent()
	if err != nil { // not on disk, so not asked for
		s.mu.Lock()
		if s.now.changes == before.changes+1 {
			s.now.requests, s.now.changes = before.requests, before.changes
		}
		s.mu.Unlock()
	}
	return err
}

// refuseResend says why a range cannot be sent again.
func (s *Store) refuseResend(from, to uint64) error {
	last := s.Last()
	switch {
	case from == 0:
		return errors.New("the first record is 1")
	case from > to:
		return errors.New("the first must not be greater than the last")
	case to > last:
		return fmt.Errorf("the last record kept is %d", last)
	}
	var oldest uint64
	err := s.view(func(tx *bbolt.Tx, _ *waiting) (err error) {
		oldest, err = number(tx.Bucket(bucketMeta), keyFirst)
		return err
	})
	if err == nil && from < oldest {
		return fmt.Errorf("the oldest record kept is %d", oldest)
	}
	return err
}

// Resends gives the next records to be sent again, at most limit, all of the
// oldest request. Damaged ones are left out as in Unsent.
func (s *Store) Resends(limit int) ([]record.Event, error) {
	var wrong []error
	for limit > 0 {
		s.mu.Lock()
		if len(s.now.requests) == 0 {
			s.mu.Unlock()
			break
		}
		r := s.now.requests[0]
		s.mu.Unlock()
		events, err := s.events(r.from-1, r.to, limit)
		if len(events) > 0 || err != nil && !errors.Is(err, ErrCorrupt) && !errors.Is(err, ErrNewer) {
			return events, errors.Join(append(wrong, err)...)
		}
		// Nothing of it can be read: the request is served.
		wrong = append(wrong, err)
		if err := s.Resent(r.to); err != nil {
			return nil, err
		}
	}
	return nil, errors.Join(wrong...)
}

// Resent tells that the records up to seq of the oldest request were sent again.
// It is kept as Sent is. A seq outside that request changes nothing.
func (s *Store) Resent(seq uint64) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	defer s.move()
	rs := s.now.requests
	if len(rs) == 0 || seq < rs[0].from || seq > rs[0].to {
		return nil
	}
	if seq == rs[0].to {
		s.now.setRequests(rs[1:])
		return nil
	}
	s.now.setRequests(append([]request{{seq + 1, rs[0].to}}, rs[1:]...))
	return nil
}

// appendRequests writes requests as pairs of numbers; readRequests reads them.
func appendRequests(b []byte, rs []request) []byte {
	for _, r := range rs {
		b = append(append(b, seqKey(r.from)...), seqKey(r.to)...)
	}
	return b
}

func readRequests(b []byte) (rs []request, err error) {
	for ; len(b) >= 16; b = b[16:] {
		from, _ := keySeq(b[:8])
		to, _ := keySeq(b[8:16])
		if from == 0 || from > to {
			return nil, unfit(fmt.Sprintf("resend: holds the range %d to %d", from, to))
		}
		rs = append(rs, request{from, to})
	}
	if len(b) != 0 {
		return nil, unfit("resend: ends in the middle of a range")
	}
	return rs, nil
}
