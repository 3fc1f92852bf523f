package station

import (
	"encoding/json"

	"benchtally/agent/crimp"
)

// An order that was left so many records ago goes on counting when it is taken up
// again, and its earlier pieces are out of reach for undo, same and measure: some
// two weeks at a press that makes a million crimps in a year, and half a year at
// one that makes 50,000. Until then some 5 kB are kept of it, and then a few hundred
// bytes for ever, because its numbers may never be used again.
const faded = 1 << 18

// fadedSurely is how many records more must have come before less is kept of it:
// more than a start can have to fold, so that what an order was when it was taken up
// can be folded again.
const fadedSurely = faded + 1<<17

// left is the seq at which an order left the state, as far as it tells.
func (o *order) left() uint64 {
	seq := o.Last
	for _, p := range o.Pieces { // of a store in which orders did not yet tell
		seq = max(seq, p.shot().Seq)
	}
	return seq
}

// remnant is what is kept of a faded order. Its keys are the order's.
type remnant struct {
	ID       string                `json:"id"`
	Spec     struct{ ID string }   `json:"spec"`
	Quantity int                   `json:"quantity,omitempty"`
	N        int                   `json:"n"`
	Tally    map[crimp.Outcome]int `json:"tally,omitempty"`
	First    uint64                `json:"first,omitempty"`
	Last     uint64                `json:"last,omitempty"`
	Job      *crimp.Job            `json:"job,omitempty"`
	Cut      crimp.Length          `json:"cut,omitempty"`
	LotTold  bool                  `json:"lot_told,omitempty"`
	End      crimp.EndName         `json:"end,omitempty"`
	Turn     crimp.EndName         `json:"turn,omitempty"`
	Marks    Marks                 `json:"marks,omitempty"`
}

func (o *order) remnant() remnant {
	return remnant{
		ID: o.ID, Spec: struct{ ID string }{o.Spec.ID}, Quantity: o.Quantity, N: o.N, Tally: o.Tally, First: o.First, Last: o.left(),
		Job: o.Job, Cut: o.Cut, LotTold: o.LotTold, End: o.End, Turn: o.Turn, Marks: o.Marks,
	}
}

// fade lets an order that was left long ago be no more than its counts. One that
// faded before stays as it is.
func (o *order) fade(now uint64) {
	if now < o.left()+faded {
		return
	}
	r := o.remnant()
	*o = order{
		ID: r.ID, Spec: crimp.Spec{ID: r.Spec.ID}, Quantity: r.Quantity, N: r.N, Tally: r.Tally, First: r.First, Last: r.Last,
		Job: r.Job, Cut: r.Cut, LotTold: r.LotTold, End: r.End, Turn: r.Turn, Marks: r.Marks,
	}
}

// Faded is what is to be kept of an order, from what the log kept of it when it left
// the state, once the log has a record now; nil: all of it still is.
func Faded(kept []byte, now uint64) []byte {
	var o order
	if err := json.Unmarshal(kept, &o); err != nil {
		return nil // it is told when the order is looked up
	}
	if now < o.left()+fadedSurely {
		return nil
	}
	less, err := json.Marshal(o.remnant())
	if err != nil {
		return nil // likewise
	}
	return less
}
