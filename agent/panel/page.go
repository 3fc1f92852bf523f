package panel

import (
	"net/url"
	"strconv"
)

// shelf is how many of a long list have room on one screen.
const shelf = 6

// part is the part of a list that is asked for, with the ways to the others.
func part[T any](a asked, list []T) (some []T, rest further) {
	from, _ := strconv.Atoi(a.r.URL.Query().Get("from")) // no number: the beginning
	if from = from / shelf * shelf; from < 0 || from >= len(list) {
		from = 0
	}
	to := min(from+shelf, len(list))
	if from > 0 {
		rest.Prev = a.turned(from - shelf)
	}
	if to < len(list) {
		rest.Next = a.turned(to)
	}
	return list[from:to], rest
}

// turned is the address of this view with its list from another place on.
func (a asked) turned(from int) string {
	q := url.Values{}
	for name, values := range a.r.URL.Query() {
		if name != "answer" {
			q[name] = values
		}
	}
	q.Set("from", strconv.Itoa(from))
	return a.r.URL.Path + "?" + q.Encode()
}
