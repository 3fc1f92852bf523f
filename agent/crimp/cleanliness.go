package crimp

import (
	"fmt"
	"math"
	"strconv"
)

// cleanliness are the largest concentrations, particles per millilitre, of the
// scale numbers 0, 1, 2 … of ISO 4406: the table of its 1999 edition, seen in two
// second-hand prints. Each number takes what is more than the one before it, up
// to and including its own.
var cleanliness = [...]float64{
	0.01, 0.02, 0.04, 0.08, 0.16, 0.32, 0.64,
	1.3, 2.5, 5, 10, 20, 40, 80, 160, 320, 640,
	1_300, 2_500, 5_000, 10_000, 20_000, 40_000, 80_000, 160_000, 320_000, 640_000,
	1_300_000, 2_500_000,
}

// ScaleNumber is the number of ISO 4406 for a concentration, particles per
// millilitre: 0 to 28. None at all has number 0. Above 2,500,000, where the table
// ends, and for what is no concentration it is an error.
//
// The standard marks numbers that rest on few counted particles (from memory);
// that is for who counted.
func ScaleNumber(perML float64) (int, error) {
	last := cleanliness[len(cleanliness)-1]
	switch {
	case math.IsNaN(perML):
		return 0, fmt.Errorf("particles per mL: %v is not a number", perML)
	case perML < 0:
		return 0, fmt.Errorf("particles per mL: %v is less than none", perML)
	case perML > last:
		return 0, fmt.Errorf("particles per mL: %s is more than %s, where the scale of ISO 4406 ends at %d: dilute the sample and count again",
			plain(perML), plain(last), len(cleanliness)-1)
	}
	n := 0
	for perML > cleanliness[n] {
		n++
	}
	return n, nil
}

// CleanlinessCode is the code of ISO 4406, such as "18/16/13", for the particles
// per millilitre of at least 4, 6 and 14 µm(c). Each count holds the larger
// particles too, so that none may be more than the one before it.
func CleanlinessCode(four, six, fourteen float64) (string, error) {
	var code []byte
	sizes := [...]int{4, 6, 14}
	counts := [...]float64{four, six, fourteen}
	for i, perML := range counts {
		n, err := ScaleNumber(perML)
		if err != nil {
			return "", fmt.Errorf("from %d µm on: %w", sizes[i], err)
		}
		if i > 0 && perML > counts[i-1] {
			return "", fmt.Errorf("from %d µm on: %s particles per mL, but only %s from %d µm on, which must hold the larger ones too: look whether the counts were swapped",
				sizes[i], plain(perML), plain(counts[i-1]), sizes[i-1])
		}
		if i > 0 {
			code = append(code, '/')
		}
		code = strconv.AppendInt(code, int64(n), 10)
	}
	return string(code), nil
}

// plain writes a number without an exponent.
func plain(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }
