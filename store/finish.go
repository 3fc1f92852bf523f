package store

import (
	"benchtally/agent/record"
	"encoding/json"
	"fmt"
	"maps"
	"slices"

	"go.etcd.io/bbolt"
)

// This file writes what a rescue found out about the store as a whole.

// finish writes all that is not a record or an order.
func (r *rescuer) finish() error {
	rep := &r.report
	records := r.tx.Bucket(bucketRecords)
	m, rest := r.tx.Bucket(bucketMeta), r.tx.Bucket(bucketRest)
	oldest, _ := records.Cursor().First()
	if r.head.id == "" && oldest == nil && r.state == nil {
		switch {
		case len(r.wreck.unreadable) > 0:
			return errGone
		case !r.wreck.blank:
			return errNothing
		}
		r.certain = true // that there is nothing to go on from
	}
	id, err := field(m, keyID, 0)
	if err != nil {
		return err
	}
	rep.ID = string(id)
	r.highest = max(r.highest, r.folded)
	if n := len(r.lost); n > 0 {
		r.highest = max(r.highest, r.lost[n-1].To)
	}
	if !r.certain {
		r.report.Skipped = margin
		r.head.session += margin
		r.doubtful("the cursors could not be read: seqs and sessions go on %d higher than what was found, so that none comes twice", margin)
	}
	rep.First, rep.Last, rep.Sent = max(r.head.first, 1), r.highest, min(r.head.sent, r.highest)
	if first, ok := keySeq(oldest); ok && r.head.first == 0 {
		rep.First = first
	}
	if err := r.gaps(records); err != nil {
		return err
	}
	r.keepStateIfSound(rest)
	if err := r.keepRuns(rest.Bucket(bucketRuns)); err != nil {
		return err
	}
	if err := r.note(records, rest.Bucket(bucketRuns)); err != nil {
		return err
	}
	rep.Orders = orderCount(rest.Bucket(bucketOrders))
	var requests []request
	for _, q := range r.head.requests {
		if q.from <= r.highest && q.to >= rep.First {
			requests = append(requests, request{max(q.from, rep.First), min(q.to, r.highest)})
		}
	}
	rep.Unreadable = len(r.wreck.unreadable)
	if rep.Unreadable > 0 {
		r.doubtful("%d pages of 4 KiB cannot be read from the card", rep.Unreadable)
	}
	if n := len(r.doubt); n > 0 {
		r.doubtful("of %d of the lost records there were two that differ", n)
	}
	for _, v := range []struct{ key, payload []byte }{
		{keySession, seqKey(r.head.session)}, {keyFirst, seqKey(rep.First)}, {keyLast, seqKey(rep.after())},
		{keySent, seqKey(rep.Sent)}, {keyResend, appendRequests(nil, requests)},
	} {
		if err := m.Put(v.key, seal(v.key, v.payload)); err != nil {
			return err
		}
	}
	if len(r.head.note) > 0 {
		if err := m.Put(keyNote, seal(keyNote, r.head.note)); err != nil {
			return err
		}
	}
	for name, b := range r.marks {
		if n, _ := keySeq(b[:8]); n > rep.Last {
			continue
		}
		if err := rest.Put([]byte(name), seal([]byte(name), b)); err != nil {
			return err
		}
	}
	lost := slices.Clone(ranges(rep.Lost))
	if rep.Skipped > 0 {
		lost = append(lost, Range{rep.Last + 1, rep.Last + rep.Skipped})
	}
	if len(lost) > 0 {
		if err := rest.Put(keyLost, seal(keyLost, lost.bytes())); err != nil {
			return err
		}
	}
	for key, b := range r.stories {
		if err := rest.Put([]byte(key), seal([]byte(key), b)); err != nil {
			return err
		}
	}
	return r.tell(rest)
}

func (r *rescuer) doubtful(format string, args ...any) {
	r.report.Doubts = append(r.report.Doubts, fmt.Sprintf(format, args...))
}

// note is the first record of the new store: what happened. It also holds the seq up to
// which seqs were given, for who folds the records.
func (r *rescuer) note(records, runs *bbolt.Bucket) error {
	state := record.On
	if r.report.Backup != "" { // nothing is wrong
		state = record.Off
	}
	key := seqKey(r.report.after())
	told := record.Record{
		Seq: r.report.after(), At: record.Stamp(r.report.At), Kind: record.Fault,
		Source: record.Store, State: state, Reason: r.report.Sentence(),
	}
	if err := records.Put(key, finish(key, pack(begin(nil), &told))); err != nil {
		return err
	}
	return runs.Put(key, seal(key, []byte(random())))
}

// gaps finds which records are not there.
func (r *rescuer) gaps(records *bbolt.Bucket) error {
	next, rep := r.report.First, &r.report
	for c, k, _ := first(records); k != nil; k, _ = c.Next() {
		seq, ok := keySeq(k)
		if !ok || seq < next {
			return unfit(fmt.Sprintf("record %d was rescued behind record %d", seq, next)) // a bug of ours
		}
		if seq > next {
			rep.Lost = append(rep.Lost, Range{next, seq - 1})
		}
		next = seq + 1
		rep.Records++
	}
	if next <= rep.Last {
		rep.Lost = append(rep.Lost, Range{next, rep.Last})
	}
	rep.LostCount = ranges(rep.Lost).count()
	return nil
}

// keepStateIfSound keeps the state found, if there is one.
func (r *rescuer) keepStateIfSound(rest *bbolt.Bucket) {
	if r.state == nil {
		if r.report.First > 1 {
			r.doubtful("the state could not be read, and records before %d were let go before: care counts and orders are made of what is left", r.report.First)
		}
		return
	}
	if err := rest.Put(keyState, seal(keyState, append(seqKey(r.folded), r.state...))); err != nil {
		r.doubtful("the state could not be kept: %v", err)
		return
	}
	r.report.State = r.folded
}

// keepRuns keeps which run a record is of, with the damaged store's id, so that the
// ids of events stay as they were.
func (r *rescuer) keepRuns(b *bbolt.Bucket) error {
	seqs := slices.Sorted(maps.Keys(r.runs))
	old := 0 // how many runs began before the oldest record
	for old < len(seqs) && seqs[old] <= r.report.First {
		old++
	}
	seqs = seqs[max(old-1, 0):]
	if old == 0 && r.report.Last > 0 {
		r.doubtful("the run of record %d could not be read: if it is sent again, its event has another id", r.report.First)
		r.runs[r.report.First] = []byte(random())
		seqs = slices.Insert(seqs, 0, r.report.First)
	}
	for _, seq := range seqs {
		if seq > r.report.Last {
			break
		}
		name := r.runs[seq]
		if len(name) == 16 && r.head.id != "" {
			name = []byte(r.head.id + "-" + string(name))
		}
		key := seqKey(seq)
		if err := b.Put(key, seal(key, name)); err != nil {
			return err
		}
	}
	if r.head.id == "" {
		r.doubtful("the damaged store's id could not be read: what is sent again has other ids")
	}
	return nil
}

func orderCount(b *bbolt.Bucket) (n int) {
	for c, k, _ := first(b); k != nil; k, _ = c.Next() {
		if len(k) > 0 && k[0] != 0 {
			n++
		}
	}
	return n
}

// tell keeps the story of this rescue in the store.
func (r *rescuer) tell(rest *bbolt.Bucket) error {
	story := r.report
	story.Lost = story.Lost[:min(len(story.Lost), maxTold)]
	b, err := json.Marshal(story)
	if err != nil {
		return err
	}
	key := []byte(prefixStory + r.report.ID)
	return rest.Put(key, seal(key, b))
}
