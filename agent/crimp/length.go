package crimp

import (
	"errors"
	"fmt"
	"math"
	"strconv"
	"strings"
)

// Length is a length in nanometres. One thousandth of an inch is 25,400 nm and
// 0.01 mm is 10,000 nm, so both systems of the trade are exact
// (1 in = 25.4 mm exactly: ISO 80000-3, from memory).
type Length int64

// Units of length.
const (
	Nanometre  Length = 1
	Micrometre Length = 1_000
	Millimetre Length = 1_000_000
	Inch       Length = 25_400_000
	Thousandth Length = 25_400 // of an inch
)

// maxLength bounds what is parsed: 1 km, far beyond any hose and far from overflow.
const maxLength = 1_000_000 * Millimetre

// Unit is the unit in which a length is written, "in" or "mm".
type Unit string

// The units in which lengths are written.
const (
	Inches      Unit = "in"
	Millimetres Unit = "mm"
)

// ParseUnit reads "in" or "mm".
func ParseUnit(s string) (Unit, error) {
	switch u := Unit(s); u {
	case Inches, Millimetres:
		return u, nil
	default:
		return "", fmt.Errorf(`unit %q: want "in" or "mm"`, s)
	}
}

// Size is one unit as a length.
func (u Unit) Size() Length {
	if u == Inches {
		return Inch
	}
	return Millimetre
}

// ParseLength reads a number with its unit, such as "1.204in", "30.58 mm" or
// "-0.01mm". The value must be a whole number of nanometres.
func ParseLength(s string) (Length, error) {
	text := strings.TrimSpace(s)
	for _, u := range []Unit{Inches, Millimetres} {
		if number, ok := strings.CutSuffix(text, string(u)); ok {
			l, err := ParseDecimal(strings.TrimSpace(number), u)
			if err != nil {
				return 0, fmt.Errorf("length %q: %w", s, err)
			}
			return l, nil
		}
	}
	if text == "" {
		return 0, errors.New(`empty length: write a number with its unit, such as "1.204in" or "30.58mm"`)
	}
	return 0, fmt.Errorf(`length %q has no unit: write "in" or "mm" behind the number`, s)
}

// ParseDecimal reads a plain decimal number (optional sign, digits, one
// optional point) in the unit u. Exponents, blanks, infinities and values that
// are no whole number of nanometres are refused.
func ParseDecimal(s string, u Unit) (Length, error) {
	digits := s
	negative := false
	if digits != "" && (digits[0] == '+' || digits[0] == '-') {
		negative = digits[0] == '-'
		digits = digits[1:]
	}
	var n int64
	seen, decimals, point := 0, 0, false
	for _, c := range []byte(digits) {
		switch {
		case c >= '0' && c <= '9':
			if n > (math.MaxInt64-9)/10 {
				return 0, errors.New("too many digits")
			}
			n = n*10 + int64(c-'0')
			seen++
			if point {
				decimals++
			}
		case c == '.' && !point:
			point = true
		default:
			return 0, fmt.Errorf("%q is not a plain decimal number", s)
		}
	}
	if seen == 0 {
		return 0, fmt.Errorf("%q is not a plain decimal number", s)
	}
	// Trailing zeros carry no value and only bring overflow nearer.
	for decimals > 0 && n%10 == 0 {
		n /= 10
		decimals--
	}
	scale, ten := int64(u.Size()), int64(1)
	for range decimals {
		if scale%10 == 0 {
			scale /= 10
		} else if ten *= 10; ten > 10 {
			return 0, errors.New("finer than a nanometre")
		}
	}
	if n > int64(maxLength)/scale*ten {
		return 0, errors.New("longer than a kilometre")
	}
	if n*scale%ten != 0 {
		return 0, errors.New("not a whole number of nanometres")
	}
	l := Length(n * scale / ten)
	if negative {
		l = -l
	}
	return l, nil
}

// MM is the length in millimetres, for statistics and pictures only.
func (l Length) MM() float64 { return float64(l) / float64(Millimetre) }

// Abs is the length without its sign.
func (l Length) Abs() Length {
	if l < 0 {
		return -l
	}
	return l
}

// AppendMM appends the length in millimetres as an exact decimal number without
// superfluous zeros, as the records' keys ending in _mm carry it.
func (l Length) AppendMM(b []byte) []byte {
	u := uint64(l)
	if l < 0 {
		b = append(b, '-')
		u = -u
	}
	b = strconv.AppendUint(b, u/uint64(Millimetre), 10)
	fraction := u % uint64(Millimetre)
	if fraction == 0 {
		return b
	}
	b = append(b, ".000000"...)
	end := len(b)
	for ; fraction%10 == 0; fraction /= 10 {
		end--
	}
	for i := end - 1; fraction != 0; fraction /= 10 {
		b[i] += byte(fraction % 10)
		i--
	}
	return b[:end]
}

// MarshalJSON writes the exact number of millimetres.
func (l Length) MarshalJSON() ([]byte, error) { return l.AppendMM(nil), nil }

// UnmarshalJSON reads an exact number of millimetres.
func (l *Length) UnmarshalJSON(b []byte) error {
	v, err := ParseDecimal(string(b), Millimetres)
	if err != nil {
		return fmt.Errorf("millimetres: %w", err)
	}
	*l = v
	return nil
}

// Text writes the length for people: with the unit, rounded half away from
// zero to the given number of decimals.
func (l Length) Text(u Unit, decimals int) string {
	step := int64(u.Size())
	ten := int64(1)
	for range decimals {
		ten *= 10
	}
	n := roundDiv(int64(l)*ten, step)
	sign := ""
	if n < 0 {
		sign, n = "-", -n
	}
	if decimals == 0 {
		return fmt.Sprintf("%s%d %s", sign, n, u)
	}
	return fmt.Sprintf("%s%d.%0*d %s", sign, n/ten, decimals, n%ten, u)
}

// String writes the length in exact millimetres, such as "30.58mm".
func (l Length) String() string { return string(append(l.AppendMM(nil), "mm"...)) }

// Nearest is a number of nanometres as a length.
func Nearest(nm float64) Length { return Length(math.Round(nm)) }

// roundDiv is a/b rounded to the nearest whole number, halves away from zero; b > 0.
func roundDiv(a, b int64) int64 {
	if a < 0 {
		return -((-a + b/2) / b)
	}
	return (a + b/2) / b
}
