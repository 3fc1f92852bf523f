// Package station is one press station: it decides what each stroke, reading
// and action means.
//
// The one road is inputs → records → state. An input is looked at, its records
// are made, and only records change the state, so that a state folded from the
// kept records equals the one that was lived through. A Station has one owner
// and is not safe for concurrent use; what others may see is a View.
package station

import (
	"encoding/json"
	"fmt"
	"time"
	"unicode/utf8"

	"benchtally/agent/crimp"
	"benchtally/agent/record"
)

// Batch is what one commit keeps: all of it or nothing.
type Batch struct {
	Records []record.Record
	State   []byte            // folded up to the last record; nil: no snapshot this time
	Orders  map[string][]byte // with State: the orders that left it, by id, and what cages taught
}

// Log keeps records.
type Log interface {
	// Append returns when the batch is on disk, or keeps nothing of it.
	Append(Batch) error
	// State is the latest snapshot and the seq of its last record; nil, 0: none.
	State() (state []byte, seq uint64, err error)
	// After calls fold with every kept record after seq, in order.
	After(seq uint64, fold func(record.Record) error) error
	// Order is what the latest snapshots kept of an order that left the state; nil: nothing.
	Order(id string) ([]byte, error)
}

// Rules are the shop's rules, from the configuration.
type Rules struct {
	Scale      crimp.Scale
	Model      crimp.Model
	Learn      bool // earlier set-ups of a cage teach about the next one
	Costs      crimp.Costs
	Hold       crimp.Length // dead band of the correction
	Judge      crimp.Rules
	Places     int          // readings that make a verdict, unless the spec says otherwise
	Every      int          // judge every Nth piece
	U          crimp.Length // standard uncertainty of a mean; 0: by Gauge
	Gauge      crimp.Gauge  // its Step where readings tell none; its Zero.Allowed is the largest reading of closed jaws that is still good
	Intervals  crimp.Intervals
	Specs      []crimp.Spec
	Jobs       func(order string) (crimp.Job, bool) // the job cards as they are now; nil: there are none
	Points     Points                               // that the shop looks at on orders with a job card
	FirstPiece bool                                 // the first piece of each set-up of such orders is signed off
	Lengths    crimp.Scheme                         // by which lengths are tolerated where the card has none
	Standards  []crimp.Standard
	CheckEvery time.Duration // from one check of the caliper to the next; 0: none is asked for
	Retracts   bool          // a switch tells when the ring is fully retracted
	SnapEvery  int           // records between two snapshots; 0: DefaultSnapEvery
	ClockState func() string
}

// DefaultSnapEvery bounds what a start has to fold.
const DefaultSnapEvery = 256

// Station is one press station.
type Station struct {
	rules   Rules
	log     Log
	state   state
	specs   map[string]crimp.Spec
	snapped uint64          // seq of the latest snapshot
	pending []record.Record // made and applied, not yet kept
	broken  error           // the log could not be read in the middle of an input
	watch   *watch          // for a History; nil in a station at work
	clerk   *Clerk          // for a dossier; likewise
}

// Open folds what the log holds into a station.
func Open(log Log, rules Rules) (*Station, error) {
	s := &Station{rules: rules, log: log, specs: make(map[string]crimp.Spec, len(rules.Specs))}
	if s.rules.SnapEvery == 0 {
		s.rules.SnapEvery = DefaultSnapEvery
	}
	if s.rules.Every < 1 {
		s.rules.Every = 1
	}
	for _, spec := range rules.Specs {
		s.specs[spec.ID] = spec
	}
	if err := s.reload(); err != nil {
		return nil, err
	}
	return s, nil
}

// Do takes inputs in their order and keeps their records in one commit. When it
// fails nothing was kept, the state is as before, and the same inputs may be
// given again.
func (s *Station) Do(inputs ...Input) ([]record.Record, error) {
	s.pending = make([]record.Record, 0, 2*len(inputs))
	for _, in := range inputs {
		in.take(s)
	}
	if s.broken != nil {
		return nil, s.undo(s.broken)
	}
	if len(s.pending) == 0 {
		return nil, nil
	}
	batch := Batch{Records: s.pending}
	if s.state.Seq-s.snapped >= uint64(s.rules.SnapEvery) {
		if err := s.snapshot(&batch); err != nil {
			return nil, s.undo(err)
		}
	}
	if err := s.log.Append(batch); err != nil {
		return nil, s.undo(fmt.Errorf("keep records: %w", err))
	}
	if batch.State != nil {
		s.snapped = s.state.Seq
		clear(s.state.Aside)
		clear(s.state.Lessons)
		s.state.Doubts = nil
	}
	return s.pending, nil
}

