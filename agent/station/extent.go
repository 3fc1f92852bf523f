package station

import (
	"cmp"
	"encoding/json"
	"fmt"
	"math"
	"slices"
)

// Extent is where records lie: from one seq to another, both included.
type Extent struct{ From, To uint64 }

// everything is where all records lie.
var everything = Extent{From: 1, To: math.MaxUint64}

// ExtentsOf is where all records of an order lie, others between them, in the order
// of their seq. Where the log does not tell, it is everywhere.
func ExtentsOf(log Log, order string) ([]Extent, error) {
	kept, folded, err := log.State()
	if err != nil {
		return nil, fmt.Errorf("read the kept state: %w", err)
	}
	var st struct {
		Order *struct {
			ID    string
			First uint64
		}
	}
	if kept != nil {
		if err := json.Unmarshal(kept, &st); err != nil {
			return nil, fmt.Errorf("read the kept state: %w", err)
		}
	}
	if o := st.Order; o != nil && o.ID == order {
		if o.First == 0 {
			return []Extent{everything}, nil
		}
		return []Extent{{o.First, math.MaxUint64}}, nil
	}
	blob, err := log.Order(order)
	if err != nil {
		return nil, fmt.Errorf("look up order %s: %w", order, err)
	}
	if blob == nil { // it never left the state, so it was not heard of until then
		return []Extent{{folded + 1, math.MaxUint64}}, nil
	}
	var o struct{ First, Last uint64 }
	if err := json.Unmarshal(blob, &o); err != nil {
		return nil, fmt.Errorf("read what was kept of order %s: %w", order, err)
	}
	switch {
	case o.First == 0 || o.Last == 0: // not known, or kept by an older program
		return []Extent{everything}, nil
	case o.Last >= folded:
		return []Extent{{o.First, math.MaxUint64}}, nil
	}
	// It may have been in work again since the state was folded.
	return []Extent{{o.First, o.Last}, {folded + 1, math.MaxUint64}}, nil
}

// Joined are extents in the order of their seq, those that touch as one; what holds
// nothing is left out.
func Joined(all []Extent) []Extent {
	all = slices.DeleteFunc(slices.Clone(all), func(e Extent) bool { return e.From > e.To })
	slices.SortFunc(all, func(a, b Extent) int { return cmp.Compare(a.From, b.From) })
	var joined []Extent
	for _, e := range all {
		if n := len(joined); n > 0 && e.From-1 <= joined[n-1].To {
			joined[n-1].To = max(joined[n-1].To, e.To)
		} else {
			joined = append(joined, e)
		}
	}
	return joined
}

// Common is what lies in both.
func Common(some, others []Extent) []Extent {
	var all []Extent
	for _, a := range some {
		for _, b := range others {
			all = append(all, Extent{max(a.From, b.From), min(a.To, b.To)})
		}
	}
	return Joined(all)
}
