package station

import (
	"time"

	"benchtally/agent/crimp"
	"benchtally/agent/record"
)

// Input is one thing that came to the station: a Stroke, Retract, Reading,
// Action, Fault or Refusal.
type Input interface {
	take(s *Station)
}

// Stroke is a closing of the ring.
type Stroke struct {
	At   time.Time     // when the closing began
	Held time.Duration // how long the ring was up; 0: not known
}

// Retract is the ring fully retracted, as for a change of the die cage.
type Retract struct{ At time.Time }

// Reading is one diameter from the caliper.
type Reading struct {
	At    time.Time
	Value crimp.Length
	Step  crimp.Length // the caliper's last digit; 0: not known
	Raw   string       // as it came
}

// Fault is a source of trouble that came or went.
type Fault struct {
	At     time.Time
	Source record.Source
	On     bool
	Reason string    // for the technician: what is wrong and what to look at
	Since  time.Time // readings from this time on were part of the trouble and are withdrawn; zero: none were
}

// Refusal is an input that never became one: noise on the wire, an unreadable line.
type Refusal struct {
	At     time.Time
	Source record.Source
	Reason string
	Raw    string
}

// Do names an operator's action.
type Do string

// The operator's actions.
const (
	DoLoad    Do = "load"    // Cage is loaded
	DoStart   Do = "start"   // Order is taken into work by Spec
	DoSet     Do = "set"     // Setting is dialled
	DoUndo    Do = "undo"    // the last reading is withdrawn
	DoDry     Do = "dry"     // the last stroke crimped nothing
	DoSame    Do = "same"    // the last stroke was on the piece before
	DoCare    Do = "care"    // Work was done on Cage
	DoFinish  Do = "finish"  // the order is done or set aside
	DoMeasure Do = "measure" // the next readings belong to Piece

	DoOperator Do = "operator" // Operator is at the press; "" nobody that is named
	DoTurn     Do = "turn"     // the next pieces are of End; "" both in turn
	DoLot      Do = "lot"      // another lot of hose, or of End's fitting
	DoCheck    Do = "check"    // Points were looked at or measured, on Piece or on Assembly
	DoProof    Do = "proof"    // Assembly was proof tested
	DoScrap    Do = "scrap"    // Piece or Assembly is given up for Reason; with Off it is not after all
	DoStandard Do = "standard" // the next reading is of the Standard; "" of none
)

// Dos are all actions.
func Dos() []Do {
	return []Do{
		DoLoad, DoStart, DoSet, DoUndo, DoDry, DoSame, DoCare, DoFinish, DoMeasure,
		DoOperator, DoTurn, DoLot, DoCheck, DoProof, DoScrap, DoStandard,
	}
}

// Action is what an operator does. Fields that an action does not need are empty.
type Action struct {
	At       time.Time  `json:"-"`
	Do       Do         `json:"do"`
	Cage     string     `json:"cage,omitempty"`
	Order    string     `json:"order,omitempty"`
	Spec     string     `json:"spec,omitempty"`
	Quantity int        `json:"quantity,omitempty"`
	Setting  *int       `json:"setting,omitempty"`
	Operator string     `json:"operator,omitempty"`
	Work     crimp.Work `json:"work,omitempty"`
	Piece    string     `json:"piece,omitempty"`

	End       crimp.EndName   `json:"end,omitempty"`
	Assembly  int             `json:"assembly,omitempty"`
	Maker     string          `json:"maker,omitempty"` // of the lot
	Lot       string          `json:"lot,omitempty"`
	Points    string          `json:"points,omitempty"` // separated by commas; "": all that the shop looks at there
	OK        *bool           `json:"ok,omitempty"`     // nil: yes, or as measured
	Value     *crimp.Length   `json:"value_mm,omitempty"`
	Angle     *float64        `json:"angle_deg,omitempty"`
	Pressure  crimp.Pressure  `json:"pressure_pa,omitempty"`
	Hold      int             `json:"hold_s,omitempty"`
	Standard  string          `json:"standard,omitempty"`
	Finding   string          `json:"finding,omitempty"`
	Condition crimp.Condition `json:"condition,omitempty"`
	Reason    string          `json:"reason,omitempty"`
	Off       bool            `json:"off,omitempty"`
}
