package frame

import (
	"fmt"

	"benchtally/agent/crimp"
)

// Encode writes a value as a caliper sends it, with CR LF at the end. The number
// of decimals is the usual one (two in millimetres, four in inches) or the next
// that holds the value exactly; a value that the format cannot hold exactly is
// an error. Decode gives the same value and unit back.
func Encode(format string, value crimp.Length, unit crimp.Unit) ([]byte, error) {
	if unit != crimp.Inches && unit != crimp.Millimetres {
		return nil, fmt.Errorf(`encode %s: unit %q: want "in" or "mm"`, value, unit)
	}
	if value > maxValue || value < -maxValue {
		return nil, fmt.Errorf("encode %s: %w", value, errTooFar)
	}
	switch format {
	case Decimal, DecimalUnit, Tagged:
		return encodeDecimal(format, value, unit)
	case BCD13:
		return encodeBCD(value, unit)
	case Word24:
		return encodeWord(value, unit)
	default:
		return nil, fmt.Errorf("encode %s: %q is no format of a frame", value, format)
	}
}

// places are the numbers of decimals in the order of preference.
func places(u crimp.Unit) []int {
	if u == crimp.Inches {
		return []int{4, 5, 3, 2, 1, 0}
	}
	return []int{2, 3, 4, 5, 6, 1, 0}
}

// split finds the decimals with which value is a whole number up to most.
func split(value crimp.Length, unit crimp.Unit, most int64) (n int64, decimals int, err error) {
	for _, d := range places(unit) {
		s := step(unit, d)
		if n := int64(value.Abs() / s); value%s == 0 && n <= most {
			return n, d, nil
		}
	}
	return 0, 0, fmt.Errorf("encode %s: not exact in the digits that the format has in %s", value, unit)
}

func encodeDecimal(format string, value crimp.Length, unit crimp.Unit) ([]byte, error) {
	n, decimals, err := split(value, unit, 99_999_999)
	if err != nil {
		return nil, err
	}
	pow := int64(1)
	for range decimals {
		pow *= 10
	}
	out, width := make([]byte, 0, 24), 1 // at least one digit in front of the point
	if format == Tagged {
		out, width = append(out, "01A"...), 5
	}
	sign := '+'
	if value < 0 {
		sign = '-'
	}
	out = fmt.Appendf(out, "%c%0*d", sign, width, n/pow)
	if decimals > 0 {
		out = fmt.Appendf(out, ".%0*d", decimals, n%pow)
	}
	if format == DecimalUnit {
		if unit == crimp.Inches {
			out = append(out, " IN"...)
		} else {
			out = append(out, " MM"...)
		}
	}
	return append(out, '\r', '\n'), nil
}

func encodeBCD(value crimp.Length, unit crimp.Unit) ([]byte, error) {
	n, decimals, err := split(value, unit, 999_999)
	if err != nil {
		return nil, err
	}
	if decimals > 5 {
		return nil, fmt.Errorf("encode %s: the format has five decimals", value)
	}
	sign, last := '0', '0'
	if value < 0 {
		sign = '8'
	}
	if unit == crimp.Inches {
		last = '1'
	}
	return fmt.Appendf(nil, "FFFF%c%06d%d%c\r\n", sign, n, decimals, last), nil
}

func encodeWord(value crimp.Length, unit crimp.Unit) ([]byte, error) {
	s, w := wordStepMM, uint32(0)
	if unit == crimp.Inches {
		s, w = wordStepInch, wordInch
	}
	n := value.Abs() / s
	if value%s != 0 || n > wordMax {
		return nil, fmt.Errorf("encode %s: not a whole number of %s", value, s)
	}
	if value < 0 {
		w |= wordSign
	}
	return fmt.Appendf(nil, "%06X\r\n", w|uint32(n)), nil
}
