package store

import (
	"bytes"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"time"

	"go.etcd.io/bbolt"
)

// RescueOptions say how a file is rescued. The zero value is good.
type RescueOptions struct {
	Now      time.Time               // of the report
	Name     string                  // that the damaged file will have; "": the one it has
	Why      string                  // what is wrong with it
	Progress func(done, all int64)   // hears now and then how far it has come; nil: nobody
	beside   *os.File                // a store whose numbers count as well; nil: none
	backup   string                  // a copy that is restored, its name
	reader   func(*os.File) readerAt // a way to read that fails, of tests
}

type readerAt interface {
	ReadAt(b []byte, off int64) (int, error)
}

// margin is by how much a number goes on where the one in the file cannot be read:
// what was counted since the newest that is left. Our own figure, no source.
const margin = 1000

// Rescue makes a new store at dest of all that is left in the file at path, which
// it only reads. Records keep seq, text and event id; the new store has an id of its own,
// and counts on behind the highest seq that is known. The new file is there whole and on
// disk, or not at all; one that is already there is never replaced. The error is
// [ErrLocked] when somebody writes to the file, [ErrNewer] when a newer benchtally did.
func Rescue(path, dest string, o RescueOptions) (Rescued, error) {
	f, err := os.Open(path)
	if err != nil {
		return Rescued{}, fmt.Errorf("store: rescue %s: %w", path, err)
	}
	defer func() { _ = f.Close() }() // it was only read
	if err := lock(f, false, 2*time.Second); err != nil {
		return Rescued{}, fmt.Errorf("store: rescue %s: it %w", path, err)
	}
	return rescue(f, path, dest, o)
}

// rescue does so with a file that is open and locked.
func rescue(f *os.File, path, dest string, o RescueOptions) (report Rescued, err error) {
	if o.Name == "" {
		o.Name = path
	}
	wrap := func(err error) error { return fmt.Errorf("store: rescue %s to %s: %w", path, dest, err) }
	if _, err := os.Lstat(dest); err == nil {
		return report, wrap(fmt.Errorf("%w; name another file", fs.ErrExist))
	}
	info, err := f.Stat()
	if err != nil {
		return report, wrap(err)
	}
	// Whole, or not at all: it gets its name when it is on disk.
	hidden := dest + rescuing
	if err := os.Remove(hidden); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return report, wrap(err)
	}
	defer func() { _ = os.Remove(hidden) }() // already gone when all went well
	if err := create(hidden); err != nil {
		return report, wrap(err)
	}
	w := &wreck{f: f, progress: o.Progress}
	if o.reader != nil {
		w.f = o.reader(f)
	}
	r := rescuer{wreck: w, beside: o.beside, report: Rescued{From: o.Name, At: o.Now.UTC(), Why: o.Why, Backup: o.backup}}
	if err := guard(func() error { return r.run(hidden, info.Size()) }); err != nil {
		return report, wrap(err)
	}
	if err := publish(hidden, dest); err != nil {
		return report, wrap(err)
	}
	return r.report, nil
}

// rescuing ends the name of a store that is being made of a damaged one.
const rescuing = ".rescuing"

// rescuer fills a new store with what is left in a damaged one.
type rescuer struct {
	wreck  *wreck
	beside *os.File
	report Rescued

	db   *bbolt.DB
	tx   *bbolt.Tx
	size int // bytes put since the transaction began

	head    heading // numbers are the highest found
	certain bool    // head is what was in use
	highest uint64  // seq that was seen anywhere
	folded  uint64
	state   []byte
	runs    map[uint64][]byte
	marks   map[string][]byte
	stories map[string][]byte
	lost    ranges          // of an earlier rescue
	doubt   map[uint64]bool // records of which there are two that differ, none of them in use
}

