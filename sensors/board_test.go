//go:build linux

package sensors

import (
	"errors"
	"slices"
	"testing"
)

// Lines that another program took meanwhile are left to it, the others opened.
func TestOpenFree(t *testing.T) {
	lines := []Line{{Name: "GPIO5"}, {Name: "GPIO17"}, {Name: "GPIO27"}}
	for _, tc := range []struct {
		name       string
		busy       []string
		fails      error
		free, used []string
		err        bool
	}{
		{"all free", nil, nil, []string{"GPIO5", "GPIO17", "GPIO27"}, nil, false},
		{"one taken", []string{"GPIO17"}, nil, []string{"GPIO5", "GPIO27"}, []string{"GPIO17"}, false},
		{"all taken", []string{"GPIO5", "GPIO17", "GPIO27"}, nil, nil, []string{"GPIO5", "GPIO17", "GPIO27"}, false},
		{"another trouble", nil, errors.New("invalid argument"), []string{"GPIO5", "GPIO17", "GPIO27"}, nil, true},
	} {
		var opened []string
		open := func(ls []Line) (lineSet, error) {
			for _, n := range names(ls) {
				if slices.Contains(tc.busy, n) {
					return nil, errors.New("LineSetFromConfig: device or resource busy")
				}
			}
			opened = names(ls)
			return &fakeSet{}, tc.fails
		}
		set, free, busy, err := openFree(open, lines)
		if (err != nil) != tc.err || !slices.Equal(names(free), tc.free) || !slices.Equal(names(busy), tc.used) {
			t.Errorf("%s: free %v, busy %v, %v", tc.name, free, busy, err)
		}
		if len(tc.free) > 0 && (set == nil || !slices.Equal(opened, tc.free)) {
			t.Errorf("%s: opened %v", tc.name, opened)
		}
	}
}
