package study

import (
	"math"
	"math/rand/v2"

	"benchtally/agent/crimp"
)

// Press is how a press, its cage, the metal and the caliper behave. Lengths are
// in counts of the setting, deviations are standard deviations. The figures are
// our own choice; no public measurement of them was found.
type Press struct {
	Mean    float64 // of the offsets of the set-ups
	Between float64 // of the offset from set-up to set-up
	Noise   float64 // from piece to piece
	Drift   float64 // of the offset's random walk, a stroke
	Wear    float64 // steady growth of the offset, a stroke
	Bias    float64 // of the caliper's error, common to a set-up
	Pieces  int     // of a set-up

	Own      float64 // share of the noise's variance that is the piece's own, of its wall and ferrule, and stays at a second stroke
	Outliers float64 // share of strokes whose noise is five times as large
	Shift    float64 // of the offset at half of the pieces, up or down
}

// Figures that all presses share.
const (
	count     = crimp.Thousandth // change of diameter of one count of the setting
	target    = 500              // setting that should give the target
	tolerance = 5                // counts from the target to either limit
	reading   = 0.3              // counts, standard deviation of the mean of a piece's readings about the caliper's error
)

var (
	scale = crimp.Scale{Step: count, Highest: 999}
	spec  = crimp.Spec{Diameter: crimp.Inch, Plus: tolerance * count, Minus: tolerance * count, Setting: target, Recrimps: 1}
)

// course is all that chance does to one set-up. It is the same for all
// policies, so that their differences are of their own making.
type course struct {
	offset, bias, shift float64
	pieces              []fate
	readings            [1]crimp.Length // of the crimp in work
}

// fate is what chance does to a piece at its first stroke and at its second.
type fate [2]struct{ drift, noise, reading float64 }

// deal fills a course. The conversions keep processors that fuse multiply and
// add from giving other digits than the rest.
func (p Press) deal(random *rand.Rand, c *course) {
	c.offset = p.Mean + float64(p.Between*random.NormFloat64())
	c.bias = float64(p.Bias * random.NormFloat64())
	c.shift = p.Shift
	if random.Uint64()&1 == 0 {
		c.shift = -p.Shift
	}
	if len(c.pieces) != p.Pieces {
		c.pieces = make([]fate, p.Pieces)
	}
	stays, comes := p.Noise*math.Sqrt(p.Own), p.Noise*math.Sqrt(1-p.Own)
	for i := range c.pieces {
		own := float64(stays * random.NormFloat64())
		for k := range c.pieces[i] {
			s := &c.pieces[i][k]
			s.drift = p.Wear + float64(p.Drift*random.NormFloat64())
			s.noise = own + float64(comes*random.NormFloat64())
			if p.Outliers > 0 && random.Float64() < p.Outliers {
				s.noise *= 5
			}
			s.reading = float64(reading * random.NormFloat64())
		}
	}
}

// run makes the pieces of a set-up. The offset moves before each stroke; a
// stroke gives what its setting and the offset give, and its noise, but never
// makes a piece larger.
func (c *course) run(p policy, t *Tally) {
	offset, stroke, dialled, setting := c.offset, 0, target, p.begin()
	for i := range c.pieces {
		if i == len(c.pieces)/2 {
			offset += c.shift
		}
		t.Pieces++
		next, diameter := 0, math.Inf(1) // beyond the target
		for k, f := range c.pieces[i] {
			if setting != dialled {
				t.Changes++
			}
			dialled = setting
			stroke++
			offset += f.drift
			diameter = min(diameter, float64(setting-target)+offset+f.noise)
			c.readings[0] = spec.Diameter + length(diameter+c.bias+f.reading)
			v := crimp.Judge(spec, c.readings[:], k+1, 0, crimp.Rules{})
			if k == 0 {
				next = p.next(setting, v.Deviation, stroke)
			}
			if v.Outcome != crimp.Recrimp {
				t.finish(k+1, v.Outcome == crimp.Pass, math.Abs(diameter) > tolerance)
				break
			}
			t.Seconds++
			setting = p.again(setting, v.Deviation)
		}
		setting = next
	}
}

// length is a length in counts, to the nanometre.
func length(counts float64) crimp.Length {
	return crimp.Nearest(counts * float64(count))
}