func (r *rescuer) run(path string, size int64) (err error) {
	if r.db, err = bbolt.Open(path, 0o640, &bbolt.Options{
		PageSize:     pageSize,
		FreelistType: bbolt.FreelistMapType,
		NoSync:       true, // synced once, at the end, before anybody knows of the file
		Timeout:      time.Second,
	}); err != nil {
		return err
	}
	defer func() {
		if r.tx != nil { // left open by a fault
			err = errors.Join(err, r.tx.Rollback())
		}
		err = errors.Join(err, r.db.Close())
	}()
	if r.tx, err = r.db.Begin(true); err != nil {
		return err
	}
	r.runs, r.marks, r.stories, r.doubt = map[uint64][]byte{}, map[string][]byte{}, map[string][]byte{}, map[uint64]bool{}
	r.wreck.survey(size)
	if err := r.identify(); err != nil {
		return err
	}
	if n := int64(len(r.wreck.unreadable)); n > 1 && n > r.wreck.pages/2 {
		return errGone // it may come back
	}
	// What is in use comes last: it stands against what was before.
	entries := r.wreck.entries(r.head.id)
	for _, used := range []bool{false, true} {
		err := r.wreck.each(func(page int64) bool { return r.wreck.used(page) == used }, func(_ int64, items []pair) error {
			return r.take(items, used)
		})
		if err != nil {
			return err
		}
		for _, e := range entries {
			// An older one was moved to bbolt's pages, or never acknowledged.
			if current := r.certain && e.pos >= r.head.spot.pos; current == used {
				if err := r.entry(e.payload, current); err != nil {
					return err
				}
			}
		}
	}
	if err := r.finish(); err != nil {
		return err
	}
	tx := r.tx
	r.tx = nil
	return errors.Join(tx.Commit(), r.db.Sync())
}

// identify chooses whose store it was and takes the numbers that never fall.
func (r *rescuer) identify() error {
	all, err := r.wreck.headings()
	if err != nil {
		return err
	}
	for i, h := range all {
		if i == 0 || h.newer(r.head) {
			r.head = h
		}
	}
	r.certain = r.head.used && r.head.whole
	for _, h := range all {
		if h.id == r.head.id {
			r.head.first, r.head.last = max(r.head.first, h.first), max(r.head.last, h.last)
			r.head.sent, r.head.session = max(r.head.sent, h.sent), max(r.head.session, h.session)
		}
	}
	r.report.Was = r.head.id
	r.highest = max(r.head.last, r.head.sent)
	if r.beside == nil {
		return nil
	}
	last, sent, session, err := numbersOf(r.beside)
	r.head.sent, r.head.session = max(r.head.sent, sent), max(r.head.session, session)
	r.highest = max(r.highest, last, sent)
	return err
}

// numbersOf are the highest numbers in a file, whether it is damaged or not.
func numbersOf(f *os.File) (last, sent, session uint64, err error) {
	info, err := f.Stat()
	if err != nil {
		return 0, 0, 0, err
	}
	w := &wreck{f: f}
	w.survey(info.Size())
	all, err := w.headings()
	ids := map[string]bool{}
	for _, h := range all {
		last, sent, session = max(last, h.last), max(sent, h.sent), max(session, h.session)
		ids[h.id] = true
	}
	for id := range ids {
		for _, l := range w.entries(id) {
			var e entry
			if e.parse(l.payload) == nil && e.first+uint64(len(e.values)) <= maxSeq && e.now.sent <= maxSeq && e.now.session <= maxSeq {
				sent, session = max(sent, e.now.sent), max(session, e.now.session)
				if n := uint64(len(e.values)); n > 0 {
					last = max(last, e.first+n-1)
				}
			}
		}
	}
	return last, sent, session, err
}

