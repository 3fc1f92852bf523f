package frame

import (
	"bytes"
	"fmt"
)

// explain finds the most telling reason why b is no reading: bytes that no
// frame has, what the instrument said instead, else the reason given.
//
// A line is taken as an identification when its first word starts with two
// letters and holds a digit, and the line has neither sign nor decimal sign: a
// model and its options. Anything that could be an unknown form of reading is
// refused instead, because a reading must not vanish without a word.
func explain(b []byte, otherwise error) error {
	for _, c := range b {
		switch {
		case c == 0:
			return Refusal("a zero byte: a parity error or a disturbed line; check cable, parity and baud rate")
		case c >= 0x80:
			return Refusal(fmt.Sprintf("byte %#02x is no text: check baud rate, data bits and parity", c))
		case c < ' ' || c == 0x7F:
			return Refusal(fmt.Sprintf("control character %#02x in the frame: a disturbed line, or not the caliper's baud rate", c))
		}
	}
	if len(b) == 0 {
		return Refusal("an empty frame")
	}
	upper := bytes.ToUpper(b)
	if meaning, ok := instrumentError(upper); ok {
		return Refusal(fmt.Sprintf("the instrument reports %s: %s", upper, meaning))
	}
	if batteryLine(upper) {
		return ErrBattery
	}
	if identification(upper) {
		return ErrIdentification
	}
	if exponent(upper) {
		return Refusal("a number with an exponent is not read")
	}
	return otherwise
}

// instrumentError explains the error lines of column gauges and their cables
// (source: two public manuals).
func instrumentError(b []byte) (string, bool) {
	switch s := string(b); {
	case s == "OR" || s == "ERR3":
		return "the value is out of its range", true
	case s == "ERR0":
		return "a fault of its sensor", true
	case s == "ERR1":
		return "it did not understand a command", true
	case s == "ERR2":
		return "it received a parity error", true
	case bytes.HasPrefix(b, []byte("ERR")):
		return "see its manual", true
	default:
		return "", false
	}
}

// batteryMark tells the word that marks a low battery behind a number (common
// practice, no source).
func batteryMark(word []byte) bool {
	switch string(bytes.ToUpper(word)) {
	case "BAT", "BATT", "LOBAT", "LOWBAT":
		return true
	default:
		return false
	}
}

// batteryLine tells a line that speaks of a low battery only.
func batteryLine(upper []byte) bool {
	battery := false
	for _, word := range bytes.Fields(upper) {
		switch string(word) {
		case "BAT", "BATT", "LOBAT", "LOWBAT", "BATTERY":
			battery = true
		case "LOW", "LO":
		default:
			return false
		}
	}
	return battery
}

func identification(upper []byte) bool {
	if hex, _ := shape(upper); hex || len(upper) < 4 || bytes.ContainsAny(upper, "+-.,") {
		return false
	}
	if bytes.HasPrefix(upper, []byte("FF")) { // a damaged frame of thirteen digits
		return false
	}
	first, _, _ := bytes.Cut(upper, []byte(" "))
	if len(first) < 3 || !letter(first[0]) || !letter(first[1]) {
		return false
	}
	if _, ok := unitOf(first[:2]); ok {
		return false
	}
	return bytes.ContainsAny(first, "0123456789")
}

func letter(c byte) bool { return c >= 'A' && c <= 'Z' }

// exponent tells a number such as 1.2E3.
func exponent(upper []byte) bool {
	_, end, err := scan(upper)
	rest := upper[end:]
	return err == nil && len(rest) > 1 && rest[0] == 'E' &&
		(rest[1]-'0' <= 9 || rest[1] == '+' || rest[1] == '-')
}
