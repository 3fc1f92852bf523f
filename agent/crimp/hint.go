package crimp

import "fmt"

// hint is what readings that fall in two groups give to think of; "": nothing.
// That a reading on the ridge between two dies is larger than one on the flats,
// and that makers' sheets mean the flats, is common practice of the trade (no
// source).
func hint(s Spec, readings []Length, caliper Length) string {
	high, gap := Split(readings, caliper)
	switch {
	case len(high) == 0:
		return ""
	case len(high) == 1 && gap > s.Plus+s.Minus:
		return fmt.Sprintf("place %d is %s larger than the others: read wrong? Withdraw it and measure again", high[0], s.Text(gap))
	case len(high) == 1:
		return fmt.Sprintf("place %d is %s larger than the others: on a ridge between two dies? Measure where the maker's sheet says", high[0], s.Text(gap))
	default:
		return fmt.Sprintf("the readings fall in two groups %s apart: flats and ridges mixed? Measure where the maker's sheet says", s.Text(gap))
	}
}
