package main

import (
	"errors"
	"fmt"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

func TestReadNumbers(t *testing.T) {
	name := filepath.Join(t.TempDir(), "x.txt")
	text := "\ufeff# deviations, thousandths\r\n\r\n12.7\r\n -3 # first\n+1e-3\n  \n.5\n7.\n-0.25#x\n1E2"
	want := []float64{12.7, -3, 0.001, 0.5, 7, -0.25, 100}
	write(t, name, text)
	for _, from := range []string{name, "-"} {
		got, err := readNumbers(env{stdin: strings.NewReader(text)}, from)
		if err != nil || !slices.Equal(got, want) {
			t.Errorf("%s: %v, %v", from, got, err)
		}
	}
}

// TestReadNumbersFaults: each fault is told with its line and what would be
// right, all of a file at once, and nothing of the file is taken.
func TestReadNumbersFaults(t *testing.T) {
	dir := t.TempDir()
	name := filepath.Join(dir, "x.txt")
	many := strings.Repeat("x\n", 25)
	for _, c := range []struct {
		name, text string
		says       []string
	}{
		{"decimal comma", "1.5\n12,7\n", []string{":2: \"12,7\" has a comma", "such as 12.7"}},
		{"thousands", "1,234.5", []string{`:1: "1,234.5" is no decimal number`}},
		{"not a number", "NaN", []string{`:1: "NaN" is no decimal number`}},
		{"infinite", "1\n\n-Inf\n+infinity", []string{`:3: "-Inf"`, `:4: "+infinity"`}},
		{"hexadecimal", "0x1F\n0x1p-2", []string{`:1: "0x1F"`, `:2: "0x1p-2"`}},
		{"groups of digits", "1_000", []string{`:1: "1_000"`}},
		{"text", "diameter\n30.5\n", []string{`:1: "diameter" is no decimal number`}},
		{"a unit", "1.204in", []string{`:1: "1.204in"`}},
		{"two numbers", "1 2\n3;4\n5\t6", []string{`:1: "1 2" is more than one`, `:2: "3;4"`, `:3:`}},
		{"too large", "1e999", []string{`:1: "1e999" is too large`}},
		{"a sign alone", "-\n.\ne5\n1e", []string{`:1:`, `:2:`, `:3:`, `:4:`}},
		{"empty", "", []string{"no number in it", "one a line"}},
		{"comments only", "# 1\n\n  #2", []string{"no number in it"}},
		{"no text", "1\n\x00\n", []string{"no text"}},
		{"another encoding", "\xff\xfe1\x00", []string{"no text"}},
		{"very long", strings.Repeat("ab", 500), []string{`:1: "abab`, "…"}},
		{"many", many, []string{":1: ", ":20: ", "and 5 such lines more"}},
	} {
		write(t, name, c.text)
		got, err := readNumbers(env{}, name)
		var bad invalid
		if got != nil || !errors.As(err, &bad) {
			t.Errorf("%s: %v, %v", c.name, got, err)
			continue
		}
		for _, text := range c.says {
			if !strings.Contains(err.Error(), text) {
				t.Errorf("%s: %q, want %q in it", c.name, err, text)
			}
		}
		for _, line := range strings.Split(err.Error(), "\n") {
			if !strings.HasPrefix(line, name+":") || len(line) > len(name)+200 {
				t.Errorf("%s: %q does not begin with the file, or is too long", c.name, line)
			}
		}
	}
	for _, name := range []string{dir, filepath.Join(dir, "none.txt")} {
		var bad invalid
		if _, err := readNumbers(env{}, name); !errors.As(err, &bad) || !strings.Contains(err.Error(), name) {
			t.Errorf("%s: %v", name, err)
		}
	}
	if _, err := readNumbers(env{stdin: strings.NewReader("x")}, "-"); err == nil || !strings.HasPrefix(err.Error(), "standard input:1:") {
		t.Errorf("standard input: %v", err)
	}
	if _, err := readNumbers(env{stdin: broken{}}, "-"); exitCode(err) != exitFault {
		t.Errorf("standard input that breaks: %v", err)
	}
}

// broken cannot be read.
type broken struct{}

func (broken) Read([]byte) (int, error) { return 0, fmt.Errorf("read: gone") }
