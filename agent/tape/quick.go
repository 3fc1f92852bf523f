package tape

import (
	"bytes"
	"strconv"
)

// quick reads the two forms that nearly all lines of a tape have, {"t":1.5,"level":0}
// and {"t":5.2,"text":"+1.2040\r\n"}, written without blanks. It says no to
// everything else, and what it takes, parse would read the same (FuzzQuick).
func quick(text []byte) (l Line, seconds float64, ok bool) {
	rest, ok := bytes.CutPrefix(text, []byte(`{"t":`))
	if !ok {
		return l, 0, false
	}
	number, rest, ok := bytes.Cut(rest, []byte(","))
	if !ok || !plainNumber(number) {
		return l, 0, false
	}
	seconds, err := strconv.ParseFloat(string(number), 64)
	if err != nil {
		return l, 0, false
	}
	switch {
	case string(rest) == `"level":0}` || string(rest) == `"level":1}`:
		high := rest[len(`"level":`)] == '1'
		l.Level = &high
		return l, seconds, true
	case bytes.HasPrefix(rest, []byte(`"text":"`)) && bytes.HasSuffix(rest, []byte(`"}`)) && len(rest) >= len(`"text":""}`):
		l.Bytes, ok = plainText(rest[len(`"text":"`) : len(rest)-len(`"}`)])
		return l, seconds, ok
	}
	return l, 0, false
}

// plainNumber says whether b is a JSON number without sign and exponent.
func plainNumber(b []byte) bool {
	whole, fraction, point := bytes.Cut(b, []byte("."))
	if len(whole) == 0 || len(whole) > 1 && whole[0] == '0' || point && len(fraction) == 0 {
		return false
	}
	for _, part := range [][]byte{whole, fraction} {
		for _, c := range part {
			if c < '0' || c > '9' {
				return false
			}
		}
	}
	return true
}

// plainText takes the inside of a JSON string of printable ASCII with no escapes
// but those of a line's end.
func plainText(b []byte) ([]byte, bool) {
	out := make([]byte, 0, len(b))
	for i := 0; i < len(b); i++ {
		c := b[i]
		if c == '\\' && i+1 < len(b) {
			i++
			switch b[i] {
			case 'r':
				c = '\r'
			case 'n':
				c = '\n'
			default:
				return nil, false
			}
		} else if c < ' ' || c > '~' || c == '"' || c == '\\' {
			return nil, false
		}
		out = append(out, c)
	}
	return out, true
}
