package station

import (
	"strconv"
	"strings"
	"time"

	"benchtally/agent/crimp"
	"benchtally/agent/record"
)

// How much of the past stays at hand for the operator's second thoughts.
const (
	keptStrokes  = 16 // that "dry" and "same" can reach
	keptReadings = 32 // that "undo" can reach
	keptPieces   = 16 // of an order, that "undo", "same" and "measure" can reach
)

// state is all that a station knows. Only apply changes it.
type state struct {
	Seq      uint64                 `json:"seq"`
	At       time.Time              `json:"at,omitzero"` // of the latest record
	Clock    timing                 `json:"clock,omitzero"`
	Cage     string                 `json:"cage,omitempty"`     // loaded; "": none
	SetUp    int                    `json:"set_up"`             // +1 when a cage is loaded or torn down
	Setting  *int                   `json:"setting,omitempty"`  // dialled, as told
	Operator string                 `json:"operator,omitempty"` // as told last
	Named    bool                   `json:"named,omitempty"`    // the operator was told apart from an order, and stays through the next ones
	Cages    map[string]*crimp.Cage `json:"cages"`
	Learned  map[string]*learned    `json:"learned"` // of this set-up, by spec of the loaded cage
	Order    *order                 `json:"order,omitempty"`
	Aside    map[string]*order      `json:"-"` // left since the latest snapshot, by id
	Lessons  lessonsByID            `json:"-"` // learned since the latest snapshot
	Doubts   *doubts                `json:"-"` // as they changed since the latest snapshot; nil: they did not
	Strokes  []strokeRef            `json:"strokes,omitempty"`
	Taken    []takenRef             `json:"taken,omitempty"`
	Retract  bool                   `json:"retract,omitempty"` // fully retracted since the last stroke or load
	Faults   map[record.Source]fact `json:"faults"`
	Zero     *fact                  `json:"zero,omitempty"`   // latest reading of closed jaws
	ZeroAt   crimp.Moment           `json:"zero_at,omitzero"` // and as its time counts
	Oil      crimp.Since            `json:"oil,omitzero"`     // of the press, since the latest check of its oil level
	Caliper  trust                  `json:"caliper,omitzero"`
	Last     *last                  `json:"last,omitempty"`
}

// lessonsByID are what set-ups taught, by lessonsID.
type lessonsByID map[string][]crimp.Lesson

// fact is something that holds since a time.
type fact struct {
	At     time.Time    `json:"at"`
	Reason string       `json:"reason,omitempty"`
	Value  crimp.Length `json:"value_mm,omitempty"`
	OK     bool         `json:"ok,omitempty"`
	Seq    uint64       `json:"seq,omitempty"` // of a fault's record, where nothing kept the clock right; else 0
}

// trust is how far the caliper's readings can be trusted.
type trust struct {
	Awaited  string        `json:"awaited,omitempty"`  // gauge block or ring that the next reading is of
	Zero     uint64        `json:"zero,omitempty"`     // seq of the latest good check of the closed jaws
	Good     uint64        `json:"good,omitempty"`     // seq of the latest good check against a gauge block or ring
	Doubt    uint64        `json:"doubt,omitempty"`    // seq from which readings are in doubt, while no check was good since
	Standard *StandardView `json:"standard,omitempty"` // the latest such check
	At       crimp.Moment  `json:"at,omitzero"`        // of it, as its time counts
	Listed   uint64        `json:"listed,omitempty"`   // seq from which on all doubts are kept beside the state
}

// last is the latest verdict with the advice that came with it.
type last struct {
	Verdict record.Record  `json:"verdict"`
	Next    *record.Record `json:"next,omitempty"`
	Recrimp *record.Record `json:"recrimp,omitempty"`
}

// strokeRef is a stroke that can still be called dry, or moved.
type strokeRef struct {
	Seq   uint64 `json:"seq"`
	Order string `json:"order,omitempty"`
	N     int    `json:"n,omitempty"` // of the piece it is counted on
}

// takenRef is a reading that can still be withdrawn.
type takenRef struct {
	Seq   uint64    `json:"seq"`
	At    time.Time `json:"at"`
	Order string    `json:"order,omitempty"`
	N     int       `json:"n,omitempty"` // of its piece; 0: none
}

// order is an order in work, or set aside.
type order struct {
	ID       string                `json:"id"`
	Spec     crimp.Spec            `json:"spec"` // as it was when the order was started
	Quantity int                   `json:"quantity,omitempty"`
	N        int                   `json:"n"`                  // of the latest piece
	Pieces   []*piece              `json:"pieces"`             // the latest ones, oldest first
	Measured int                   `json:"measured,omitempty"` // N of the older piece that is being measured; 0: the latest
	Again    int                   `json:"again,omitempty"`    // N of the piece that the next stroke crimps again; 0: none
	Fresh    bool                  `json:"fresh,omitempty"`    // the next piece is the first after a start, set or load
	Skipped  int                   `json:"skipped,omitempty"`  // pieces since the last one that was judged
	Tally    map[crimp.Outcome]int `json:"tally"`              // pieces by their latest outcome
	First    uint64                `json:"first,omitempty"`    // seq of its first start
	Last     uint64                `json:"last,omitempty"`     // seq at which it left the state; of the order in work at which it did before

	// With a job card.
	Job     *crimp.Job                 `json:"job,omitempty"` // with the lots in use and the tolerance of its length
	Cut     crimp.Length               `json:"cut,omitempty"`
	LotTold bool                       `json:"lot_told,omitempty"` // the lots are not the card's any more
	End     crimp.EndName              `json:"end,omitempty"`      // that was started last
	Turn    crimp.EndName              `json:"turn,omitempty"`     // that was asked for; "": as it comes
	Marks   Marks                      `json:"marks,omitempty"`
	Shelf   map[crimp.EndName][]*piece `json:"shelf,omitempty"`  // latest pieces of the end that is not in work
	Unsaid  bool                       `json:"unsaid,omitempty"` // the next piece is the first of its set-up
	Sign    int                        `json:"sign,omitempty"`   // N of the first piece that nobody has signed off yet; 0: none
}

