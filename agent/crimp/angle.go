package crimp

import "math"

// The angle between the elbows at the two ends of an assembly may be off by so
// many degrees either way: 3 up to a length of two feet, which the sheet also
// prints as 61 cm, and 5 beyond (MIL-DTL-83796/5, figure 3, whose method is that
// of SAE J517; the sheet was seen second-hand).
const (
	shortAngle = 3.0
	longAngle  = 5.0
	shortEnds  = 610 * Millimetre // that length itself is still short
)

// AngleTolerance is by how many degrees, either way, the angle between two elbows
// may be off on an assembly of an overall length; that itself is within. Where no
// length is given (0) it is the closer one.
func AngleTolerance(length Length) float64 {
	if length <= shortEnds {
		return shortAngle
	}
	return longAngle
}

// anglePrecision are parts of a degree, far finer than anybody measures. What is
// off is rounded to them, so that 92.3 is off 89.3 by 3 and not by a little more.
const anglePrecision = 1e9

// AngleOff is by how many degrees a measured angle is off the nominal one, the
// shortest way round: more than −180, at most 180. Both are taken in the same
// direction, the one of the drawing, and whole turns are nothing. They are finite.
func AngleOff(measured, nominal float64) float64 {
	off := math.Mod(measured-nominal, 360) // −360 < off < 360, with the sign of what is divided
	off = math.Round(off*anglePrecision) / anglePrecision
	switch {
	case off > 180:
		off -= 360
	case off <= -180:
		off += 360
	}
	return math.Round(off*anglePrecision)/anglePrecision + 0 // + 0: never −0
}
