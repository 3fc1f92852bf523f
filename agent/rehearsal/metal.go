package rehearsal

import (
	"math"
	"math/rand/v2"

	"benchtally/agent/crimp"
)

// The shop's truth, which nobody in it knows. All figures are invented; lengths
// are in nanometres.
const (
	scatter = 0.5 * float64(crimp.Thousandth) // from piece to piece, standard deviation
	lobing  = 0.7 * float64(crimp.Thousandth) // of the diameter around a crimp, amplitude
	seating = 1.0 * float64(crimp.Thousandth) // of a cage that was loaded anew, standard deviation
	perUnit = float64(crimp.Thousandth)       // that one count of the setting makes
	tooMuch = 9 * float64(crimp.Thousandth)   // that a thick wall makes
)

// metal is what really happens between the dies.
type metal struct {
	rnd   *rand.Rand
	cages map[string]*dies
}

// dies is a die cage as it really is.
type dies struct {
	offset  float64 // of the diameter from what the setting should give
	seat    float64 // more of it, until the cage is loaded again
	drift   float64 // per stroke since the last lubrication
	strokes int     // since then
}

// newMetal is the shop in the morning: C-21 is new and runs large, C-30 drifts.
func newMetal(rnd *rand.Rand) *metal {
	const in = float64(crimp.Inch)
	return &metal{rnd: rnd, cages: map[string]*dies{
		"C-16": {offset: 0.002 * in, drift: 0.00001 * in},
		"C-21": {offset: 0.035 * in},
		"C-30": {offset: -0.001 * in, drift: 0.00012 * in},
	}}
}

// load seats a cage.
func (m *metal) load(cage string) { m.cages[cage].seat = m.rnd.NormFloat64() * seating }

// grease makes a cage as good as it was. One that the shop does not have stays so.
func (m *metal) grease(cage string) {
	if d := m.cages[cage]; d != nil {
		d.strokes = 0
	}
}

// fitting is a fitting on a hose end.
type fitting struct {
	size  float64 // mean diameter; 0: not crimped yet
	phase float64 // where it is largest
	thick float64 // more of the diameter, of a hose with a thick wall
}

func (m *metal) fitting() *fitting { return &fitting{phase: m.rnd.Float64() * math.Pi} }

// close closes the dies to a setting. No fitting may be between them, nil; one
// that is smaller already stays as it is.
func (m *metal) close(f *fitting, s crimp.Spec, setting int) {
	d := m.cages[s.Cage]
	d.strokes++
	if f == nil {
		return
	}
	size := float64(s.Diameter) + d.offset + d.seat + d.drift*float64(d.strokes) +
		float64(setting-s.Setting)*perUnit + f.thick + m.rnd.NormFloat64()*scatter
	if f.size == 0 || size < f.size {
		f.size = size
	}
}

// diameter is what a perfect caliper would read at a place, from 0. Three places
// lie 60 degrees apart, so that their mean is the mean diameter.
func (f *fitting) diameter(place int) crimp.Length {
	angle := f.phase + float64(place)*math.Pi/3
	return crimp.Nearest(f.size + lobing*math.Cos(2*angle))
}
