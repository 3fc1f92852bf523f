package config

import (
	"fmt"
	"strconv"
	"strings"

	"benchtally/agent/crimp"
)

// column is one column that a specs file may have.
type column struct {
	name     string
	required bool
	want     string // what belongs there, for an empty cell
	set      func(s *crimp.Spec, cell string, scale crimp.Scale) string
}

// Diameters outside these bounds are taken for a mix-up of units: hose ends
// are crimped to some 10 mm to 120 mm (from memory, common practice).
const (
	leastDiameter = 3 * crimp.Millimetre
	mostDiameter  = 150 * crimp.Millimetre
)

// mostDepth bounds skive and insertion.
const mostDepth = 500 * crimp.Millimetre

// columns are all columns, the required ones first.
var columns = []*column{
	{"spec", true, "want an id for this line, such as hs-08", word(func(s *crimp.Spec) *string { return &s.ID })},
	{"cage", true, "want the die cage that the maker's sheet names", word(func(s *crimp.Spec) *string { return &s.Cage })},
	{"diameter", true, `want the crimp diameter with its unit, such as 1.204in`, diameter},
	{"plus", true, "want how far above the diameter is allowed, such as 0.010in", tolerance(func(s *crimp.Spec) *crimp.Length { return &s.Plus })},
	{"minus", true, "want how far below the diameter is allowed, such as 0.010in", tolerance(func(s *crimp.Spec) *crimp.Length { return &s.Minus })},
	{"setting", true, "want the setting that should give the diameter", setting},
	{"hose", false, "", words(func(s *crimp.Spec) *string { return &s.Hose })},
	{"fitting", false, "", words(func(s *crimp.Spec) *string { return &s.Fitting })},
	{"size", false, "", words(func(s *crimp.Spec) *string { return &s.Size })},
	{"recrimps", false, "", count(func(s *crimp.Spec) *int { return &s.Recrimps }, 0, 9)},
	{"skive", false, "", depth(func(s *crimp.Spec) *crimp.Length { return &s.Skive })},
	{"insertion", false, "", depth(func(s *crimp.Spec) *crimp.Length { return &s.Insertion })},
	{"places", false, "", count(func(s *crimp.Spec) *int { return &s.Places }, 1, mostPlaces)},
	{"dies", false, "", count(func(s *crimp.Spec) *int { return &s.Dies }, fewestDies, mostDies)},
	{"revision", false, "", words(func(s *crimp.Spec) *string { return &s.Revision })},
	{"note", false, "", words(func(s *crimp.Spec) *string { return &s.Note })},
}

// columnNamed is the column of this name, nil if there is none.
func columnNamed(name string) *column {
	for _, c := range columns {
		if c.name == name {
			return c
		}
	}
	return nil
}

func columnNames() (names []string) {
	for _, c := range columns {
		names = append(names, c.name)
	}
	return names
}

func required() (names []string) {
	for _, c := range columns {
		if c.required {
			names = append(names, c.name)
		}
	}
	return names
}

// word takes an id: it is scanned, printed and part of longer ids.
func word(at func(*crimp.Spec) *string) func(*crimp.Spec, string, crimp.Scale) string {
	return func(s *crimp.Spec, cell string, _ crimp.Scale) string {
		switch {
		case strings.ContainsAny(cell, " \t\u00a0"):
			return `an id has no blanks: write "-" in their place`
		case strings.Contains(cell, "/"):
			return `an id has no "/": write "-" in its place`
		case !printable(cell, 64):
			return "want at most 64 printable bytes"
		}
		*at(s) = cell
		return ""
	}
}

// words takes free text.
func words(at func(*crimp.Spec) *string) func(*crimp.Spec, string, crimp.Scale) string {
	return func(s *crimp.Spec, cell string, _ crimp.Scale) string {
		if !printable(cell, 200) {
			return "want at most 200 bytes on one line, without control characters"
		}
		*at(s) = cell
		return ""
	}
}

// diameter takes the target of the crimp.
func diameter(s *crimp.Spec, cell string, _ crimp.Scale) string {
	l, wrong := readLength(cell)
	if wrong != "" {
		return wrong
	}
	if plausible(l) {
		s.Diameter, s.Unit = l, crimp.Millimetres
		if strings.HasSuffix(cell, string(crimp.Inches)) {
			s.Unit = crimp.Inches
		}
		return ""
	}
	text := fmt.Sprintf("want %s to %s", leastDiameter, mostDiameter)
	for unit, other := range map[string]string{"mm": "in", "in": "mm"} {
		if number, ok := strings.CutSuffix(cell, unit); ok {
			meant := strings.TrimSpace(number) + other
			if m, err := crimp.ParseLength(meant); err == nil && plausible(m) {
				text += fmt.Sprintf(", did you mean %s?", meant)
			}
		}
	}
	return text
}

func plausible(l crimp.Length) bool { return l >= leastDiameter && l <= mostDiameter }

// tolerance takes an allowance, written without a sign.
func tolerance(at func(*crimp.Spec) *crimp.Length) func(*crimp.Spec, string, crimp.Scale) string {
	return func(s *crimp.Spec, cell string, _ crimp.Scale) string {
		bare := strings.TrimLeft(cell, "+-−± ")
		l, wrong := readLength(bare)
		switch {
		case wrong != "":
			return wrong
		case bare != cell:
			return "write it without a sign: " + bare
		}
		*at(s) = l
		return ""
	}
}

// depth takes a length along the hose; an empty cell says it is not given.
func depth(at func(*crimp.Spec) *crimp.Length) func(*crimp.Spec, string, crimp.Scale) string {
	return func(s *crimp.Spec, cell string, _ crimp.Scale) string {
		l, wrong := readLength(cell)
		switch {
		case wrong != "":
			return wrong
		case l <= 0 || l > mostDepth:
			return fmt.Sprintf("want more than nothing and at most %s, or an empty cell", mostDepth)
		}
		*at(s) = l
		return ""
	}
}

// setting takes what is dialled.
func setting(s *crimp.Spec, cell string, scale crimp.Scale) string {
	return count(func(s *crimp.Spec) *int { return &s.Setting }, scale.Lowest, scale.Highest)(s, cell, scale)
}

// count takes a whole number from low to high.
func count(at func(*crimp.Spec) *int, low, high int) func(*crimp.Spec, string, crimp.Scale) string {
	return func(s *crimp.Spec, cell string, _ crimp.Scale) string {
		n, err := strconv.ParseUint(cell, 10, 31) // leading zeros are as dialled, signs are not
		if err != nil || int(n) < low || int(n) > high {
			return fmt.Sprintf("want a whole number, %d to %d", low, high)
		}
		*at(s) = int(n)
		return ""
	}
}
