package config

import (
	"fmt"
	"strings"
)

// suggest says which of the known names was probably meant, or lists them all.
func suggest(name string, known []string) string {
	best, least := "", 1+max(2, len(name)/3)
	for _, k := range known {
		if d := distance(strings.ToLower(name), k); d < least {
			best, least = k, d
		}
	}
	if best != "" {
		return fmt.Sprintf("did you mean %q?", best)
	}
	return "known here: " + strings.Join(known, ", ")
}

// distance counts the letters to insert, drop, change or swap with their
// neighbour to make b from a.
func distance(a, b string) int {
	// Three rows of the usual table suffice: a swap looks two rows back.
	before, last, row := make([]int, len(b)+1), make([]int, len(b)+1), make([]int, len(b)+1)
	for j := range last {
		last[j] = j
	}
	for i := 1; i <= len(a); i++ {
		row[0] = i
		for j := 1; j <= len(b); j++ {
			change := 1
			if a[i-1] == b[j-1] {
				change = 0
			}
			row[j] = min(last[j]+1, row[j-1]+1, last[j-1]+change)
			if i > 1 && j > 1 && a[i-1] == b[j-2] && a[i-2] == b[j-1] {
				row[j] = min(row[j], before[j-2]+1)
			}
		}
		before, last, row = last, row, before
	}
	return last[len(b)]
}
