package store

import (
	"bytes"
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"time"

	"go.etcd.io/bbolt"
)

// Rescued says what was found in a damaged file, and what was not.
type Rescued struct {
	From       string    `json:"from"`             // the damaged file, under the name that it has now
	At         time.Time `json:"at"`               // when it was rescued
	Backup     string    `json:"backup,omitempty"` // the copy that was restored; "": it was a rescue, and From was damaged
	Why        string    `json:"why,omitempty"`    // what was wrong with it
	Was        string    `json:"was,omitempty"`    // id of the damaged store; "" could not be read
	ID         string    `json:"id"`               // of the new one
	Records    uint64    `json:"records"`          // rescued
	First      uint64    `json:"first"`            // seq of the oldest that must be there
	Last       uint64    `json:"last"`             // highest seq that is known to have been given; a record of the rescue follows it
	Lost       []Range   `json:"lost,omitempty"`   // seqs between First and Last that were not found
	LostCount  uint64    `json:"lost_count"`       // how many these are
	Skipped    uint64    `json:"skipped"`          // how many seqs behind Last are left out, because they may have been given
	Sent       uint64    `json:"sent"`             // seq up to which all were sent
	State      uint64    `json:"state"`            // seq up to which the state is folded that was found; 0: none
	Orders     int       `json:"orders"`           // that had left the state
	Unreadable int       `json:"unreadable_pages"` // that the card does not give
	Doubts     []string  `json:"doubts,omitempty"` // what is not certain, in words
}

// after is the seq of the rescue's own record.
func (r *Rescued) after() uint64 { return r.Last + r.Skipped + 1 }

// Sentence tells a rescue in one sentence.
func (r Rescued) Sentence() string {
	switch {
	case r.Backup != "" && r.LostCount == 0:
		return fmt.Sprintf("the store was restored from %s: it has %d records, and nothing that was kept later is known", r.Backup, r.Records)
	case r.Backup != "":
		return fmt.Sprintf("the store was restored from %s: it has %d records, %d are not in it (%s)", r.Backup, r.Records, r.LostCount, listed(r.Lost, 6))
	case r.Was == "" && r.Records == 0:
		return fmt.Sprintf("the store could not be read at all and begins anew; the damaged file is kept as %s", r.From)
	case r.LostCount == 0:
		return fmt.Sprintf("the store was damaged: %d records were rescued, no loss is known; the damaged file is kept as %s", r.Records, r.From)
	}
	return fmt.Sprintf("the store was damaged: %d records were rescued, %d are lost (%s); the damaged file is kept as %s",
		r.Records, r.LostCount, listed(r.Lost, 6), r.From)
}

// listed names ranges, at most so many.
func listed(rs []Range, most int) string {
	var b strings.Builder
	for i, r := range rs {
		switch {
		case i == most:
			b.WriteString(" …")
			return b.String()
		case i > 0:
			b.WriteString(", ")
		}
		b.WriteString(r.String())
	}
	return b.String()
}

// prefixStory begins the key of what is told of a rescue, in rest; no order has
// such an id.
const prefixStory = "\x00rescue\x00"

// maxTold is how many lost ranges a story names one by one.
const maxTold = 1000

// Rescues are what was rescued into this store, oldest first; none where nothing
// ever was.
func (s *Store) Rescues() (all []Rescued, err error) {
	err = s.view(func(tx *bbolt.Tx, _ *waiting) error {
		all, err = storiesIn(tx.Bucket(bucketRest))
		return err
	})
	return all, err
}

func storiesIn(rest *bbolt.Bucket) (all []Rescued, err error) {
	c := rest.Cursor()
	for k, v := c.Seek([]byte(prefixStory)); bytes.HasPrefix(k, []byte(prefixStory)); k, v = c.Next() {
		b, err := unseal(k, v)
		var story Rescued
		if err == nil {
			err = json.Unmarshal(b, &story)
		}
		if err != nil {
			return nil, unfit(fmt.Sprintf("what is told of a rescue: %v", err))
		}
		all = append(all, story)
	}
	slices.SortFunc(all, func(a, b Rescued) int { return a.At.Compare(b.At) })
	return all, nil
}
