package main

import (
	"fmt"
	"time"
)

// lasting says a span of time in the words that one says over the telephone.
func lasting(d time.Duration) string {
	const day = 24 * time.Hour
	switch {
	case d < time.Minute:
		return plural(int(d/time.Second), "second")
	case d < time.Hour:
		return plural(int(d/time.Minute), "minute")
	case d < 48*time.Hour:
		h, m := int(d/time.Hour), int(d%time.Hour/time.Minute)
		if h >= 10 || m == 0 {
			return plural(h, "hour")
		}
		return plural(h, "hour") + " and " + plural(m, "minute")
	default:
		return plural(int(d/day), "day")
	}
}

// ago says how long before now something was, and when.
func ago(at, now time.Time) string {
	when := at.Local().Format("2006-01-02 15:04:05")
	switch d := now.Sub(at); {
	case d < -time.Minute:
		return fmt.Sprintf("%s, which is ahead of this computer's clock", when)
	case d < 2*time.Second:
		return "just now"
	default:
		return fmt.Sprintf("%s ago (%s)", lasting(d), when)
	}
}

// bytesText says a size in the unit in which it is a small number.
func bytesText(n int64) string {
	units := []string{"bytes", "kB", "MB", "GB", "TB"}
	v, i := float64(n), 0
	for v >= 1000 && i < len(units)-1 {
		v, i = v/1000, i+1
	}
	if i == 0 || v >= 100 {
		return fmt.Sprintf("%.0f %s", v, units[i])
	}
	return fmt.Sprintf("%.1f %s", v, units[i])
}
