package frame

import "benchtally/agent/crimp"

// Reasons that several formats share.
const (
	errTooLong  Refusal = "longer than 64 bytes: the line end is missing, or baud rate and format are not the caliper's"
	errTooFar   Refusal = "more than ten metres: no caliper measures that"
	errDigits   Refusal = "more than 8 digits: frames ran together, or this is not the caliper's format"
	errPoints   Refusal = "two decimal signs: a thousands separator is not read, and frames may have run together"
	errCut      Refusal = "nothing behind the decimal sign: the frame is cut off"
	errNoNumber Refusal = "no number in a form that the format has"
	errNoUnit   Refusal = "no unit in the frame, and none is configured: set the caliper's unit"
)

// steps are the values of one in the last digit, by the number of decimals.
// Finer steps are no whole number of nanometres.
var (
	stepsMM   = [...]crimp.Length{1_000_000, 100_000, 10_000, 1_000, 100, 10, 1}
	stepsInch = [...]crimp.Length{25_400_000, 2_540_000, 254_000, 25_400, 2_540, 254}
)

// step is one in the last of so many decimals; false when that is no whole
// number of nanometres.
func step(u crimp.Unit, decimals int) (crimp.Length, bool) {
	steps := stepsMM[:]
	if u == crimp.Inches {
		steps = stepsInch[:]
	}
	if uint(decimals) >= uint(len(steps)) {
		return 0, false
	}
	return steps[decimals], true
}

// number is a decimal number as sent.
type number struct {
	digits   int64 // all digits as one whole number
	decimals int   // how many of them stand behind the decimal sign
	signed   bool
	negative bool
	pointed  bool
}

// scan reads a number at the start of b: an optional sign with blanks behind
// it, digits, and one point or comma that has a digit behind it. A comma
// without one is a separator and stays in the rest.
func scan(b []byte) (n number, rest []byte, err error) {
	i := 0
	if len(b) > 0 && (b[0] == '+' || b[0] == '-') {
		n.signed, n.negative = true, b[0] == '-'
		for i = 1; i < len(b) && b[i] == ' '; i++ {
		}
	}
	seen, significant := 0, 0
	for ; i < len(b); i++ {
		c := b[i]
		if d := c - '0'; d <= 9 {
			seen++
			if significant > 0 || d > 0 {
				if significant++; significant > maxDigits {
					return n, nil, errDigits
				}
			}
			n.digits = n.digits*10 + int64(d)
			if n.pointed {
				n.decimals++
			}
			continue
		}
		if c != '.' && c != ',' {
			break
		}
		follows := i+1 < len(b) && b[i+1]-'0' <= 9
		if c == ',' && !follows {
			break
		}
		if n.pointed {
			return n, nil, errPoints
		}
		if !follows {
			return n, nil, errCut
		}
		n.pointed = true
	}
	if seen == 0 {
		return n, nil, errNoNumber
	}
	return n, b[i:], nil
}

// decimal decodes a number with or without its unit.
func (d Decoder) decimal(b []byte) (Reading, error) {
	n, rest, err := scan(b)
	if err == nil {
		var r Reading
		if r, err = d.finish(n, rest); err == nil {
			switch {
			case d.format == r.Format:
				return r, nil
			case d.format == Decimal:
				return Reading{}, Refusal("the frame carries a unit: set the format decimal-unit, or auto")
			default:
				return Reading{}, Refusal("no unit in the frame: set the format decimal, or auto")
			}
		}
	}
	return Reading{}, explain(b, err)
}

// finish reads what follows the number, a unit or the mark of a low battery.
func (d Decoder) finish(n number, rest []byte) (Reading, error) {
	unit, format, low := d.unit, Decimal, false
	if len(rest) > 0 {
		word, after := token(rest)
		if u, ok := unitOf(word); ok {
			unit, format = u, DecimalUnit
			if len(after) > 0 {
				word, after = token(after)
				low = true
			}
		} else {
			low = true
		}
		if low && (!batteryMark(word) || len(after) > 0) {
			return Reading{}, Refusal("something other than a unit follows the number")
		}
	}
	if unit == "" {
		return Reading{}, errNoUnit
	}
	s, ok := step(unit, n.decimals)
	if !ok {
		return Reading{}, Refusal("more decimals than a nanometre has: not the caliper's format")
	}
	r, err := reading(n.digits, n.negative, s, unit, format)
	r.LowBattery = low
	return r, err
}

// token takes the next word of b behind blanks and at most one comma or semicolon.
func token(b []byte) (word, rest []byte) {
	i := 0
	for ; i < len(b) && b[i] == ' '; i++ {
	}
	if i < len(b) && (b[i] == ',' || b[i] == ';') {
		for i++; i < len(b) && b[i] == ' '; i++ {
		}
	}
	from := i
	for ; i < len(b) && b[i] != ' ' && b[i] != ',' && b[i] != ';'; i++ {
	}
	return b[from:i], b[i:]
}

// unitOf reads in, mm (any case) or the inch mark.
func unitOf(word []byte) (crimp.Unit, bool) {
	switch len(word) {
	case 1:
		return crimp.Inches, word[0] == '"'
	case 2:
		switch a, b := word[0]|0x20, word[1]|0x20; {
		case a == 'i' && b == 'n':
			return crimp.Inches, true
		case a == 'm' && b == 'm':
			return crimp.Millimetres, true
		}
	}
	return "", false
}
