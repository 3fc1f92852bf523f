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
	errDecimals Refusal = "more decimals than a nanometre has: not the caliper's format"
	errNoUnit   Refusal = "no unit in the frame, and none is configured: set the caliper's unit"
)

// steps are the values of one in the last digit, by the number of decimals. Zero
// stands for steps that are no whole number of nanometres.
var (
	stepsMM   = [8]crimp.Length{1_000_000, 100_000, 10_000, 1_000, 100, 10, 1}
	stepsInch = [8]crimp.Length{25_400_000, 2_540_000, 254_000, 25_400, 2_540, 254}
)

// step is one in the last of so many decimals, zero when that is no whole number
// of nanometres.
func step(u crimp.Unit, decimals int) crimp.Length {
	decimals = min(decimals, len(stepsMM)-1)
	if u == crimp.Inches {
		return stepsInch[decimals]
	}
	return stepsMM[decimals]
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
// without one is a separator. The number ends before b[end].
func scan(b []byte) (n number, end int, err error) {
	i := 0
	if len(b) > 0 && (b[0] == '+' || b[0] == '-') {
		n.signed, n.negative = true, b[0] == '-'
		for i = 1; i < len(b) && b[i] == ' '; i++ {
		}
	}
	start, point, digits := i, -1, uint64(0)
	for ; i < len(b); i++ {
		c := b[i]
		if d := c - '0'; d <= 9 {
			if digits = digits*10 + uint64(d); digits >= limit {
				return n, 0, errDigits
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
		if point >= 0 {
			return n, 0, errPoints
		}
		if !follows {
			return n, 0, errCut
		}
		point = i
	}
	if i == start {
		return n, 0, errNoNumber
	}
	n.digits = int64(digits)
	if point >= 0 {
		n.pointed, n.decimals = true, i-point-1
	}
	return n, i, nil
}

// decimal decodes a number with or without its unit.
func (d *Decoder) decimal(b []byte, r *Reading) error {
	n, end, err := scan(b)
	sent := false
	if err == nil {
		sent, err = d.finish(n, b[end:], r)
	}
	switch {
	case err != nil:
		return explain(b, err)
	case sent == (d.kind == kindDecimalUnit):
		return nil
	case sent:
		return Refusal("the frame carries a unit: set the format decimal-unit, or auto")
	default:
		return Refusal("no unit in the frame: set the format decimal, or auto")
	}
}

// finish reads what follows the number, a unit or the mark of a low battery, and
// says whether the unit was sent.
func (d *Decoder) finish(n number, rest []byte, r *Reading) (sent bool, err error) {
	unit, format := d.unit, Decimal
	if len(rest) > 0 {
		word, after := token(rest)
		if u, ok := unitOf(word); ok {
			unit, format, rest, sent = u, DecimalUnit, after, true
		}
	}
	if len(rest) > 0 {
		word, after := token(rest)
		if !batteryMark(word) || len(after) > 0 {
			return sent, Refusal("something other than a unit follows the number")
		}
		r.LowBattery = true
	}
	if unit == "" {
		return sent, errNoUnit
	}
	s := step(unit, n.decimals)
	if s == 0 {
		return sent, errDecimals
	}
	return sent, r.set(n.digits, n.negative, s, unit, format)
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
