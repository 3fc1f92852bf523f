package config

import (
	"fmt"
	"strconv"
	"strings"

	"benchtally/agent/crimp"
)

// Diameters outside these bounds are taken for a mix-up of units: hose ends
// are crimped to some 10 mm to 120 mm (from memory, common practice).
const (
	leastDiameter = 3 * crimp.Millimetre
	mostDiameter  = 150 * crimp.Millimetre
)

// mostDepth bounds skive and insertion.
const mostDepth = 500 * crimp.Millimetre

// specColumns are the columns of a specs file, the required ones first.
func specColumns(scale crimp.Scale) []*column[crimp.Spec] {
	return []*column[crimp.Spec]{
		{"spec", true, "want an id for this line, such as hs-08", word(func(s *crimp.Spec) *string { return &s.ID })},
		{"cage", true, "want the die cage that the maker's sheet names", word(func(s *crimp.Spec) *string { return &s.Cage })},
		{"diameter", true, `want the crimp diameter with its unit, such as 1.204in`, diameter},
		{"plus", true, "want how far above the diameter is allowed, such as 0.010in", tolerance(func(s *crimp.Spec) *crimp.Length { return &s.Plus })},
		{"minus", true, "want how far below the diameter is allowed, such as 0.010in", tolerance(func(s *crimp.Spec) *crimp.Length { return &s.Minus })},
		{"setting", true, "want the setting that should give the diameter", count(func(s *crimp.Spec) *int { return &s.Setting }, scale.Lowest, scale.Highest)},
		{"hose", false, "", words(func(s *crimp.Spec) *string { return &s.Hose })},
		{"fitting", false, "", words(func(s *crimp.Spec) *string { return &s.Fitting })},
		{"size", false, "", words(func(s *crimp.Spec) *string { return &s.Size })},
		{"recrimps", false, "", count(func(s *crimp.Spec) *int { return &s.Recrimps }, 0, 9)},
		{"skive", false, "", depth(func(s *crimp.Spec) *crimp.Length { return &s.Skive }, mostDepth)},
		{"insertion", false, "", depth(func(s *crimp.Spec) *crimp.Length { return &s.Insertion }, mostDepth)},
		{"places", false, "", count(func(s *crimp.Spec) *int { return &s.Places }, 1, mostPlaces)},
		{"dies", false, "", count(func(s *crimp.Spec) *int { return &s.Dies }, fewestDies, mostDies)},
		{"revision", false, "", words(func(s *crimp.Spec) *string { return &s.Revision })},
		{"note", false, "", words(func(s *crimp.Spec) *string { return &s.Note })},
	}
}

// word takes an id: it is scanned, printed and part of longer ids.
func word[T any](at func(*T) *string) func(*T, string) string {
	return func(s *T, cell string) string {
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
func words[T any](at func(*T) *string) func(*T, string) string {
	return func(s *T, cell string) string {
		if !printable(cell, 200) {
			return "want at most 200 bytes on one line, without control characters"
		}
		*at(s) = cell
		return ""
	}
}

// diameter takes the target of the crimp.
func diameter(s *crimp.Spec, cell string) string {
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
func tolerance(at func(*crimp.Spec) *crimp.Length) func(*crimp.Spec, string) string {
	return func(s *crimp.Spec, cell string) string {
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
func depth[T any](at func(*T) *crimp.Length, most crimp.Length) func(*T, string) string {
	return func(s *T, cell string) string {
		l, wrong := readLength(cell)
		switch {
		case wrong != "":
			return wrong
		case l <= 0 || l > most:
			return fmt.Sprintf("want more than nothing and at most %s, or an empty cell", most)
		}
		*at(s) = l
		return ""
	}
}

// count takes a whole number from low to high.
func count[T any](at func(*T) *int, low, high int) func(*T, string) string {
	return func(s *T, cell string) string {
		n, err := strconv.ParseUint(cell, 10, 31) // leading zeros are as dialled, signs are not
		if err != nil || int(n) < low || int(n) > high {
			return fmt.Sprintf("want a whole number, %d to %d", low, high)
		}
		*at(s) = int(n)
		return ""
	}
}
