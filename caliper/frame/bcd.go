package frame

import "benchtally/agent/crimp"

// Thirteen digits of four bits, written by the cable's converter as hexadecimal
// digits: FFFF, sign (0 or 8), six decimal digits, the number of decimals
// (0 to 5), unit (0 mm, 1 in). Source: two public manuals of instruments with
// this output. One family uses 2 to 7 in the last digit for a judgement; that is
// refused because the judgement is not ours to lose.
const bcdLen = 13

func (d *Decoder) bcd(b []byte, r *Reading) error {
	if hex, _ := shape(b); !hex {
		return explain(b, errNoNumber)
	}
	if len(b) != bcdLen {
		return Refusal("not 13 digits: the frame is cut off or two ran together")
	}
	var v [bcdLen]byte
	ones := true
	for i, c := range b {
		v[i], _ = nibble(c)
		ones = ones && v[i] == 0xF
	}
	if ones {
		return Refusal("all bits are one: the caliper is off, its cable is out or its battery is empty")
	}
	if v[0]&v[1]&v[2]&v[3] != 0xF {
		return Refusal("does not start with FFFF: bits were lost")
	}
	if v[4] != 0 && v[4] != 8 {
		return Refusal("the sign is neither 0 nor 8: bits were lost")
	}
	n := int64(0)
	for _, digit := range v[5:11] {
		if digit > 9 {
			return Refusal("a digit above 9: bits were lost")
		}
		n = n*10 + int64(digit)
	}
	if v[11] > 5 {
		return Refusal("more than 5 decimals: bits were lost")
	}
	unit := crimp.Millimetres
	switch v[12] {
	case 0:
	case 1:
		unit = crimp.Inches
	default:
		return Refusal("the unit is neither 0 (mm) nor 1 (in): a judgement sent along is not read")
	}
	return r.set(n, v[4] == 8, step(unit, int(v[11])), unit, BCD13)
}

// nibble is the value of a hexadecimal digit.
func nibble(c byte) (byte, bool) {
	if d := c - '0'; d <= 9 {
		return d, true
	}
	if d := c | 0x20 - 'a'; d <= 5 {
		return d + 10, true
	}
	return 0, false
}
