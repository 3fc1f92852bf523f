package station

import (
	"time"

	"benchtally/agent/crimp"
	"benchtally/agent/record"
)

// View is what others may see of a station: a copy, made after the commit.
type View struct {
	Seq      uint64
	At       time.Time // of the latest record; zero: there is none
	Cage     string
	Setting  *int
	Operator string
	Retract  bool // the ring was fully retracted since the last stroke or load
	Order    *OrderView
	Care     []CareView // of the loaded cage
	Verdict  *record.Record
	Next     *record.Record // the correction for the next piece
	Recrimp  *record.Record // the correction for crimping the same piece again
	Opening  *record.Record // advice for the first piece, in the form of a correction that is not kept
	Zero     *ZeroView
	Faults   map[record.Source]string
}

// OrderView is the order in work.
type OrderView struct {
	ID       string
	Spec     crimp.Spec
	Quantity int
	Pieces   int            // crimped so far
	Piece    string         // the readings belong to; "": none
	Crimp    int            // of that piece
	Readings []crimp.Length // taken of that crimp
	Missing  int            // readings until the verdict; 0: none is waited for
	Again    string         // piece that the next stroke crimps again; "": it opens the next piece
	Tally    map[crimp.Outcome]int
}

// CareView is one work on the loaded cage.
type CareView struct {
	Work    crimp.Work
	Strokes int
	Since   time.Time
	Limit   int // strokes; 0: by no count
	Due     bool
}

// ZeroView is the latest reading of closed jaws.
type ZeroView struct {
	At    time.Time
	Value crimp.Length
	OK    bool
}

// View is the station as it stands.
func (s *Station) View() View {
	st := &s.state
	v := View{
		Seq: st.Seq, At: st.At, Cage: st.Cage, Setting: st.Setting, Operator: st.Operator, Retract: st.Retract,
		Faults: make(map[record.Source]string, len(st.Faults)),
	}
	for source, f := range st.Faults {
		v.Faults[source] = f.Reason
	}
	if c := st.Cages[st.Cage]; c != nil {
		for _, w := range crimp.Works() {
			since := c.Since(w)
			v.Care = append(v.Care, CareView{Work: w, Strokes: since.Strokes, Since: since.At, Limit: s.limit(w), Due: since.Due})
		}
	}
	if st.Last != nil {
		verdict := st.Last.Verdict
		v.Verdict, v.Next, v.Recrimp = &verdict, st.Last.Next, st.Last.Recrimp
	}
	if z := st.Zero; z != nil {
		v.Zero = &ZeroView{At: z.At, Value: z.Value, OK: z.OK}
	}
	if st.Order != nil {
		v.Order = st.Order.view()
		v.Opening = s.opening()
	}
	return v
}

func (s *Station) limit(w crimp.Work) int {
	switch w {
	case crimp.Lubricate:
		return s.rules.Intervals.Lubricate
	case crimp.Teardown:
		return s.rules.Intervals.Teardown
	case crimp.Clean:
		return 0
	}
	return 0
}

func (o *order) view() *OrderView {
	v := &OrderView{
		ID: o.ID, Spec: o.Spec, Quantity: o.Quantity, Pieces: o.N,
		Tally: make(map[crimp.Outcome]int, len(o.Tally)),
	}
	for outcome, n := range o.Tally {
		v.Tally[outcome] = n
	}
	if p := o.piece(o.Again); p != nil {
		v.Again = o.id(p.N)
	}
	p := o.at()
	if p == nil {
		return v
	}
	v.Piece, v.Crimp = o.id(p.N), len(p.Shots)
	for _, t := range p.shot().Readings {
		v.Readings = append(v.Readings, t.Value)
	}
	if p.shot().Outcome == "" && (p.Due || len(v.Readings) > 0) {
		v.Missing = o.Spec.Places - len(v.Readings)
	}
	return v
}
