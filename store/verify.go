package store

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"strings"
	"time"

	"go.etcd.io/bbolt"
)

// maxDamage bounds a report: what is beyond it is counted, not listed.
const maxDamage = 200

// Report is what Verify found. The store is whole when Damage is empty.
type Report struct {
	Path    string   `json:"path"`
	Bytes   int64    `json:"bytes"`
	ID      string   `json:"id,omitempty"`
	Records uint64   `json:"records"` // that can be read
	First   uint64   `json:"first"`   // seq of the oldest that must be there
	Last    uint64   `json:"last"`    // seq of the newest
	Sent    uint64   `json:"sent"`    // seq up to which all were sent
	State   uint64   `json:"state"`   // seq up to which the state is folded
	Waiting uint64   `json:"waiting"` // of Records, those that are in the journal alone
	Runs    int      `json:"runs"`
	Orders  int      `json:"orders"`
	Damage  []string `json:"damage,omitempty"` // each in words, with page or record

	Lost    []Range   `json:"lost,omitempty"`    // records that a rescue did not find; no damage
	Rescues []Rescued `json:"rescues,omitempty"` // what was rescued into this store
}

// Verify checks a store whole, page by page and value by value, without writing
// to it and without trusting it. The error is for a file that could not be
// checked: missing, not readable, in use ([ErrLocked]) or [ErrNewer].
func Verify(path string) (Report, error) {
	c := checker{report: Report{Path: path}, has: map[string]bool{}, next: 1}
	if err := c.file(path); err != nil {
		return c.report, (&Store{path: path}).failure(err)
	}
	if c.newer {
		return c.report, fmt.Errorf("store: %s %w", path, ErrNewer)
	}
	if more := c.found - len(c.report.Damage); more > 0 {
		c.report.Damage = append(c.report.Damage, fmt.Sprintf("and %d more", more))
	}
	return c.report, nil
}

// checker gathers what is wrong with one file.
type checker struct {
	report Report
	found  int
	newer  bool

	has  map[string]bool // values of meta
	next uint64          // seq that must come next
	gaps ranges          // that are missing
	runs []uint64        // first seq of each
	now  cursors         // as far as they matter here
	spot spot            // from where the journal is read
}

func (c *checker) damage(format string, args ...any) {
	c.found++
	if len(c.report.Damage) < maxDamage {
		c.report.Damage = append(c.report.Damage, fmt.Sprintf(format, args...))
	}
}

// file checks the file's pages, then the values found on them, and lets bbolt
// have a second look once nothing in the file can lead it astray.
func (c *checker) file(path string) error {
	info, err := os.Stat(path)
	if err != nil {
		return err
	}
	if !info.Mode().IsRegular() {
		return fmt.Errorf("%w: not a file", fs.ErrInvalid)
	}
	f, err := os.Open(path)
	if err != nil {
		return err
	}
	defer func() { _ = f.Close() }() // it was only read
	if err := lock(f, false, 2*time.Second); err != nil {
		return err
	}
	c.report.Bytes = info.Size()
	m, faults, err := readMetas(f, info.Size())
	for _, fault := range faults {
		c.damage("%s", fault)
	}
	if err != nil {
		c.damage("%v", err)
		return nil
	}
	bad := c.found
	w := walker{f: f, meta: m, seen: map[uint64]bool{}, damage: c.damage, visit: c.visit, roots: map[string]uint64{}}
	w.free()
	w.tree("", m.root)
	astray := c.found > bad
	c.journal(f, w.roots[string(bucketJournal)])
	c.whole()
	if astray || c.newer {
		return nil
	}
	return c.second(path)
}

// visit checks one value.
func (c *checker) visit(path string, key, value []byte) {
	if path == string(bucketJournal) {
		return // read by itself, behind all else
	}
	b, err := unseal(key, value)
	switch path {
	case "records", "tail":
		c.record(key, value)
	case "meta":
		if err != nil {
			c.damage("meta: %s: %v", key, err)
			return
		}
		c.meta(string(key), b)
	case "rest":
		if strings.HasPrefix(string(key), prefixMark) && (err != nil || len(b) < 8) {
			c.damage("%s: %v", key, describe(err))
			return
		}
		if bytes.HasPrefix(key, prefixDay) && err != nil {
			c.damage("table of days: %v", err)
			return
		}
		if c.story(key, b, err) || string(key) != string(keyState) {
			return // a mark, or of a newer program; nothing to say about it
		}
		if err != nil || len(b) < 8 {
			c.damage("state: %v", describe(err))
			return
		}
		c.report.State = binary.BigEndian.Uint64(b)
	case "rest/runs":
		seq, ok := keySeq(key)
		if err != nil || !ok {
			c.damage("run that begins with record %d: %v", seq, describe(err))
			return
		}
		c.runs = append(c.runs, seq)
	case "rest/orders":
		if err != nil {
			c.damage("order %.40q: %v", key, err)
			return
		}
		if len(key) > 0 && key[0] != 0 { // what else is kept beside the orders begins with a 0
			c.report.Orders++
		}
	default:
		c.damage("unknown bucket %q", path)
	}
}

