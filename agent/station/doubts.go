package station

import (
	"encoding/json"
	"fmt"
	"math"

	"benchtally/agent/record"
)

// doubts are the records that say something of others long before: the checks that
// found the caliper wrong, and those that tell that the clock was set. They are kept
// beside the state, so that what became of an old order, and when, can be told
// without reading all that came after it.
type doubts struct {
	Spans []Extent `json:"spans"`           // oldest first: from which seq on readings are in doubt, and that of the check
	Clock []uint64 `json:"clock,omitempty"` // seqs of the settings of the clock
	Lost  uint64   `json:"lost,omitempty"`  // seq of the latest record that is not among them any more
}

// keptDoubts is how many are kept: those of two a week for ten years.
const keptDoubts = 1024

// doubtsID is the id under which doubts are kept beside the orders; no order has
// it, because names hold no control characters.
const doubtsID = "\x00doubts"

// doubt notes a check of the caliper that was not good.
func (s *Station) doubt(r record.Record) {
	if r.Doubt == 0 || r.Doubt >= r.Seq || s.watch != nil { // a history is told all of it anyway
		return
	}
	if d := s.doubts(); d != nil {
		d.add(Extent{r.Doubt, r.Seq})
	}
}

// noteClock notes a record that tells that the clock was set.
func (s *Station) noteClock(r record.Record) {
	if r.Behind == nil || s.watch != nil {
		return
	}
	if d := s.doubts(); d != nil {
		if len(d.Clock) >= keptDoubts {
			d.Lost = max(d.Lost, d.Clock[0])
		}
		d.Clock = push(d.Clock, r.Seq, keptDoubts)
	}
}

// doubts are all that are kept, to be added to; nil: they cannot be read.
func (s *Station) doubts() *doubts {
	if s.state.Doubts == nil {
		d, err := doubtsOf(s.log)
		if err != nil {
			s.broken = err
			return nil
		}
		s.state.Doubts = &d
	}
	return s.state.Doubts
}

// add takes a span in. Those that begin where one of the latest did are one with it.
func (d *doubts) add(e Extent) {
	for i := max(0, len(d.Spans)-2); i < len(d.Spans); i++ { // closed jaws and gauge blocks are checked in turns
		if d.Spans[i].From == e.From {
			d.Spans[i].To = e.To
			return
		}
	}
	if len(d.Spans) >= keptDoubts {
		d.Lost = max(d.Lost, d.Spans[0].To)
	}
	d.Spans = push(d.Spans, e, keptDoubts)
}

// doubtsOf are the doubts that the latest snapshots kept.
func doubtsOf(log Log) (d doubts, err error) {
	kept, err := log.Order(doubtsID)
	if err == nil && kept != nil {
		err = json.Unmarshal(kept, &d)
	}
	if err != nil {
		return d, fmt.Errorf("look up when the caliper was found wrong: %w", err)
	}
	return d, nil
}

// listed is from which seq on all doubts are kept beside the state, and up to which
// it is folded.
func listed(log Log) (from, folded uint64, d doubts, err error) {
	kept, folded, err := log.State()
	if err != nil {
		return 0, 0, d, fmt.Errorf("read the kept state: %w", err)
	}
	var st struct {
		Caliper struct {
			Listed uint64 `json:"listed"`
		} `json:"caliper"`
	}
	if kept != nil {
		if err := json.Unmarshal(kept, &st); err != nil {
			return 0, 0, d, fmt.Errorf("read the kept state: %w", err)
		}
	}
	// What is looked up now may be newer than the state: it says the more.
	if d, err = doubtsOf(log); err != nil {
		return 0, 0, d, err
	}
	if from = st.Caliper.Listed; from == 0 {
		from = folded + 1
	}
	return max(from, d.Lost+1), folded, d, nil
}

// ClockRecords is where all records after one lie that tell that the clock was set.
func ClockRecords(log Log, after uint64) ([]Extent, error) {
	from, folded, d, err := listed(log)
	if err != nil {
		return nil, err
	}
	all := []Extent{{after + 1, from - 1}, {max(after, folded) + 1, math.MaxUint64}}
	for _, seq := range d.Clock {
		if seq > after {
			all = append(all, Extent{seq, seq})
		}
	}
	return Joined(all), nil
}

// Pages are what is to be read for the dossier of one order.
type Pages struct {
	Order  Extent   // of the order, all of it
	Checks []uint64 // seqs of later checks of the caliper that put readings of it in doubt
	Latest Extent   // of which nothing else is known yet
}

// PagesOf is what is to be read for the dossier of an order that is not in work.
// Where the log does not tell, Order is everywhere, and nothing else is to be read.
func PagesOf(log Log, order string) (Pages, error) {
	whole, folded, d, err := listed(log)
	if err != nil {
		return Pages{}, err
	}
	at, err := ExtentsOf(log, order)
	switch {
	case err != nil:
		return Pages{}, err
	case len(at) < 2:
		return Pages{Order: at[0]}, nil
	}
	if whole > at[0].To+1 {
		return Pages{Order: Extent{at[0].From, at[1].To}}, nil
	}
	p := Pages{Order: at[0], Latest: Extent{folded + 1, at[1].To}}
	for _, e := range d.Spans {
		if e.To > at[0].To && e.To <= folded && e.From <= at[0].To {
			p.Checks = append(p.Checks, e.To)
		}
	}
	return p, nil
}