// Seq is the highest seq given so far.
func (s *Station) Seq() uint64 { return s.state.Seq }

// emit numbers a record, applies it and holds it for the commit.
func (s *Station) emit(r record.Record) record.Record {
	r.Seq = s.state.Seq + 1
	r.At = record.Stamp(r.At)
	r.Raw, r.Reason = shorten(r.Raw), shorten(r.Reason)
	if s.rules.ClockState != nil {
		r.Clock = s.rules.ClockState()
	}
	s.apply(r)
	s.pending = append(s.pending, r)
	return r
}

// longestText is how much of what came in, or of a reason that quotes it, a
// record holds, in bytes: noise may go on without an end, a record may not.
const longestText = 1024

// shorten cuts a text that is too long, not in the middle of a character.
func shorten(s string) string {
	if len(s) <= longestText {
		return s
	}
	end := longestText
	for end > longestText-utf8.UTFMax && !utf8.RuneStart(s[end]) {
		end--
	}
	return s[:end] + "…"
}

// undo brings the state back to what is kept, after err.
func (s *Station) undo(err error) error {
	s.broken = nil
	if again := s.reload(); again != nil {
		return fmt.Errorf("%w; then: %w", err, again)
	}
	return err
}

// reload folds the state anew from what is kept.
func (s *Station) reload() error {
	kept, seq, err := s.log.State()
	if err != nil {
		return fmt.Errorf("read the kept state: %w", err)
	}
	s.state = newState()
	if kept != nil {
		s.state.Caliper.Listed = 0
		if err := json.Unmarshal(kept, &s.state); err != nil {
			return fmt.Errorf("read the kept state: %w", err)
		}
		if s.state.Caliper.Listed == 0 { // of a program that kept no doubts
			s.state.Caliper.Listed = seq + 1
		}
		if s.state.Seq != seq {
			return fmt.Errorf("read the kept state: it ends at record %d, the store says %d", s.state.Seq, seq)
		}
		if s.state.Clock.Now.IsZero() { // kept before there was a counted time: nobody looked whether a work is dated by a wrong clock
			s.state.Clock.Now, s.state.Clock.Unset = s.state.At, true
		}
	}
	s.snapped = seq
	return s.log.After(seq, func(r record.Record) error {
		if r.Seq <= s.state.Seq {
			return fmt.Errorf("record %d comes after record %d", r.Seq, s.state.Seq)
		}
		s.apply(r)
		return s.broken
	})
}

// recall finds an order that was in work before; nil: there is none.
func (s *Station) recall(id string) *order {
	if o := s.state.Aside[id]; o != nil {
		return o
	}
	kept, err := s.log.Order(id)
	if err == nil && kept == nil {
		return nil
	}
	var o order
	if err == nil {
		err = json.Unmarshal(kept, &o)
	}
	if err != nil {
		s.broken = fmt.Errorf("look up order %s: %w", id, err)
		return nil
	}
	o.fade(s.state.Seq)
	return &o
}

// snapshot adds the state to a batch.
func (s *Station) snapshot(b *Batch) error {
	state, err := json.Marshal(&s.state)
	if err != nil {
		return fmt.Errorf("write the state: %w", err)
	}
	b.State = state
	b.Orders = make(map[string][]byte, len(s.state.Aside)+len(s.state.Lessons))
	for id, lessons := range s.state.Lessons {
		if b.Orders[id], err = json.Marshal(lessons); err != nil {
			return fmt.Errorf("write what a cage taught: %w", err)
		}
	}
	if s.state.Doubts != nil {
		if b.Orders[doubtsID], err = json.Marshal(s.state.Doubts); err != nil {
			return fmt.Errorf("write when the caliper was found wrong: %w", err)
		}
	}
	for id, o := range s.state.Aside {
		if b.Orders[id], err = json.Marshal(o); err != nil {
			return fmt.Errorf("write order %s: %w", id, err)
		}
	}
	return nil
}
