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

// History folds records, all of a store and in their order, to what was judged.
// The rules must be those of the shop; of its specifications it needs none,
// because a start keeps its own.
type History struct {
	s *Station
}

// NewHistory begins a history.
func NewHistory(rules Rules) (*History, error) {
	rules.Learn = false // nothing is advised here
	s, err := Open(&Memory{}, rules)
	if err != nil {
		return nil, err
	}
	s.judged = map[judgedKey]Judged{}
	return &History{s: s}, nil
}

// Add takes in the next record.
func (h *History) Add(r record.Record) error {
	h.s.apply(r)
	return h.s.broken
}

// Judged are the crimps that stand judged, in the order of their strokes.
func (h *History) Judged() []Judged {
	all := make([]Judged, 0, len(h.s.judged))
	for _, j := range h.s.judged {
		all = append(all, j)
	}
	slices.SortFunc(all, func(a, b Judged) int { return cmp.Compare(a.Seq, b.Seq) })
	return all
}

// judgedKey names one crimp.
type judgedKey struct {
	piece string
	crimp int
}

// note keeps a judged crimp for a history.
func (s *Station) note(r record.Record, o *order, hit *shot) {
	if s.judged == nil {
		return
	}
	j := Judged{
		At: r.At, Seq: hit.Seq, Order: o.ID, Piece: r.Piece, Spec: o.Spec, Operator: s.state.Operator, Cage: o.Spec.Cage,
		SetUp: hit.SetUp, Stroke: hit.Stroke, Setting: hit.Setting, Crimp: r.Crimp, Outcome: r.Outcome, Offset: s.offset(o, hit),
	}
	for _, t := range hit.Readings {
		j.Readings = append(j.Readings, t.Value)
	}
	if r.U != nil {
		j.U = *r.U
	}
	s.judged[judgedKey{r.Piece, r.Crimp}] = j
}
