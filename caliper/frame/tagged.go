package frame

import "fmt"

// A tagged line comes from an interface box with several inputs: two digits of
// channel, a status letter, a signed number. A line of error starts with 9 and
// holds digits only. The layout is from memory, no source.

// looksTagged tells a tagged line, or a box's line of error, from other lines.
func looksTagged(b []byte) bool {
	return hasTag(b) || boxError(b)
}

func hasTag(b []byte) bool {
	return len(b) > 4 && b[0]-'0' <= 9 && b[1]-'0' <= 9 && b[2] >= 'A' && b[2] <= 'Z' &&
		(b[3] == '+' || b[3] == '-')
}

// boxError tells a box's line of error: 9, digits, perhaps blanks between.
func boxError(b []byte) bool {
	if len(b) < 2 || b[0] != '9' || b[1]-'0' > 9 {
		return false
	}
	for _, c := range b {
		if c-'0' > 9 && c != ' ' {
			return false
		}
	}
	return true
}

func (d *Decoder) tagged(b []byte, r *Reading) error {
	if !hasTag(b) {
		if boxError(b) {
			return Refusal(fmt.Sprintf("the interface box reports an error: %s", b))
		}
		return explain(b, errNoNumber)
	}
	n, end, err := scan(b[3:])
	switch {
	case err != nil:
		return explain(b, err)
	case end < len(b)-3 || b[4] == ' ':
		return explain(b, errNoNumber)
	case b[2] != 'A':
		return Refusal(fmt.Sprintf("the interface box marks channel %s with the status %c: not a normal value", b[:2], b[2]))
	case d.unit == "":
		return errNoUnit
	}
	s := step(d.unit, n.decimals)
	if s == 0 {
		return errDecimals
	}
	return r.set(n.digits, n.negative, s, d.unit, Tagged)
}
