package sensors

import (
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"time"
)

// How contacts and faults are written.
var (
	contactNames = []string{unread: "unread", open: "open", made: "made", neither: "neither", both: "both"}
	faultNames   = []string{lines: "lines", short: "short", wire: "wire", ends: "ends", stuck: "stuck", noisy: "noisy", none: "none"}
)

func (c contact) String() string               { return contactNames[c] }
func (c contact) MarshalText() ([]byte, error) { return []byte(contactNames[c]), nil }
func (k fault) String() string                 { return faultNames[k] }
func (k fault) MarshalText() ([]byte, error)   { return []byte(faultNames[k]), nil }

func (c *contact) UnmarshalText(b []byte) error {
	i := slices.Index(contactNames, string(b))
	if i < 0 {
		return fmt.Errorf("unknown contact %q", b)
	}
	*c = contact(i)
	return nil
}

func (k *fault) UnmarshalText(b []byte) error {
	i := slices.Index(faultNames, string(b))
	if i < 0 {
		return fmt.Errorf("unknown fault %q", b)
	}
	*k = fault(i)
	return nil
}

// keptState is a [state] as it is kept, times in nanoseconds.
type keptState struct {
	At       time.Time     `json:"at"`
	Limit    keptLine      `json:"limit"`
	Retract  keptLine      `json:"retract"`
	Restless time.Duration `json:"restless_ns"`
	Barred   bool          `json:"barred"`
	Told     bool          `json:"told"`
	Counted  time.Duration `json:"counted_ns"`
	Fault    fault         `json:"fault"`
}

type keptLine struct {
	Contact contact       `json:"contact"`
	Since   time.Duration `json:"since_ns"`
	Quiet   bool          `json:"quiet"`
	Settled contact       `json:"settled"`
	Edge    time.Duration `json:"edge_ns"`
	Touch   time.Duration `json:"touch_ns"`
}

func (l line) kept() keptLine {
	return keptLine{l.contact, l.since, l.quiet, l.settled, l.edge, l.touch}
}

func (k keptLine) line() line {
	return line{k.Contact, k.Since, k.Quiet, k.Settled, k.Edge, k.Touch}
}

// MarshalJSON writes the filter's state, not its settings. A filter of the same
// settings that reads it goes on as this one would; of times, the monotonic
// reading is lost.
func (f *Filter) MarshalJSON() ([]byte, error) {
	s := &f.state
	return json.Marshal(keptState{
		At: s.at, Limit: s.limit.kept(), Retract: s.retract.kept(), Restless: s.restless,
		Barred: s.barred, Told: s.told, Counted: s.counted, Fault: s.fault,
	})
}

// UnmarshalJSON reads a state that MarshalJSON wrote. It keeps the settings. An
// error says what cannot be so, and the filter stays as it was.
//
// A state is for going on where a run of levels was left. After a power-up,
// begin anew: nobody saw the switch meanwhile.
func (f *Filter) UnmarshalJSON(b []byte) error {
	k := keptState{Fault: none}
	if err := json.Unmarshal(b, &k); err != nil {
		return fmt.Errorf("state of the switch: %w", err)
	}
	s := state{
		at: k.At, limit: k.Limit.line(), retract: k.Retract.line(), restless: k.Restless,
		barred: k.Barred, told: k.Told, counted: k.Counted, fault: k.Fault,
	}
	if err := s.check(f.s.Changeover); err != nil {
		return fmt.Errorf("state of the switch: %w", err)
	}
	f.state = s
	return nil
}

// check says what of the state cannot be so.
func (s *state) check(changeover bool) error {
	if err := s.limit.check(changeover); err != nil {
		return fmt.Errorf("limit: %w", err)
	}
	if err := s.retract.check(false); err != nil {
		return fmt.Errorf("retract: %w", err)
	}
	for _, d := range [...]time.Duration{s.restless, s.counted} {
		if d < never || d > 0 {
			return fmt.Errorf("%d ns is no time that has passed", d)
		}
	}
	switch s.fault {
	case none, noisy:
	case lines, short, wire:
		if s.limit.settled != unread {
			return fmt.Errorf("fault %s, and yet the limit switch is settled %s", s.fault, s.limit.settled)
		}
	case ends, stuck:
		if s.limit.settled != made {
			return fmt.Errorf("fault %s, and yet the limit switch is not settled made", s.fault)
		}
	}
	return nil
}

func (l *line) check(changeover bool) error {
	switch l.contact {
	case unread:
		if l.settled != unread {
			return errors.New("settled, and yet not read")
		}
	case open, made:
	case neither, both:
		if !changeover {
			return fmt.Errorf("%s is of a changeover switch, and this is none", l.contact)
		}
	}
	if l.settled != unread && !l.settled.valid() {
		return fmt.Errorf("%s does not settle", l.settled)
	}
	if l.quiet && (l.contact != l.settled || !l.contact.valid()) {
		return errors.New("quiet, and yet not settled")
	}
	for _, d := range [...]time.Duration{l.since, l.edge, l.touch} {
		if d < never || d > 0 {
			return fmt.Errorf("%d ns is no time that has passed", d)
		}
	}
	return nil
}
