// Package frame turns the bytes of one caliper frame into an exact length.
//
// It is pure: it reads nothing, waits for nothing and never panics, whatever
// the bytes. A frame is either a reading or refused with a reason; nothing is
// guessed and nothing is rounded.
package frame

import (
	"fmt"
	"slices"
	"strings"

	"benchtally/agent/crimp"
)

// The formats. Auto accepts every line that cannot be mistaken for another
// format and names what it found.
const (
	Auto        = "auto"
	Decimal     = "decimal"      // +1.2040      unit from the configuration
	DecimalUnit = "decimal-unit" // +1.2040 ,IN  unit in the frame
	Tagged      = "tagged"       // 01A+00012.345 channel, status, value: interface boxes
	BCD13       = "bcd-13"       // FFFF801234530 thirteen hexadecimal digits
	Word24      = "word-24"      // 0009EC       six hexadecimal digits
)

// MaxLen is the most bytes that a frame may have without its terminator.
const MaxLen = 64

// maxValue bounds readings: no caliper measures ten metres (own limit).
const maxValue = 10_000 * crimp.Millimetre

// limit is the first number of more than eight significant digits (own limit:
// 0.00001 in up to 999 in; more means that frames ran together).
const limit = 100_000_000

// Names lists the formats that a configuration may name.
func Names() []string {
	return []string{Auto, Decimal, DecimalUnit, Tagged, BCD13, Word24}
}

// Reading is what one frame says.
type Reading struct {
	Value      crimp.Length
	Step       crimp.Length // one in the last digit sent
	Unit       crimp.Unit   // as sent, or as configured where the format sends none
	Format     string       // never Auto
	LowBattery bool         // the frame carries a mark for it; the value still counts
}

// Refusal is why a frame is no reading, in words for the person at the bench.
type Refusal string

// Error is the reason.
func (r Refusal) Error() string { return string(r) }

// Two kinds of frame are no reading and no mistake either. Decode returns
// these values as they are, not wrapped.
const (
	// ErrBattery: the frame says that the battery is low and nothing else.
	ErrBattery Refusal = "the caliper says that its battery is low"
	// ErrIdentification: the line with which an instrument names itself when it
	// is switched on. There is nothing to do about it.
	ErrIdentification Refusal = "the instrument names itself, this is no measurement"
)

// Decoder decodes the frames of one format. The zero value refuses every frame;
// make one with New.
type Decoder struct {
	kind kind
	unit crimp.Unit
}

// kind is the place of a format in Names, counted from 1.
type kind uint8

const (
	kindAuto kind = iota + 1
	kindDecimal
	kindDecimalUnit
	kindTagged
	kindBCD13
	kindWord24
)

// New makes a decoder. The unit is that of frames that carry none; with an
// empty unit such frames are refused. An unknown name gives an error that lists
// the known ones.
func New(format string, unit crimp.Unit) (Decoder, error) {
	k := kind(slices.Index(Names(), format) + 1)
	if k == 0 {
		return Decoder{}, fmt.Errorf("caliper format %q is not known: want one of %s", format, strings.Join(Names(), ", "))
	}
	switch unit {
	case crimp.Inches, crimp.Millimetres, "":
	default:
		return Decoder{}, fmt.Errorf(`caliper unit %q: want "in" or "mm"`, unit)
	}
	return Decoder{k, unit}, nil
}

// Size is the fixed number of bytes of a frame, 0 for formats without one.
func (d Decoder) Size() int {
	switch d.kind {
	case kindBCD13:
		return bcdLen
	case kindWord24:
		return wordLen
	case kindAuto, kindDecimal, kindDecimalUnit, kindTagged:
	}
	return 0
}

// Decode reads one frame, with or without its terminator. An error is always a
// Refusal, and the reading is then empty. The frame is not kept. A reading costs
// no allocation.
func (d Decoder) Decode(b []byte) (r Reading, err error) {
	b = trim(b)
	if len(b) > MaxLen {
		return r, errTooLong
	}
	switch d.kind {
	case kindAuto:
		err = d.auto(b, &r)
	case kindDecimal, kindDecimalUnit:
		err = d.decimal(b, &r)
	case kindTagged:
		err = d.tagged(b, &r)
	case kindBCD13:
		err = d.bcd(b, &r)
	case kindWord24:
		err = d.word(b, &r)
	default:
		err = Refusal("no format is set")
	}
	if err != nil {
		return Reading{}, err
	}
	return r, nil
}

// auto finds the format by the shape of the line. A plain run of digits has the
// shape of several and is refused.
func (d *Decoder) auto(b []byte, r *Reading) error {
	n, end, err := scan(b)
	if err == nil && (end < len(b) || n.signed || n.pointed) {
		if _, err = d.finish(n, b[end:], r); err == nil {
			return nil
		}
	}
	hex, digits := shape(b)
	switch {
	case digits:
		return Refusal("digits without a sign or a decimal point may mean several things: name the caliper's format in the configuration")
	case hex && len(b) == bcdLen:
		return d.bcd(b, r)
	case hex && len(b) == wordLen:
		return d.word(b, r)
	case looksTagged(b):
		return d.tagged(b, r)
	case hex:
		err = Refusal("hexadecimal digits, but neither 6 nor 13 of them: the frame is cut off, or two ran together")
	case err == nil:
		err = errNoNumber
	}
	return explain(b, err)
}

// shape tells whether b is all hexadecimal digits and whether all decimal digits.
func shape(b []byte) (hex, decimal bool) {
	hex, decimal = len(b) > 0, len(b) > 0
	for _, c := range b {
		if c-'0' > 9 {
			decimal = false
			if _, ok := nibble(c); !ok {
				return false, false
			}
		}
	}
	return hex, decimal
}

// trim takes terminators from the end, then blanks from both ends.
func trim(b []byte) []byte {
	for len(b) > 0 && (b[len(b)-1] == '\r' || b[len(b)-1] == '\n') {
		b = b[:len(b)-1]
	}
	for len(b) > 0 && b[len(b)-1] == ' ' {
		b = b[:len(b)-1]
	}
	for len(b) > 0 && b[0] == ' ' {
		b = b[1:]
	}
	return b
}

// set fills in a reading of n steps after checking its size.
func (r *Reading) set(n int64, negative bool, step crimp.Length, unit crimp.Unit, format string) error {
	value := crimp.Length(n) * step
	if value > maxValue {
		return errTooFar
	}
	if negative {
		value = -value
	}
	r.Value, r.Step, r.Unit, r.Format = value, step, unit, format
	return nil
}
