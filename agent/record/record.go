// Package record is what happened at a station, as it is kept and as it is sent.
//
// A record is one flat JSON object. Keys keep their meaning for ever; new ones
// may be added, and readers ignore keys they do not know.
package record

import (
	"time"

	"benchtally/agent/crimp"
)

// Kind says what a record tells of.
type Kind string

// The kinds of record.
const (
	Start      Kind = "start"      // an order is taken into work
	Finish     Kind = "finish"     // the order is done or set aside
	Set        Kind = "set"        // the setting dialled at the press
	Load       Kind = "load"       // a die cage is loaded
	Retract    Kind = "retract"    // the ring was fully retracted: the cage may have been changed
	Measure    Kind = "measure"    // the next readings belong to an older piece
	Stroke     Kind = "stroke"     // the ring closed
	Reading    Kind = "reading"    // one diameter from the caliper
	Verdict    Kind = "verdict"    // what the readings of one crimp say
	Correction Kind = "correction" // the setting advised
	Care       Kind = "care"       // work on a die cage fell due or was done
	Zero       Kind = "zero"       // a reading with the jaws closed
	Undo       Kind = "undo"       // the last reading is withdrawn
	Dry        Kind = "dry"        // the last stroke crimped nothing
	Same       Kind = "same"       // the last stroke was on the piece before
	Fault      Kind = "fault"      // a source of trouble came or went
	Refused    Kind = "refused"    // an input that was not taken, with the reason
	Operator   Kind = "operator"   // who is at the press from now on
	Turn       Kind = "turn"       // the next pieces are of this end of their assemblies
	Lot        Kind = "lot"        // another hose or fitting lot from now on
	Check      Kind = "check"      // points of an end or an assembly that a person looked at or measured
	Proof      Kind = "proof"      // a proof test that trained people made
	Scrap      Kind = "scrap"      // an end or an assembly is given up for what no caliper shows, or is not after all
	Standard   Kind = "standard"   // the caliper is checked against a gauge block or ring
)

// Kinds are all kinds, in the order of their declaration.
func Kinds() []Kind {
	return []Kind{
		Start, Finish, Set, Load, Retract, Measure, Stroke, Reading, Verdict, Correction,
		Care, Zero, Undo, Dry, Same, Fault, Refused,
		Operator, Turn, Lot, Check, Proof, Scrap, Standard,
	}
}

// Source is where a fault or a refused input came from.
type Source string

// The sources of faults and refusals.
const (
	Switch  Source = "switch"
	Caliper Source = "caliper"
	Clock   Source = "clock"
	Store   Source = "store"
	Broker  Source = "broker"
	Action  Source = "action"
	Scanner Source = "scanner" // of barcodes
)

// What a correction is for.
const (
	ForNext    = "next"
	ForRecrimp = "recrimp"
)

// States of care and of faults.
const (
	Due  = "due"
	Done = "done"
	On   = "on"
	Off  = "off"
)

