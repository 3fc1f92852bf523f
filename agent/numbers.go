package main

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"strconv"
	"strings"
	"unicode/utf8"
)

const (
	maxNumbers      = 64 << 20 // bytes of a file of numbers: some millions of them
	maxNumberFaults = 20       // faults of one file that are told one by one
)

// readNumbers reads a file of numbers, one a line; "-" is standard input. What
// follows # is a comment, and lines with nothing else are skipped. Numbers have
// a decimal point. Everything wrong with the file is one error, invalid, with a
// line for each fault.
func readNumbers(e env, name string) ([]float64, error) {
	text, err := readValues(e, name, "one number a line")
	if err != nil {
		return nil, err
	}
	numbers, err := parseNumbers(shownName(name), text)
	if err != nil {
		return nil, invalid{err}
	}
	return numbers, nil
}

// readValues reads a file of measured values, text that is not longer than
// anybody would measure; "-" is standard input. The error says what is wanted.
func readValues(e env, name, want string) (string, error) {
	shown, in := shownName(name), e.stdin
	if name != "-" {
		file, err := os.Open(name)
		if err != nil {
			return "", invalid{err}
		}
		defer func() { _ = file.Close() }() // it was only read
		in = file
	}
	b, err := io.ReadAll(io.LimitReader(in, maxNumbers+1))
	switch {
	case err != nil && name != "-":
		return "", invalid{err} // a folder, or a file that cannot be read
	case err != nil:
		return "", err
	case len(b) > maxNumbers:
		return "", invalid{fmt.Errorf("%s: larger than %d MB, which nobody has measured; want %s", shown, maxNumbers>>20, want)}
	case !utf8.Valid(b) || bytes.IndexByte(b, 0) >= 0:
		return "", invalid{fmt.Errorf("%s: no text in UTF-8; want %s", shown, want)}
	}
	return strings.TrimPrefix(string(b), "\ufeff"), nil
}

// shownName is the name of a file of numbers in a message.
func shownName(name string) string {
	if name == "-" {
		return "standard input"
	}
	return name
}

// parseNumbers reads the text of the file; its error names every fault.
func parseNumbers(name, text string) (numbers []float64, err error) {
	var faults []error
	more := 0
	line := 0
	for written := range strings.Lines(text) {
		line++
		field, _, _ := strings.Cut(written, "#")
		if field = strings.TrimSpace(field); field == "" {
			continue
		}
		x, err := parseNumber(field)
		switch {
		case err == nil:
			numbers = append(numbers, x)
		case len(faults) < maxNumberFaults:
			faults = append(faults, fmt.Errorf("%s:%d: %w", name, line, err))
		default:
			more++
		}
	}
	if more > 0 {
		faults = append(faults, fmt.Errorf("%s: and %s more", name, plural(more, "such line")))
	}
	if len(faults) == 0 && len(numbers) == 0 {
		return nil, fmt.Errorf("%s: no number in it; want one a line, such as 12.7", name)
	}
	return numbers, errors.Join(faults...)
}

// parseNumber reads one decimal number with a point: no NaN, no infinity, no
// hexadecimal, no digits in groups.
func parseNumber(s string) (float64, error) {
	const want = "want one number such as 12.7"
	shown := s
	if utf8.RuneCountInString(shown) > 40 {
		shown = string([]rune(shown)[:39]) + "…"
	}
	x, err := strconv.ParseFloat(s, 64)
	switch {
	case errors.Is(err, strconv.ErrRange):
		return 0, fmt.Errorf("%q is too large for a number, %s", shown, want)
	case len(strings.Fields(s)) > 1:
		return 0, fmt.Errorf("%q is more than one, %s", shown, want)
	case err != nil && strings.Count(s, ",") == 1 && !strings.Contains(s, "."):
		return 0, fmt.Errorf("%q has a comma, %s, with a point", shown, want)
	case err != nil || strings.Trim(s, "+-.0123456789eE") != "":
		return 0, fmt.Errorf("%q is no decimal number, %s", shown, want)
	case math.Abs(x) > 1e60: // as package stats has it
		return 0, fmt.Errorf("%q is too large for a measured value, %s", shown, want)
	}
	return x, nil
}
