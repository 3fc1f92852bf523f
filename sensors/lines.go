package sensors

import (
	"cmp"
	"errors"
	"fmt"
	"slices"
	"strings"
)

// Lines names the input lines of the contacts by the names the kernel gives
// them, such as "GPIO17". All are lines of one chip.
type Lines struct {
	Up        string // of the limit switch, or of the contact of a changeover switch that is made while the ring is up
	Rest      string // of the other contact of a changeover switch; "" = not wired
	Retracted string // of the full-retract switch; "" = not wired

	// ActiveLow says that a contact pulls its line low when it is made; the line
	// is then biased up. Otherwise it pulls it high, and the line is biased down.
	ActiveLow bool
}

// names are the lines that are wired, in the order of the bits they are read in.
func (l Lines) names() []string {
	names := []string{l.Up}
	for _, n := range []string{l.Rest, l.Retracted} {
		if n != "" {
			names = append(names, n)
		}
	}
	return names
}

// levels are the contacts' states for the electrical levels of the lines, one
// bit a line in the order of names, 1 = high.
func (l Lines) levels(bits uint64) Levels {
	next := func(name string) bool {
		if name == "" {
			return false
		}
		high := bits&1 != 0
		bits >>= 1
		return high != l.ActiveLow
	}
	return Levels{Up: next(l.Up), Rest: next(l.Rest), Retracted: next(l.Retracted)}
}

func (l Lines) check() error {
	names := l.names()
	if l.Up == "" {
		return errors.New("no line is named for the limit switch")
	}
	for i, n := range names {
		if slices.Contains(names[:i], n) {
			return fmt.Errorf("line %s is named for two contacts", n)
		}
	}
	return nil
}

// Line is a line of a chip that was found here.
type Line struct {
	Chip   string // as the kernel calls it: "gpiochip0"
	Label  string // of the chip: "pinctrl-bcm2711"
	Path   string // of the chip: "/dev/gpiochip0"
	Number int    // of the line on its chip, from 0
	Name   string // "GPIO17"; "" of a line that has none, and that cannot be used by name
	User   string // the program that held the line when the chips were looked for, "" none
}

// A chip is what is known of a GPIO chip.
type chip struct {
	name, label, path string
	lines             []Line
}

func (c chip) String() string { return fmt.Sprintf("%s (%s)", c.name, c.label) }

func (c chip) line(name string) (Line, bool) {
	i := slices.IndexFunc(c.lines, func(l Line) bool { return l.Name == name })
	if i < 0 {
		return Line{}, false
	}
	return c.lines[i], true
}

// choose is the index of the chip that has all the lines. It goes by the lines'
// names, because chips change their numbers from one kernel to the next.
func choose(chips []chip, l Lines) (int, error) {
	var found []string
	at := -1
	for _, name := range l.names() {
		i := slices.IndexFunc(chips, func(c chip) bool {
			_, ok := c.line(name)
			return ok
		})
		if i < 0 {
			return 0, unknownLine(name, chips)
		}
		found = append(found, fmt.Sprintf("%s is on %s", name, chips[i].name))
		if at >= 0 && at != i {
			return 0, fmt.Errorf("the contacts must be on one chip, to be read at once: %s", strings.Join(found, ", "))
		}
		at = i
	}
	return at, nil
}

// unknownLine says that no chip has the line, which chips there are, and which
// lines may have been meant.
func unknownLine(name string, chips []chip) error {
	var seen, names []string
	for _, c := range chips {
		seen = append(seen, fmt.Sprintf("%s with %d lines", c, len(c.lines)))
		for _, l := range c.lines {
			if l.Name != "" {
				names = append(names, l.Name)
			}
		}
	}
	hint := "none of their lines has a name"
	if near := nearest(name, names); len(near) > 0 {
		hint = "nearest are " + strings.Join(near, ", ")
	} else if len(names) > 0 {
		hint = "their lines have names such as " + names[len(names)/2]
	}
	return fmt.Errorf("no line is named %q on %s: %s", name, strings.Join(seen, ", "), hint)
}

// nearest are up to three names that may have been meant by a name: of no more
// than two letters' difference, or with it at their end.
func nearest(name string, names []string) []string {
	type candidate struct {
		name string
		far  int
	}
	var near []candidate
	name = strings.ToUpper(name)
	for _, n := range names {
		far := distance(name, strings.ToUpper(n))
		if name != "" && strings.HasSuffix(strings.ToUpper(n), name) {
			far = min(far, 1)
		}
		if far <= 2 && far < len(n) {
			near = append(near, candidate{n, far})
		}
	}
	slices.SortStableFunc(near, func(a, b candidate) int {
		return cmp.Or(a.far-b.far, longer(a.name, name)-longer(b.name, name))
	})
	var out []string
	for _, c := range near {
		if len(out) < 3 && !slices.Contains(out, c.name) {
			out = append(out, c.name)
		}
	}
	return out
}

// longer is by how much one name is longer than the other.
func longer(a, b string) int { return max(len(a)-len(b), len(b)-len(a)) }

// distance is how many letters must be put in, left out, changed, or swapped
// with the next to make a of b.
func distance(a, b string) int {
	rows := make([][]int, len(a)+1)
	for i := range rows {
		rows[i] = make([]int, len(b)+1)
		rows[i][0] = i
	}
	for j := range rows[0] {
		rows[0][j] = j
	}
	for i := 1; i <= len(a); i++ {
		for j := 1; j <= len(b); j++ {
			change := 1
			if a[i-1] == b[j-1] {
				change = 0
			}
			d := min(rows[i-1][j]+1, rows[i][j-1]+1, rows[i-1][j-1]+change)
			if i > 1 && j > 1 && a[i-1] == b[j-2] && a[i-2] == b[j-1] {
				d = min(d, rows[i-2][j-2]+1)
			}
			rows[i][j] = d
		}
	}
	return rows[len(a)][len(b)]
}