// take keeps what one page holds.
func (r *rescuer) take(items []pair, used bool) error {
	if _, _, meta := headingOf(items); meta {
		return nil // was looked at before
	}
	for _, i := range items {
		kind, b := shape(i.key, i.value)
		seq, _ := keySeq(i.key)
		var err error
		switch kind {
		case noKind:
		case aRecord:
			err = r.record(seq, i, used)
		case aRun:
			if used || r.runs[seq] == nil {
				r.runs[seq] = bytes.Clone(b)
			}
		case anOrder:
			err = r.order(i, used)
		case aState:
			if n, _ := keySeq(b[:8]); n <= maxSeq && n >= r.folded {
				r.folded, r.state = n, bytes.Clone(b[8:])
			}
		case aMark:
			old := r.marks[string(i.key)]
			if n, _ := keySeq(b[:8]); n <= maxSeq && (used || old == nil || bytes.Compare(b[:8], old[:8]) > 0) {
				r.marks[string(i.key)] = bytes.Clone(b)
			}
		case someLost:
			lost, err := readRanges(b)
			if err == nil && (used || lost.count() > r.lost.count()) {
				r.lost = lost
			}
		case aStory:
			r.stories[string(i.key)] = bytes.Clone(b)
		}
		if err != nil {
			return err
		}
	}
	return nil
}

// entry keeps what an entry of the journal holds.
func (r *rescuer) entry(payload []byte, current bool) error {
	var e entry
	if err := e.parse(payload); err != nil {
		r.doubtful("an entry of the journal makes no sense: %v", err)
		return nil
	}
	if e.now.sent > maxSeq || e.now.session > maxSeq || e.first > maxSeq {
		return nil
	}
	r.head.sent, r.head.session = max(r.head.sent, e.now.sent), max(r.head.session, e.now.session)
	r.highest = max(r.highest, e.now.sent)
	if current && e.asks {
		r.head.requests = e.now.requests
	}
	if current && e.note != nil {
		r.head.note = e.note
	}
	for name, m := range e.now.marks {
		key := prefixMark + name
		if m.seq <= maxSeq && (current || r.marks[key] == nil) {
			r.marks[key] = append(seqKey(m.seq), m.note...)
		}
	}
	if e.run != "" && isRun([]byte(e.run)) && (current || r.runs[e.first] == nil) {
		r.runs[e.first] = []byte(e.run)
	}
	for i, v := range e.values {
		seq := e.first + uint64(i)
		key := seqKey(seq)
		if kind, _ := shape(key, v); kind != aRecord {
			continue
		}
		if err := r.record(seq, pair{key, v}, current); err != nil {
			return err
		}
	}
	return nil
}

// record keeps one record. A record never changes; where two differ and none is in use, one
// of them was never acknowledged, and nobody can say which.
func (r *rescuer) record(seq uint64, i pair, used bool) error {
	if seq < r.head.first {
		return nil // let go by the owner
	}
	old := r.tx.Bucket(bucketRecords).Get(i.key)
	switch {
	case used:
		delete(r.doubt, seq)
	case r.doubt[seq]:
		return nil
	case old != nil && !bytes.Equal(old, i.value):
		r.doubt[seq] = true
		return r.tx.Bucket(bucketRecords).Delete(i.key)
	}
	if bytes.Equal(old, i.value) {
		return nil
	}
	r.highest = max(r.highest, seq)
	return r.put(func(tx *bbolt.Tx) *bbolt.Bucket {
		b := tx.Bucket(bucketRecords)
		b.FillPercent = 0.9
		return b
	}, i)
}

// order keeps what is kept of an order. Of several that are not in use the longest
// is taken, since orders grow.
func (r *rescuer) order(i pair, used bool) error {
	orders := func(tx *bbolt.Tx) *bbolt.Bucket { return tx.Bucket(bucketRest).Bucket(bucketOrders) }
	if old := orders(r.tx).Get(i.key); !used && len(old) >= len(i.value) {
		return nil
	}
	return r.put(orders, i)
}

// put writes one value, in transactions of a size that fits in memory.
func (r *rescuer) put(in func(*bbolt.Tx) *bbolt.Bucket, i pair) error {
	if err := in(r.tx).Put(i.key, bytes.Clone(i.value)); err != nil { // bbolt keeps the value until it commits
		return err
	}
	if r.size += len(i.key) + len(i.value); r.size < copyAtOnce {
		return nil
	}
	err := r.tx.Commit()
	if r.tx, r.size = nil, 0; err != nil {
		return err
	}
	r.tx, err = r.db.Begin(true)
	return err
}
