package frame

import "benchtally/agent/crimp"

// A word of 24 bits, written by the cable's converter as six hexadecimal digits,
// highest first: bits 0 to 19 the magnitude, 20 the sign, 23 the unit (1 in).
// One is 0.01 mm or 0.0005 in. Source: the open protocol decoder "caliper" of the
// sigrok project. Bits 21 and 22 have no known use; set, they are taken as noise.
const (
	wordLen  = 6
	wordMax  = 1<<20 - 1
	wordSign = 1 << 20
	wordInch = 1 << 23

	wordStepMM   = 10_000 * crimp.Nanometre
	wordStepInch = 12_700 * crimp.Nanometre
)

func (d *Decoder) word(b []byte, r *Reading) error {
	if hex, _ := shape(b); !hex {
		return explain(b, errNoNumber)
	}
	if len(b) != wordLen {
		return Refusal("not 6 digits: the frame is cut off or two ran together")
	}
	w := uint32(0)
	for _, c := range b {
		v, _ := nibble(c)
		w = w<<4 | uint32(v)
	}
	if w == 1<<24-1 {
		return Refusal("all bits are one: the caliper is off, its cable is out or its battery is empty")
	}
	if w&(3<<21) != 0 {
		return Refusal("bits 21 and 22 are not zero: noise, or not this format")
	}
	s, unit := wordStepMM, crimp.Millimetres
	if w&wordInch != 0 {
		s, unit = wordStepInch, crimp.Inches
	}
	return r.set(int64(w&wordMax), w&wordSign != 0, s, unit, Word24)
}
