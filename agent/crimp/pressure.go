package crimp

import (
	"errors"
	"fmt"
	"math"
	"strconv"
	"strings"
	"unicode"
)

// Pressure is a gauge pressure in pascals. What is written in bar or megapascals
// is nearly always whole pascals; pounds per square inch are rounded to the
// nearest.
type Pressure int64

// Units of pressure. One psi is the force of one pound, 4.4482216152605 N, on a
// square inch, 6894.757 Pa (NIST SP 811, B.8; from memory, and seen second-hand).
const (
	Kilopascal Pressure = 1_000
	Bar        Pressure = 100_000
	Megapascal Pressure = 1_000_000
)

const psi = 4.4482216152605 / (0.0254 * 0.0254) // pascals

// MostPressure bounds what is parsed: 1,000 MPa, beyond any hose.
const MostPressure = 1_000 * Megapascal

// PressureUnit is a unit in which a pressure is written.
type PressureUnit string

// The units in which pressures are written.
const (
	InBar         PressureUnit = "bar"
	InMegapascals PressureUnit = "MPa"
	InKilopascals PressureUnit = "kPa"
	InPSI         PressureUnit = "psi"
)

// PressureUnits are all units in which pressures are written.
func PressureUnits() []PressureUnit {
	return []PressureUnit{InBar, InMegapascals, InKilopascals, InPSI}
}

// ParsePressureUnit reads "bar", "MPa", "kPa" or "psi". Of bar and psi the case
// does not matter; of the others it does, since mPa is a thousandth of a pascal.
func ParsePressureUnit(s string) (PressureUnit, error) {
	for _, u := range PressureUnits() {
		if s == string(u) || (u == InBar || u == InPSI) && strings.EqualFold(s, string(u)) {
			return u, nil
		}
	}
	return "", fmt.Errorf(`unit %q: want "bar", "MPa", "kPa" or "psi"`, s)
}

// pascals is one unit, and decimals are as many as tell people enough: all but
// psi, which is finer, to some ten kilopascals or less.
func (u PressureUnit) pascals() (size float64, decimals int) {
	switch u {
	case InBar:
		return float64(Bar), 1
	case InMegapascals:
		return float64(Megapascal), 2
	case InKilopascals:
		return float64(Kilopascal), 0
	case InPSI:
		return psi, 0
	}
	return 1, 0
}

// ParsePressure reads a number with its unit, such as "35MPa", "350 bar",
// "5000psi" or "35000kPa": from one pascal to 1,000 MPa, to the nearest pascal.
func ParsePressure(s string) (Pressure, error) {
	text := strings.TrimSpace(s)
	if text == "" {
		return 0, errors.New(`empty pressure: write a number with its unit, such as "350bar" or "5000psi"`)
	}
	at := strings.IndexFunc(text, unicode.IsLetter)
	if at < 0 {
		return 0, fmt.Errorf(`pressure %q has no unit: write "bar", "MPa", "kPa" or "psi" behind the number`, s)
	}
	number := strings.TrimSpace(text[:at])
	u, err := ParsePressureUnit(text[at:])
	if err != nil {
		return 0, fmt.Errorf("pressure %q: %w", s, err)
	}
	v, err := strconv.ParseFloat(number, 64)
	if strings.Trim(number, "0123456789.") != "" || err != nil && !errors.Is(err, strconv.ErrRange) {
		return 0, fmt.Errorf("pressure %q: %q is not a plain decimal number", s, number)
	}
	size, _ := u.pascals()
	p := math.Round(v * size)
	if p < 1 || p > float64(MostPressure) {
		return 0, fmt.Errorf("pressure %q: want more than nothing and at most 1000MPa", s)
	}
	return Pressure(p), nil
}

// Bars is the pressure in bar.
func (p Pressure) Bars() float64 { return p.in(InBar) }

// PSI is the pressure in pounds per square inch.
func (p Pressure) PSI() float64 { return p.in(InPSI) }

func (p Pressure) in(u PressureUnit) float64 {
	size, _ := u.pascals()
	return float64(p) / size
}

// Unit is the unit in which the pressure was most likely typed: psi where it is a
// whole number of them and not of tenths of a bar, else bar.
func (p Pressure) Unit() PressureUnit {
	if p%(Bar/10) != 0 && p == Pressure(math.Round(math.Round(p.PSI())*psi)) {
		return InPSI
	}
	return InBar
}

// Text writes the pressure for people in a unit, such as "350 bar", "34.5 MPa",
// "34474 kPa" or "5000 psi": bar to a tenth, megapascals to a hundredth, the
// others to whole ones.
func (p Pressure) Text(u PressureUnit) string {
	_, decimals := u.pascals()
	return p.text(u, decimals)
}

func (p Pressure) text(u PressureUnit, decimals int) string {
	ten := math.Pow10(decimals)
	return strconv.FormatFloat(math.Round(p.in(u)*ten)/ten, 'f', -1, 64) + " " + string(u)
}

// apart writes two pressures with as many decimals as show that they differ; six
// show a pascal in any unit.
func apart(p, q Pressure, u PressureUnit) (one, other string) {
	for _, decimals := u.pascals(); decimals <= 6; decimals++ {
		if one, other = p.text(u, decimals), q.text(u, decimals); one != other {
			break
		}
	}
	return one, other
}

// String writes the pressure in bar with psi beside it: "350 bar (5076 psi)".
func (p Pressure) String() string { return p.Text(InBar) + " (" + p.Text(InPSI) + ")" }
