package crimp

import (
	"errors"
	"fmt"
)

// DashSize is the inner diameter that a dash number names: sixteenths of an inch,
// so that −8 is 1/2 in or 12.7 mm. (Common practice of the trade; what a hose of
// that size really measures is in its standard.)
func DashSize(n int) Length { return Length(n) * (Inch / 16) }

// Scheme is a family of standards by which lengths of assemblies are tolerated.
type Scheme string

// The schemes.
const (
	EN  Scheme = "EN"  // EN 853, 856 and 857, table 3
	SAE Scheme = "SAE" // SAE J517
)

// band is a range of lengths with one tolerance: plus and minus in nanometres,
// or in tenths of a per cent of the length.
type band struct {
	upTo        Length // the length itself is still of this band; 0: all beyond
	plus, minus Length
	perMille    bool
}

// The figures are from memory and no print of a table was seen, but for the
// first band of SAE, which was seen second-hand; that EN 853:2015 has them in
// its table 3 was seen too.
var (
	bandsEN = []band{
		{upTo: 630 * Millimetre, plus: 7 * Millimetre, minus: 3 * Millimetre},
		{upTo: 1250 * Millimetre, plus: 12 * Millimetre, minus: 4 * Millimetre},
		{upTo: 2500 * Millimetre, plus: 20 * Millimetre, minus: 6 * Millimetre},
		{upTo: 8000 * Millimetre, plus: 15, minus: 5, perMille: true},
		{plus: 30, minus: 10, perMille: true},
	}
	bandsSAE = []band{
		{upTo: 12 * Inch, plus: Inch / 8, minus: Inch / 8},
		{upTo: 18 * Inch, plus: Inch / 16 * 3, minus: Inch / 16 * 3},
		{upTo: 36 * Inch, plus: Inch / 4, minus: Inch / 4},
		{plus: 10, minus: 10, perMille: true},
	}
)

// LengthTolerance is how much an assembly of a nominal length may be longer and
// shorter than that, both positive; the limits themselves are within. A length
// on the bound of two bands is of the lower one, which for SAE are 12, 18 and 36
// inches. Per cents are exact to the nanometre and rounded down, so that
// rounding allows nothing. Lengths go up to a kilometre.
//
// The figures are from memory, but for one: the maker's or customer's figure
// goes first, and the standard must be looked up before they decide anything.
func LengthTolerance(scheme Scheme, length Length) (plus, minus Length, err error) {
	var bands []band
	switch scheme {
	case EN:
		bands = bandsEN
	case SAE:
		bands = bandsSAE
	default:
		return 0, 0, fmt.Errorf(`length tolerances by %q: want "EN" or "SAE"`, scheme)
	}
	switch {
	case length <= 0:
		return 0, 0, fmt.Errorf("length of the assembly %s: want more than nothing", length)
	case length > maxLength:
		return 0, 0, errors.New("length of the assembly: longer than a kilometre")
	}
	i := 0
	for bands[i].upTo != 0 && length > bands[i].upTo {
		i++
	}
	b := bands[i]
	if b.perMille {
		return length * b.plus / 1000, length * b.minus / 1000, nil
	}
	return b.plus, b.minus, nil
}
