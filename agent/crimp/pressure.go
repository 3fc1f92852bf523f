package crimp

import (
	"errors"
	"fmt"
	"math"
	"strconv"
	"strings"
)

// Pressure is a gauge pressure in pascals. Bars and megapascals are whole
// pascals; pounds per square inch are rounded to the nearest.
type Pressure int64

// Units of pressure. One psi is the force of one pound, 4.4482216152605 N, on a
// square inch (NIST SP 811, from memory).
const (
	Kilopascal Pressure = 1_000
	Bar        Pressure = 100_000
	Megapascal Pressure = 1_000_000
)

const psi = 4.4482216152605 / (0.0254 * 0.0254) // pascals

// mostPressure bounds what is parsed: 1,000 MPa, beyond any hose.
const mostPressure = 1_000 * Megapascal

// ParsePressure reads a number with its unit, such as "35MPa", "350 bar",
// "5000psi" or "35000kPa": more than nothing, up to 1,000 MPa.
func ParsePressure(s string) (Pressure, error) {
	text := strings.TrimSpace(s)
	if text == "" {
		return 0, errors.New(`empty pressure: write a number with its unit, such as "350bar" or "5000psi"`)
	}
	for _, u := range []struct {
		name string
		size float64
	}{{"MPa", float64(Megapascal)}, {"kPa", float64(Kilopascal)}, {"bar", float64(Bar)}, {"psi", psi}} {
		number, ok := strings.CutSuffix(text, u.name)
		if !ok {
			continue
		}
		number = strings.TrimSpace(number)
		v, err := strconv.ParseFloat(number, 64)
		if err != nil || strings.Trim(number, "0123456789.") != "" {
			return 0, fmt.Errorf("pressure %q: %q is not a plain decimal number", s, number)
		}
		p := v * u.size
		if p < 1 || p > float64(mostPressure) {
			return 0, fmt.Errorf("pressure %q: want more than nothing and at most 1000MPa", s)
		}
		return Pressure(math.Round(p)), nil
	}
	return 0, fmt.Errorf(`pressure %q has no unit: write "bar", "MPa", "kPa" or "psi" behind the number`, s)
}

// Bars is the pressure in bar.
func (p Pressure) Bars() float64 { return float64(p) / float64(Bar) }

// PSI is the pressure in pounds per square inch.
func (p Pressure) PSI() float64 { return float64(p) / psi }

// String writes the pressure in bar to a tenth, with psi beside it.
func (p Pressure) String() string {
	return strconv.FormatFloat(math.Round(p.Bars()*10)/10, 'f', -1, 64) + " bar (" +
		strconv.FormatFloat(math.Round(p.PSI()), 'f', -1, 64) + " psi)"
}
