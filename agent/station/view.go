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
	Standard *StandardView // latest check of the caliper against a gauge block or ring; nil: none yet
	Awaited  string        // gauge block or ring that the next reading is of; "": none
	Oil      CareView      // of the press: the hydraulic oil's level
	Checks   ChecksView
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

	// With a job card; else the order is counted in single ends and these are empty.
	Job      *crimp.Job // with the lots in use and the tolerance of the length
	Cut      crimp.Length
	Ends     []crimp.EndName // that are crimped here
	End      crimp.EndName   // that is in work
	Turn     crimp.EndName   // that was asked for; "": as it comes
	Assembly int             // of Piece; 0: none
	Next     int             // assembly that the next stroke is of
	NextEnd  crimp.EndName   // and its end
	Marks    Marks           // must not be changed
	Points   Points          // that are looked at
	Done     int             // assemblies complete
	Lost     int             // assemblies scrapped

	Latest []PieceView // the latest pieces at hand, oldest first
	Look   string      // piece whose points are still to be looked at; "": none
	Sign   string      // first piece of a set-up that is still to be signed off; "": none
}

// PieceView is one of the latest pieces.
type PieceView struct {
	ID       string
	N        int
	Assembly int
	End      crimp.EndName
	Setting  int // of its latest crimp
	Crimps   int
	Outcome  crimp.Outcome
	Mean     *crimp.Length   // nil: nothing measured
	Given    bool            // given up by a person
	Looked   map[string]Mark // points of the end that were looked at
}

// StandardView is a check of the caliper against a gauge block or ring.
type StandardView struct {
	At      time.Time
	Name    string
	Nominal crimp.Length
	Value   crimp.Length
	OK      bool
}

// ChecksView is how far the caliper can be trusted.
type ChecksView struct {
	Due   bool   // the shop's interval is over
	Doubt uint64 // seq from which readings are in doubt until the caliper is found good; 0: none are
}

// CareView is one work on the loaded cage.
type CareView struct {
	Work    crimp.Work
	Strokes int
	Since   time.Time
	Limit   int // strokes; 0: by no count
	Due     bool
	Last    time.Time       // when it falls due by the calendar; zero: by no date
	Days    int             // until it falls due, at the bench's own pace or by the calendar, whichever comes first; -1: not known
	By      crimp.Condition // how the cage was found last; "": nobody said
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