// Record is one thing that happened. Fields that do not belong to its Kind are
// empty and are not written. The order of records is Seq, never At: the clock
// may have been wrong. Lengths are exact to the nanometre.
type Record struct {
	Seq  uint64    `json:"seq"` // 1, 2, 3 … in one store, never used twice
	At   time.Time `json:"at"`  // UTC, microseconds
	Kind Kind      `json:"kind"`

	Clock string `json:"clock,omitempty"` // "unset": the clock was not yet set when this was written

	Order    string        `json:"order,omitempty"`
	Piece    string        `json:"piece,omitempty"`    // <order>/<n>
	Assembly int           `json:"assembly,omitempty"` // of the order, 1, 2, 3 …; an order counted in single ends has none
	End      crimp.EndName `json:"end,omitempty"`      // of the assembly
	Spec     string        `json:"spec,omitempty"`
	Revision string        `json:"revision,omitempty"` // of the maker's sheet
	Quantity int           `json:"quantity,omitempty"`
	Pieces   int           `json:"pieces,omitempty"` // of the order, crimped before this start
	Cage     string        `json:"cage,omitempty"`
	Operator string        `json:"operator,omitempty"`

	// The specification as it was when the order was started.
	Target   *crimp.Length `json:"target_mm,omitempty"`
	Plus     *crimp.Length `json:"plus_mm,omitempty"`
	Minus    *crimp.Length `json:"minus_mm,omitempty"`
	Unit     crimp.Unit    `json:"unit,omitempty"`    // in which the sheet is written
	Nominal  *int          `json:"nominal,omitempty"` // setting that the specification names
	Recrimps int           `json:"recrimps,omitempty"`
	Places   int           `json:"places,omitempty"`

	// What the maker's sheet calls it and says of the hose end.
	Hose      string        `json:"hose,omitempty"`
	Fitting   string        `json:"fitting,omitempty"`
	Size      string        `json:"size,omitempty"`
	Skive     *crimp.Length `json:"skive_mm,omitempty"`
	Insertion *crimp.Length `json:"insertion_mm,omitempty"`

	*Job // the job card, with a start; the lots that changed, with a lot

	Setting *int   `json:"setting,omitempty"` // counts, 0 to 999
	Crimp   int    `json:"crimp,omitempty"`   // 1 the first on this piece, 2 a re-crimp …
	Held    *int64 `json:"held_ms,omitempty"` // how long the ring was up, milliseconds

	Place    int           `json:"place,omitempty"` // 1, 2, 3 … of this crimp
	Diameter *crimp.Length `json:"diameter_mm,omitempty"`
	Step     *crimp.Length `json:"resolution_mm,omitempty"`
	Raw      string        `json:"raw,omitempty"` // as it came in

	Outcome    crimp.Outcome `json:"outcome,omitempty"`
	Mean       *crimp.Length `json:"mean_mm,omitempty"`
	Deviation  *crimp.Length `json:"deviation_mm,omitempty"` // mean minus target
	Ovality    *crimp.Length `json:"ovality_mm,omitempty"`   // largest minus smallest
	Readings   int           `json:"readings,omitempty"`     // how many
	Conformity *float64      `json:"conformity,omitempty"`   // probability that the true diameter is within the limits, 0 to 1
	U          *crimp.Length `json:"u_mm,omitempty"`         // standard uncertainty of the mean
	Guard      *crimp.Length `json:"guard_mm,omitempty"`     // width of the guard band at each limit
	Zone       crimp.Zone    `json:"zone,omitempty"`         // where the mean lies between what can be told and what cannot
	Hint       string        `json:"hint,omitempty"`         // what the readings themselves give to think of

	For     string        `json:"for,omitempty"`         // next or recrimp
	Change  *int          `json:"change,omitempty"`      // counts, against the setting dialled
	Offset  *crimp.Length `json:"offset_mm,omitempty"`   // measured minus what the setting should give
	OffsetU *crimp.Length `json:"offset_u_mm,omitempty"` // standard uncertainty of the estimate
	Crimps  int           `json:"crimps,omitempty"`      // first crimps of this set-up that it rests on
	SetUps  int           `json:"set_ups,omitempty"`     // earlier set-ups of the cage that it rests on too
	Aim     *crimp.Length `json:"aim_mm,omitempty"`      // above the target, where it is not the target
	Advised *int          `json:"advised,omitempty"`     // setting for the first piece, known before it is measured

	Work    crimp.Work `json:"work,omitempty"`
	State   string     `json:"state,omitempty"`   // due or done; on or off
	Strokes *int       `json:"strokes,omitempty"` // of the cage since the last such work

	Finding   string          `json:"finding,omitempty"`   // of a work: what was found, in the operator's words
	Condition crimp.Condition `json:"condition,omitempty"` // of the cage after a work

	Points   string         `json:"points,omitempty"`      // that were checked, separated by commas
	Angle    *float64       `json:"angle_deg,omitempty"`   // between the elbows, as measured
	Pressure crimp.Pressure `json:"pressure_pa,omitempty"` // of a proof test
	Hold     int            `json:"hold_s,omitempty"`      // of a proof test, seconds

	Standard string        `json:"standard,omitempty"` // gauge block or ring, by its name
	Value    *crimp.Length `json:"value_mm,omitempty"` // of a reading with the jaws closed; a length as measured
	OK       *bool         `json:"ok,omitempty"`
	Doubt    uint64        `json:"doubt_from,omitempty"` // readings from this record on are in doubt: the caliper was last found good before it

	Of     uint64 `json:"of,omitempty"` // the record that this one changes
	Source Source `json:"source,omitempty"`
	Reason string `json:"reason,omitempty"`
	Behind *int64 `json:"behind_ms,omitempty"` // of the clock until now, milliseconds: records from Of on that say unset were written so much too early; below 0: too late
}

// Ptr is a pointer to v, for the fields whose zero value means something.
func Ptr[T any](v T) *T { return &v }
