package store

import (
	"maps"

	"go.etcd.io/bbolt"
)

// cursors say what is still to be sent. They move in memory and ride along with
// the next entry of the journal.
type cursors struct {
	sent     uint64
	session  uint64
	requests []request       // to send again, oldest request first; never changed in place
	changes  uint64          // counts changes to requests
	marks    map[string]mark // set since the store was opened, or found in the journal; never changed in place
	moves    uint64          // counts changes to marks
}

// same says whether nothing has moved between the two.
func (c *cursors) same(as *cursors) bool {
	return c.sent == as.sent && c.session == as.session && c.changes == as.changes && c.moves == as.moves
}

// since is the entry that brings the cursors kept to these.
func (c *cursors) since(kept *cursors) entry {
	return entry{now: *c, asks: c.changes != kept.changes, marked: c.moves != kept.moves}
}

// take is the reverse of since.
func (c *cursors) take(e *entry) {
	c.sent, c.session = e.now.sent, e.now.session
	if e.asks {
		c.setRequests(e.now.requests)
	}
	if e.marked {
		marks := maps.Clone(c.marks)
		if marks == nil {
			marks = map[string]mark{}
		}
		maps.Copy(marks, e.now.marks)
		c.marks = marks
		c.moves++
	}
}

func (c *cursors) setRequests(rs []request) {
	c.requests = rs
	c.changes++
}

// file writes the cursors that differ from those in bbolt's pages.
func (c *cursors) file(tx *bbolt.Tx, filed *cursors) error {
	m := tx.Bucket(bucketMeta)
	if c.sent != filed.sent {
		if err := m.Put(keySent, seal(keySent, seqKey(c.sent))); err != nil {
			return err
		}
	}
	if c.session != filed.session {
		if err := m.Put(keySession, seal(keySession, seqKey(c.session))); err != nil {
			return err
		}
	}
	if c.changes != filed.changes {
		if err := m.Put(keyResend, seal(keyResend, appendRequests(nil, c.requests))); err != nil {
			return err
		}
	}
	if c.moves != filed.moves {
		return keepMarks(tx, c.marks)
	}
	return nil
}