// describe gives words for a value that can be read but is not what it should be.
func describe(err error) error {
	if err == nil {
		return errors.New("has the wrong size")
	}
	return err
}

func (c *checker) meta(key string, b []byte) {
	c.has[key] = true
	number := func() uint64 {
		n, ok := keySeq(b)
		if !ok {
			c.damage("meta: %s: has %d bytes, not 8", key, len(b))
		}
		return n
	}
	switch key {
	case string(keyFormat):
		c.newer = len(b) == 4 && binary.BigEndian.Uint32(b) > format
	case string(keyID):
		c.report.ID = string(b)
	case string(keyFirst):
		c.report.First = number()
		c.next = c.report.First
	case string(keyLast):
		c.report.Last = number()
	case string(keySent):
		c.report.Sent = number()
	case string(keySession):
		c.now.session = number()
	case string(keySpot):
		var err error
		if c.spot, err = readSpot(b); err != nil {
			c.damage("meta: %s: %v", key, err)
		}
	case string(keyResend):
		if _, err := readRequests(b); err != nil {
			c.damage("meta: %v", err)
		}
	}
}

// record checks one record and that it follows the one before.
func (c *checker) record(key, value []byte) {
	seq, ok := keySeq(key)
	_, err := readRecord(seq, key, value)
	switch {
	case !ok:
		c.damage("record with the key %x: a key has 8 bytes", key)
		return
	case err != nil && seq != c.next:
		c.damage("record with the key %d, expected %d: %v", seq, c.next, err)
		return
	case err != nil:
		c.damage("record %d: %v", seq, err)
	case seq < c.next:
		c.damage("record %d comes where %d was expected", seq, c.next)
		return
	case seq > c.next:
		c.missing(seq - 1)
	}
	if err == nil {
		c.report.Records++
	}
	c.next = seq + 1
}

// missing says that the records expected up to a seq are not there.
func (c *checker) missing(last uint64) {
	if n := len(c.gaps); n > 0 && c.gaps[n-1].To >= c.next {
		return // out of order, which is told
	}
	c.gaps = append(c.gaps, Range{c.next, last}) // the file may say that they were lost before
}

// journal reads what waits in the journal, whose bucket begins at a page; 0: there
// is none, as in a backup that was never opened.
func (c *checker) journal(f *os.File, page uint64) {
	if page == 0 {
		return
	}
	j, err := ringAt(f, page, c.report.ID)
	if err != nil {
		c.damage("%v", err)
		return
	}
	c.now.sent = c.report.Sent
	w, now, _, lost, err := j.replay(c.spot, c.report.Last, c.now)
	for _, err := range []error{err, lost} {
		if err != nil {
			c.damage("%v", err)
		}
	}
	for i, v := range w.values {
		c.record(seqKey(w.first+uint64(i)), v)
	}
	for _, r := range w.runs {
		c.runs = append(c.runs, r.first)
	}
	c.report.Waiting = uint64(len(w.values))
	c.report.Last, c.report.Sent = w.last(c.report.Last), now.sent
}

// whole checks what only all values together can show.
func (c *checker) whole() {
	r := &c.report
	r.Runs = len(c.runs)
	for _, key := range [][]byte{keyFormat, keyID, keySession, keyFirst, keyLast, keySent, keyResend} {
		if !c.has[string(key)] {
			c.damage("meta: %s is missing", key)
		}
	}
	switch {
	case c.next <= r.Last:
		c.missing(r.Last)
	case c.next > r.Last+1:
		c.damage("record %d is there, but the last one kept should be %d", c.next-1, r.Last)
	}
	for _, gap := range c.gaps.without(r.Lost) {
		c.damage("records %d to %d are missing", gap.From, gap.To)
	}
	if r.Sent > r.Last {
		c.damage("the sent cursor is at %d, behind the last record %d", r.Sent, r.Last)
	}
	if r.State > r.Last {
		c.damage("the state is folded up to %d, behind the last record %d", r.State, r.Last)
	}
	if r.First > min(r.Sent, r.State)+1 && len(r.Rescues) == 0 {
		c.damage("records before %d were pruned, but only those up to %d were sent and folded into the state", r.First, min(r.Sent, r.State))
	}
	if r.Last > 0 && (len(c.runs) == 0 || c.runs[0] > r.First) {
		c.damage("record %d belongs to no run", r.First)
	}
	for i, first := range c.runs {
		if first > r.Last || i > 0 && first <= c.runs[i-1] {
			c.damage("the run that begins with record %d has no place between 1 and the last record %d", first, r.Last)
		}
	}
}

// second lets bbolt check the file in its own way.
func (c *checker) second(path string) error {
	return guard(func() error {
		db, err := bbolt.Open(path, 0, &bbolt.Options{ReadOnly: true, Timeout: 2 * time.Second, PreLoadFreelist: true})
		if err != nil {
			return err
		}
		err = db.View(func(tx *bbolt.Tx) error {
			for err := range tx.Check() {
				c.damage("%v", err)
			}
			return nil
		})
		return errors.Join(err, db.Close())
	})
}
