package store

import (
	"bytes"
	"errors"
	"fmt"
	"maps"

	"go.etcd.io/bbolt"
)

// waiting is what is kept in the journal and not yet in bbolt's pages, and the
// state that was folded since: a start can fold that again, so it waits in memory
// alone. A copy of it stays as it is while the store goes on.
type waiting struct {
	first  uint64   // seq of the first record
	values [][]byte // of the records, sealed
	runs   []span   // that began with one of them; end is not set
	note   []byte   // nil: unchanged; empty: deleted

	state  []byte // nil: none
	folded uint64 // seq up to which state is folded
	orders map[string][]byte
}

// add takes what an entry of the journal holds.
func (w *waiting) add(e *entry) {
	if e.note != nil {
		w.note = e.note
	}
	if len(e.values) == 0 {
		return
	}
	if len(w.values) == 0 {
		w.first = e.first
	}
	if e.run != "" {
		w.runs = append(w.runs, span{name: e.run, first: e.first})
	}
	w.values = append(w.values, e.values...)
}

// hold takes a state with the orders that left it.
func (w *waiting) hold(b Batch, seq uint64) {
	w.state, w.folded = bytes.Clone(b.State), seq
	if len(b.Orders) > 0 {
		w.orders = maps.Clone(w.orders)
		if w.orders == nil {
			w.orders = map[string][]byte{}
		}
		maps.Copy(w.orders, b.Orders)
	}
}

// last is the seq of the newest record that waits, or otherwise the one given.
func (w *waiting) last(otherwise uint64) uint64 {
	if len(w.values) == 0 {
		return otherwise
	}
	return w.first + uint64(len(w.values)) - 1
}

// fill moves it to bbolt's pages.
func (w *waiting) fill(tx *bbolt.Tx) error { return errors.Join(w.fillRecords(tx), w.fillState(tx)) }

func (w *waiting) fillRecords(tx *bbolt.Tx) error {
	m, rest := tx.Bucket(bucketMeta), tx.Bucket(bucketRest)
	if len(w.values) > 0 {
		records := tx.Bucket(bucketRecords)
		records.FillPercent = 1 // keys only ever come at the end: no page will need room
		for i, v := range w.values {
			if err := records.Put(seqKey(w.first+uint64(i)), v); err != nil {
				return err
			}
		}
		for _, r := range w.runs {
			key := seqKey(r.first)
			if err := rest.Bucket(bucketRuns).Put(key, seal(key, []byte(r.name))); err != nil {
				return err
			}
		}
		if err := w.fillDays(rest); err != nil {
			return err
		}
		if err := m.Put(keyLast, seal(keyLast, seqKey(w.last(0)))); err != nil {
			return err
		}
	}
	switch {
	case w.note == nil:
		return nil
	case len(w.note) == 0:
		return m.Delete(keyNote)
	default:
		return m.Put(keyNote, seal(keyNote, w.note))
	}
}

func (w *waiting) fillState(tx *bbolt.Tx) error {
	if w.state == nil {
		return nil
	}
	rest := tx.Bucket(bucketRest)
	if err := rest.Put(keyState, seal(keyState, append(seqKey(w.folded), w.state...))); err != nil {
		return err
	}
	orders := rest.Bucket(bucketOrders)
	for id, o := range w.orders {
		if err := orders.Put([]byte(id), seal([]byte(id), o)); err != nil {
			return err
		}
		if err := orders.Delete(condensedKey([]byte(id))); err != nil {
			return err
		}
	}
	return nil
}

// run is the run of a record that waits, with what bounds it.
func (w *waiting) run(seq uint64) (found span) {
	for i, r := range w.runs {
		if r.first > seq {
			break
		}
		found = r
		if found.end = 0; i+1 < len(w.runs) {
			found.end = w.runs[i+1].first
		}
	}
	return found
}

// replay reads the journal of a file whose bbolt pages hold records up to last,
// and gives what waits in it, the cursors after it, and the place behind it.
func (r ring) replay(from spot, last uint64, now cursors) (w waiting, after cursors, end spot, lost, err error) {
	b, err := r.all()
	if err != nil {
		return w, now, from, nil, err
	}
	end, lost, err = r.entries(b, from, func(payload []byte) error {
		var e entry
		if err := e.parse(payload); err != nil {
			return err
		}
		if next := w.last(last) + 1; len(e.values) > 0 && e.first != next {
			return fmt.Errorf("journal: holds record %d where %d was expected", e.first, next)
		}
		w.add(&e)
		now.take(&e)
		return nil
	})
	return w, now, end, lost, err
}