// piece is one fitting on one hose end, from its first crimp on.
type piece struct {
	N       int           `json:"n"`
	Due     bool          `json:"due,omitempty"` // is to be judged by plan
	Shots   []*shot       `json:"shots"`         // its crimps, at least one
	Outcome crimp.Outcome `json:"outcome,omitempty"`

	Assembly int             `json:"assembly,omitempty"`
	End      crimp.EndName   `json:"end,omitempty"`
	Given    string          `json:"given,omitempty"`  // why a person gave it up; "": nobody did
	Looked   map[string]Mark `json:"looked,omitempty"` // by point

	// What the piece changed when it was opened, for taking that back.
	Fresh   bool `json:"fresh,omitempty"`
	Skipped int  `json:"skipped,omitempty"`
}

// shot is one crimp of a piece.
type shot struct {
	Seq      uint64        `json:"seq"` // of its stroke
	Setting  int           `json:"setting"`
	SetUp    int           `json:"set_up"`
	Stroke   int           `json:"stroke"` // the cage's count
	Readings []taken       `json:"readings,omitempty"`
	Outcome  crimp.Outcome `json:"outcome,omitempty"`
	Taught   bool          `json:"taught,omitempty"` // the offset's estimate rests on it
}

// taken is one reading of a shot.
type taken struct {
	Seq   uint64       `json:"seq"`
	Value crimp.Length `json:"value_mm"`
	Step  crimp.Length `json:"resolution_mm"`
}

func newState() state {
	return state{
		Cages:   map[string]*crimp.Cage{},
		Learned: map[string]*learned{},
		Aside:   map[string]*order{},
		Lessons: lessonsByID{},
		Faults:  map[record.Source]fact{},
		Caliper: trust{Listed: 1},
	}
}

// cage is the care of a record's cage, which is made when it is first heard of.
func (st *state) cage(r record.Record) *crimp.Cage {
	c := st.Cages[r.Cage]
	if c == nil {
		c = crimp.NewCage(st.Clock.Now)
		for _, w := range crimp.Works() {
			c.Since(w).Moment = st.moment(r)
		}
		st.Cages[r.Cage] = c
	}
	return c
}

// latest is the piece that was crimped last; nil: none yet.
func (o *order) latest() *piece {
	if len(o.Pieces) == 0 {
		return nil
	}
	return o.Pieces[len(o.Pieces)-1]
}

// piece is a piece that is still at hand; nil: it is not.
func (o *order) piece(n int) *piece {
	for _, p := range o.Pieces {
		if p.N == n {
			return p
		}
	}
	return nil
}

// at is the piece that readings belong to now; nil: none.
func (o *order) at() *piece {
	if o.Measured != 0 {
		if p := o.piece(o.Measured); p != nil {
			return p
		}
	}
	return o.latest()
}

// id is a piece's id in the records.
func (o *order) id(n int) string { return o.ID + "/" + strconv.Itoa(n) }

// shot is the latest crimp of a piece.
func (p *piece) shot() *shot { return p.Shots[len(p.Shots)-1] }

// settle gives a piece its outcome so far; "" takes it away. What a person gave up
// stays scrap.
func (o *order) settle(p *piece, outcome crimp.Outcome) {
	if p.Given != "" {
		outcome = crimp.Scrap
	}
	if p.Outcome != "" {
		if o.Tally[p.Outcome]--; o.Tally[p.Outcome] == 0 {
			delete(o.Tally, p.Outcome)
		}
	}
	p.Outcome = outcome
	if outcome != "" {
		if o.Tally == nil {
			o.Tally = map[crimp.Outcome]int{}
		}
		o.Tally[outcome]++
	}
	o.mark(string(p.End), p.Assembly, markOf(outcome))
	if o.Sign == p.N && outcome == crimp.Scrap { // the next one is the first that may be signed off
		o.Sign, o.Unsaid = 0, true
	}
}

// mark sets a mark of an assembly.
func (o *order) mark(what string, assembly int, m Mark) {
	if assembly == 0 {
		return
	}
	if o.Marks == nil {
		o.Marks = Marks{}
	}
	o.Marks.put(what, assembly, m)
}

// pieceNumber is n of a piece id <order>/<n>; 0 when it has none.
func pieceNumber(id string) int {
	i := strings.LastIndexByte(id, '/')
	n, err := strconv.Atoi(id[i+1:])
	if i < 0 || err != nil {
		return 0
	}
	return n
}

// push appends to a list that keeps only its latest entries.
func push[T any](list []T, v T, keep int) []T {
	if len(list) >= keep {
		list = append(list[:0], list[len(list)-keep+1:]...)
	}
	return append(list, v)
}
