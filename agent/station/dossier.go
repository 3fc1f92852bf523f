package station

import (
	"time"

	"benchtally/agent/crimp"
)

// Dossier is what the records leave of one order: what its papers tell. What was
// withdrawn, moved or measured anew is not in it any more.
type Dossier struct {
	Order      string
	Job        *crimp.Job   // as it was started last, with the tolerance of its length; nil: no job card
	Cut        crimp.Length // 0: not known
	Quantity   int          // as ordered, assemblies with a job card, else pieces; 0: not told
	From, To   uint64       // seq of its first and its latest record
	Began      time.Time
	Latest     time.Time       // of its latest record
	Finished   bool            // done or set aside
	Ends       []crimp.EndName // that are crimped here; none when the order is counted in single ends
	Points     Points          // that the shop looks at
	Starts     []StartEntry
	Pieces     []PieceEntry    // by their numbers
	Assemblies []AssemblyEntry // by their numbers; none when the order is counted in single ends
	Calipers   []CaliperEntry  // checks of the caliper between its first and its latest record, or to now while it is in work, and later ones that put its readings in doubt

	Corrected *Seqs `json:",omitempty"` // written before the clock was set, and dated by what it was found to be behind; nil: none
	Unset     *Seqs `json:",omitempty"` // written while nothing kept the clock right, and never corrected; nil: none
}

// Seqs are the first and the last of some of its records.
type Seqs struct{ From, To uint64 }

// with is the same with one record more.
func (s *Seqs) with(seq uint64) *Seqs {
	if s == nil {
		return &Seqs{seq, seq}
	}
	return &Seqs{s.From, seq}
}

// StartEntry is one start of the order.
type StartEntry struct {
	At       time.Time
	End      crimp.EndName
	Spec     crimp.Spec
	Setting  int
	Operator string
	Parts    Parts
	Cage     string
}

// Parts are the lots in use.
type Parts struct{ Hose, Fitting crimp.Part }

// PieceEntry is one fitting on one hose end.
type PieceEntry struct {
	N        int
	ID       string // <order>/<n>
	Assembly int    // 0: counted in single ends
	End      crimp.EndName
	Spec     crimp.Spec // as it was when the order was started
	Cage     string
	Parts    Parts
	Crimps   []CrimpEntry  // at least one
	Outcome  crimp.Outcome // "": not judged
	Plan     bool          // to be judged by the shop's plan
	Scrap    string        // why a person gave it up; "": nobody did
	Checks   []CheckEntry
}

// CrimpEntry is one crimp of a piece.
type CrimpEntry struct {
	At         time.Time // of the stroke
	Seq        uint64    // of the stroke
	SetUp      int       // 1 that of the order's first crimp, +1 when a cage is loaded or torn down
	Stroke     int       // of its cage, 1 its first crimp of the order
	Setting    int
	Advised    int // setting that was advised for it; -1: none was
	Operator   string
	Readings   []ReadingEntry
	Outcome    crimp.Outcome // "": not judged
	Mean       crimp.Length  // with an outcome and readings
	Deviation  crimp.Length  // mean minus target
	Offset     crimp.Length  // mean minus what the setting should give
	Ovality    crimp.Length  // largest minus smallest
	U          crimp.Length  // standard uncertainty of the mean; 0: not known
	Conformity float64       // 0 to 1; -1: not known
	Reason     string
}

// ReadingEntry is one reading.
type ReadingEntry struct {
	Seq   uint64
	Value crimp.Length
	Doubt bool // the caliper was found wrong afterwards and was last found good before it
}

// CheckEntry is a check that a person made.
type CheckEntry struct {
	At       time.Time
	Points   []string
	OK       bool
	Value    *crimp.Length // a length as measured
	Angle    *float64      // degrees, as measured
	Operator string
	Reason   string
}

// ProofEntry is a proof test as the people who made it told it.
type ProofEntry struct {
	At                time.Time
	Working, Pressure crimp.Pressure
	Hold              int // seconds
	OK                bool
	Operator          string
	Reason            string
}

// AssemblyEntry is one assembly.
type AssemblyEntry struct {
	N      int
	Pieces map[crimp.EndName]int // number of the piece that is its end, if that was crimped
	Checks []CheckEntry
	Proofs []ProofEntry
	Scrap  string // why it was given up as a whole, or which of its ends is scrap; "": it stands
	State  AssemblyState
}

// CaliperEntry is a check of the caliper: of its closed jaws, or against a
// gauge block or ring.
type CaliperEntry struct {
	At       time.Time
	Seq      uint64
	Standard string // "": closed jaws
	Nominal  crimp.Length
	Value    crimp.Length
	OK       bool
	Doubt    uint64 // seq from which readings until then are in doubt; 0: none are
	Operator string
}
