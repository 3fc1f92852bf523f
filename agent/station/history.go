package station

import (
	"cmp"
	"slices"
	"time"

	"benchtally/agent/crimp"
	"benchtally/agent/record"
)

// Judged is one crimp that was measured and judged, as the records leave it:
// what was withdrawn, moved or measured anew is not in it any more.
type Judged struct {
	At       time.Time // of the verdict
	Seq      uint64    // of the stroke
	Order    string
	Piece    string
	Spec     crimp.Spec // as it was when the order was started
	Operator string
	Cage     string
	SetUp    int // +1 when a cage is loaded or torn down
	Stroke   int // the cage's count
	Setting  int // of this crimp
	Crimp    int // 1 the first on this piece
	Outcome  crimp.Outcome
	Readings []crimp.Length
	U        crimp.Length // standard uncertainty of the mean as it was judged; 0: not known
	Offset   float64      // nanometres: mean minus what the setting should give
}

// Deviation is the mean minus the target, nanometres.
func (j Judged) Deviation() float64 {
	sum := crimp.Length(0)
	for _, r := range j.Readings {
		sum += r - j.Spec.Diameter
	}
	return float64(sum) / float64(len(j.Readings))
}

// Read is one reading of a piece that was not withdrawn, whoever took it and
// whether or not another took its place since.
type Read struct {
	Seq      uint64
	Piece    string
	Crimp    int // of the piece
	Place    int
	Operator string
	Value    crimp.Length
}

// Choice says whether a history is to know of a crimp or a reading, by what it
// is of and when it was judged or taken.
type Choice func(order, cage, spec string, at time.Time) bool

// keptAside is how many orders a history can take up again.
const keptAside = 256

// History folds records, all of a store and in their order, to what was judged
// and read. The rules must be those of the shop; of its specifications it needs
// none, because a start keeps its own.
type History struct {
	s     *Station
	aside []string // orders, oldest first
	keep  string   // order that is never let go
}

// NewHistory begins a history of what is chosen.
func NewHistory(rules Rules, chosen Choice) (*History, error) {
	rules.Learn = false // nothing is advised here
	s, err := Open(&Memory{}, rules)
	if err != nil {
		return nil, err
	}
	s.watch = &watch{chosen: chosen, judged: map[judgedKey]Judged{}, reads: map[uint64]*Read{}, crimps: map[string]int{}}
	return &History{s: s}, nil
}

// Add takes in the next record.
func (h *History) Add(r record.Record) error {
	st := &h.s.state
	before := st.Order
	h.s.apply(r)
	if before != nil && before != st.Order {
		if h.aside = append(h.aside, before.ID); len(h.aside) > keptAside {
			oldest := h.aside[0]
			if h.aside = h.aside[1:]; oldest != h.keep && !slices.Contains(h.aside, oldest) {
				delete(st.Aside, oldest)
			}
		}
	}
	return h.s.broken
}

// Judged are the chosen crimps that stand judged, in the order of their strokes.
func (h *History) Judged() []Judged {
	all := make([]Judged, 0, len(h.s.watch.judged))
	for _, j := range h.s.watch.judged {
		all = append(all, j)
	}
	slices.SortFunc(all, func(a, b Judged) int { return cmp.Compare(a.Seq, b.Seq) })
	return all
}

// Reads are the chosen readings of the latest crimp of each piece, in the order
// in which they were taken.
func (h *History) Reads() []Read {
	w := h.s.watch
	var all []Read
	for _, r := range w.reads {
		if r.Crimp == max(1, w.crimps[r.Piece]) {
			all = append(all, *r)
		}
	}
	slices.SortFunc(all, func(a, b Read) int { return cmp.Compare(a.Seq, b.Seq) })
	return all
}

// watch is what a station keeps for a history. The station at work has none: its
// methods do nothing on nil.
type watch struct {
	chosen Choice
	judged map[judgedKey]Judged
	reads  map[uint64]*Read // by seq
	crimps map[string]int   // of pieces that have more than one
}

// judgedKey names one crimp.
type judgedKey struct {
	piece string
	crimp int
}

// judge keeps a crimp that was judged.
func (w *watch) judge(s *Station, r record.Record, o *order, hit *shot) {
	if w == nil || !w.chosen(o.ID, o.Spec.Cage, o.Spec.ID, r.At) {
		return
	}
	j := Judged{
		At: r.At, Seq: hit.Seq, Order: o.ID, Piece: r.Piece, Spec: o.Spec, Operator: s.state.Operator, Cage: o.Spec.Cage,
		SetUp: hit.SetUp, Stroke: hit.Stroke, Setting: hit.Setting, Crimp: r.Crimp, Outcome: r.Outcome, Offset: s.offset(o, hit, &r),
	}
	for _, t := range hit.Readings {
		j.Readings = append(j.Readings, t.Value)
	}
	if r.U != nil {
		j.U = *r.U
	}
	w.judged[judgedKey{r.Piece, r.Crimp}] = j
}

// reopen takes back what was judged of a piece's latest crimp.
func (w *watch) reopen(o *order, p *piece) {
	if w != nil {
		delete(w.judged, judgedKey{o.id(p.N), len(p.Shots)})
	}
}

// read keeps a reading.
func (w *watch) read(s *Station, r record.Record, o *order, p *piece) {
	if w != nil && w.chosen(o.ID, o.Spec.Cage, o.Spec.ID, r.At) {
		w.reads[r.Seq] = &Read{
			Seq: r.Seq, Piece: r.Piece, Crimp: len(p.Shots), Place: r.Place, Operator: s.state.Operator, Value: *r.Diameter,
		}
	}
}

// withdraw forgets a reading.
func (w *watch) withdraw(seq uint64) {
	if w != nil {
		delete(w.reads, seq)
	}
}

// give lets readings belong to the latest crimp of a piece, from this place on.
func (w *watch) give(o *order, p *piece, readings []taken, place int) {
	if w == nil {
		return
	}
	for i, t := range readings {
		if r := w.reads[t.Seq]; r != nil {
			r.Piece, r.Crimp, r.Place = o.id(p.N), len(p.Shots), place+i
		}
	}
}

// count keeps how often a piece is crimped.
func (w *watch) count(o *order, p *piece) {
	if w == nil {
		return
	}
	if n := len(p.Shots); n > 1 {
		w.crimps[o.id(p.N)] = n
	} else {
		delete(w.crimps, o.id(p.N))
	}
}
