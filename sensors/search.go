package sensors

import (
	"context"
	"slices"
	"strconv"
	"time"
)

// A Board is several input lines that are looked at together, to find the one that a
// switch is on. It has no way to drive one. One goroutine uses it.
type Board interface {
	// Names are those of the lines, at most 64.
	Names() []string

	// Levels reads all lines at once: bit i is that of name i, 1 = high.
	Levels() (uint64, error)

	// Wait returns after an edge on any line or after d, as [Contacts] do.
	Wait(ctx context.Context, d time.Duration) error

	// Close gives the lines back.
	Close() error
}

// Times of a search (own choice, no source).
const (
	searchRest   = 300 * time.Millisecond // at first: what moves meanwhile moves by itself
	searchSettle = 20 * time.Millisecond  // a level counts once it has held so long
	searchOver   = 700 * time.Millisecond // the ring is open again for so long: that was it
	searchHeld   = 10 * time.Second       // nor does anybody hold it closed for longer
	searchPair   = time.Second            // contacts of one switch change within this time
	searchPoll   = 10 * time.Millisecond
)

// Moved is a line that changed while the ring was closed.
type Moved struct {
	Name string
	Low  bool // it was high at rest and went low
}

// Found is what a search has seen.
type Found struct {
	Moved    []Moved  // in the order in which they moved
	Restless []string // lines that moved by themselves, before anything was to move

	open, shut bool // of two lines that are never alike at rest: both were seen high, both low
	together   bool // they moved within a second
}

// Lines are those of a limit switch, if what moved is one: a line, or the two of a
// changeover switch, which move to opposite sides at once. False where it is none or
// may be several. Biased up says how the lines were held while nothing pulled them.
//
// With two lines the bias alone does not say which contact is made while the ring is
// up. In flight, when neither is made, both are at the level that they rest at
// without a contact; if that was met it decides.
func (f Found) Lines(biasedUp bool) (l Lines, ok bool) {
	switch len(f.Moved) {
	case 1:
		return Lines{Up: f.Moved[0].Name, ActiveLow: f.Moved[0].Low}, true
	case 2:
	default:
		return Lines{}, false
	}
	a, b := f.Moved[0], f.Moved[1]
	if a.Low == b.Low || !f.together {
		return Lines{}, false
	}
	low := biasedUp
	if f.open != f.shut {
		low = f.open
	}
	if a.Low != low {
		a, b = b, a
	}
	return Lines{Up: a.Name, Rest: b.Name, ActiveLow: low}, true
}

// Search watches a board until the ring was closed and opened once, for a time at
// most, and tells what moved: nothing, if nothing did. The ring must be open when it
// begins. An error means that the lines cannot be read.
func Search(ctx context.Context, b Board, wait time.Duration, now func() time.Time) (Found, error) {
	s := search{names: b.Names()}
	for end := now().Add(wait); ctx.Err() == nil; {
		bits, err := b.Levels()
		if err != nil {
			return Found{}, err
		}
		at := now()
		if s.step(bits, at) || at.After(end) && s.moved == 0 {
			return s.found(), nil
		}
		if err := b.Wait(ctx, searchPoll); err != nil {
			return Found{}, err
		}
	}
	return Found{}, ctx.Err()
}

// search is the pure part: levels and times in, what moved out.
type search struct {
	names    []string
	start    time.Time // zero: nothing was read yet
	base     uint64    // levels at rest
	bits     uint64    // as read last
	settled  uint64    // levels that have held
	restless uint64    // lines that moved by themselves
	moved    uint64    // lines that have settled away from rest
	order    []int     // of those
	since    [64]time.Time
	first    [64]time.Time // when it settled away from rest
	last     time.Time     // when the latest line settled
	high     [64]uint64    // lines that were high while this one was
	low      [64]uint64
}

// step takes in the levels at a time, and says whether all is over.
func (s *search) step(bits uint64, at time.Time) bool {
	if s.start.IsZero() {
		s.start, s.base, s.bits, s.settled = at, bits, bits, bits
	}
	changed := bits ^ s.bits
	s.bits = bits
	if at.Sub(s.start) < searchRest {
		s.restless |= changed
		s.base, s.settled = bits, bits
		return false
	}
	for i := range s.names {
		line := uint64(1) << i
		if s.restless&line != 0 {
			continue
		}
		if bits&line != 0 {
			s.high[i] |= bits
		} else {
			s.low[i] |= ^bits
		}
		if changed&line != 0 {
			s.since[i] = at
		}
		if (bits^s.settled)&line == 0 || at.Sub(s.since[i]) < searchSettle {
			continue
		}
		s.settled ^= line
		s.last = at
		if s.moved&line == 0 {
			s.moved |= line
			s.order, s.first[i] = append(s.order, i), s.since[i]
		}
	}
	if s.moved == 0 {
		return false
	}
	back := (s.settled^s.base)&^s.restless == 0
	return back && at.Sub(s.last) >= searchOver || at.Sub(s.last) >= searchHeld
}

func (s *search) found() (f Found) {
	slices.SortStableFunc(s.order, func(i, j int) int { return s.first[i].Compare(s.first[j]) })
	for _, i := range s.order {
		f.Moved = append(f.Moved, Moved{Name: s.names[i], Low: s.base>>i&1 != 0})
	}
	for i, name := range s.names {
		if s.restless>>i&1 != 0 {
			f.Restless = append(f.Restless, name)
		}
	}
	if len(s.order) == 2 {
		i, j := s.order[0], s.order[1]
		f.open, f.shut = s.high[i]>>j&1 != 0, s.low[i]>>j&1 != 0
		f.together = s.first[j].Sub(s.first[i]) < searchPair
	}
	return f
}

// candidates are the lines of a chip that a switch may be on, and those that another
// program holds. Asked for as inputs, lines lose what else they do, so without wishes
// only those of a Raspberry Pi's header are looked at that do nothing else: not those
// of the card, which have no name of the form, nor of the board's own bus and serial
// port, nor of a display's bus when it is in use (from memory; bcm2711 and rp1 alike).
func (c chip) candidates(among []string) (free, held []Line) {
	taken := map[string]bool{"GPIO14": true, "GPIO15": true} // serial port, often the console
	for i := range 4 {
		taken[gpioName(i)] = true // the bus of hats, the bus with resistors of its own
	}
	if line, ok := c.line("GPIO8"); ok && line.User != "" {
		for i := 7; i <= 11; i++ {
			taken[gpioName(i)] = true
		}
	}
	usual := among
	if len(among) == 0 {
		for i := range 28 {
			if name := gpioName(i); !taken[name] {
				usual = append(usual, name)
			}
		}
	}
	for _, l := range c.lines {
		switch {
		case l.Name == "" || !slices.Contains(usual, l.Name) || len(free) == 64:
		case l.User != "":
			held = append(held, l)
		default:
			free = append(free, l)
		}
	}
	return free, held
}

func gpioName(i int) string { return "GPIO" + strconv.Itoa(i) }

func names(lines []Line) (all []string) {
	for _, l := range lines {
		all = append(all, l.Name)
	}
	return all
}
