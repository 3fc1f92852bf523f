package crimp

import (
	"fmt"
	"math"
)

// Scale says what one count of the three-digit setting does at this press.
// That one count is one thousandth of an inch, one to one, is common practice
// of the trade (no source); Step makes it a setting.
type Scale struct {
	Step    Length // diameter change per count, positive
	Smaller bool   // a larger setting makes the crimp smaller
	Lowest  int    // counts that can be dialled
	Highest int
}

// Change is the change of diameter that a change of the setting by counts makes.
func (s Scale) Change(counts int) Length {
	if s.Smaller {
		counts = -counts
	}
	return Length(counts) * s.Step
}

// Counts is the change of the setting that changes the diameter by d
// nanometres, rounded to the nearest count. A tie goes to the larger diameter:
// an oversize end can be closed further, an undersize one never.
func (s Scale) Counts(d float64) int {
	const tie = 1e-9 // counts: what rounding may have taken from an exact tie
	n := int(math.Floor(d/float64(s.Step) + 0.5 + tie))
	if s.Smaller {
		return -n
	}
	return n
}

// Clamp keeps a setting within what can be dialled and says whether it had to.
func (s Scale) Clamp(setting int) (int, bool) {
	switch {
	case setting < s.Lowest:
		return s.Lowest, true
	case setting > s.Highest:
		return s.Highest, true
	default:
		return setting, false
	}
}

// Line is what the settings of a specification should give: Zero at setting 000,
// and Step more with each count. Offsets are measured against it, so they can
// only be compared when it is told, and moved when a sheet is corrected.
type Line struct {
	Zero Length `json:"zero_mm"`
	Step Length `json:"step_mm"` // negative where a larger setting makes the crimp smaller
}

// Line is the line of a specification at this press.
func (s Scale) Line(spec Spec) Line {
	return Line{Zero: spec.Diameter - s.Change(spec.Setting), Step: s.Change(1)}
}

// OutOfReach says that a setting that was advised is only the nearest one that
// can be dialled.
func (s Scale) OutOfReach() string {
	return fmt.Sprintf("the target is out of reach: the setting goes from %s to %s", Dial(s.Lowest), Dial(s.Highest))
}

// Dial writes a setting as it is dialled: three digits.
func Dial(setting int) string { return fmt.Sprintf("%03d", setting) }
