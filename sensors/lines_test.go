package sensors

import (
	"fmt"
	"testing"

	"github.com/google/go-cmp/cmp"
)

// header is a chip as on a Raspberry Pi, with lines GPIO0 to GPIO27.
func header() chip {
	c := chip{name: "gpiochip0", label: "pinctrl-bcm2711", path: "/dev/gpiochip0"}
	for i := range 28 {
		c.lines = append(c.lines, Line{Chip: c.name, Number: i, Name: fmt.Sprintf("GPIO%d", i)})
	}
	return c
}

func TestChoose(t *testing.T) {
	expander := chip{name: "gpiochip1", label: "raspberrypi-exp-gpio", lines: []Line{{Name: "BT_ON"}, {Name: ""}, {Name: "WL_ON", Number: 2}}}
	mute := chip{name: "gpiochip2", label: "mute", lines: []Line{{}, {}}}
	for _, tc := range []struct {
		name  string
		chips []chip
		lines Lines
		want  int
		err   string
	}{
		{"one line", []chip{expander, header()}, Lines{Up: "GPIO17"}, 1, ""},
		{"three lines", []chip{header(), expander}, Lines{Up: "GPIO5", Rest: "GPIO6", Retracted: "GPIO13"}, 0, ""},
		{
			"figures swapped", []chip{header()}, Lines{Up: "GPIO71"}, 0,
			`no line is named "GPIO71" on gpiochip0 (pinctrl-bcm2711) with 28 lines: nearest are GPIO11, GPIO17, GPIO21`,
		},
		{
			"the number alone", []chip{expander, header()}, Lines{Up: "17"}, 0,
			`no line is named "17" on gpiochip1 (raspberrypi-exp-gpio) with 3 lines, gpiochip0 (pinctrl-bcm2711) with 28 lines: nearest are GPIO17`,
		},
		{
			"small letters", []chip{header()}, Lines{Up: "gpio17"}, 0,
			`no line is named "gpio17" on gpiochip0 (pinctrl-bcm2711) with 28 lines: nearest are GPIO17, GPIO10, GPIO11`,
		},
		{
			"nothing like it", []chip{header()}, Lines{Up: "LIMIT_SWITCH"}, 0,
			`no line is named "LIMIT_SWITCH" on gpiochip0 (pinctrl-bcm2711) with 28 lines: their lines have names such as GPIO14`,
		},
		{
			"lines without names", []chip{mute}, Lines{Up: "GPIO17"}, 0,
			`no line is named "GPIO17" on gpiochip2 (mute) with 2 lines: none of their lines has a name`,
		},
		{
			"on two chips", []chip{header(), expander}, Lines{Up: "GPIO17", Retracted: "BT_ON"}, 0,
			"the contacts must be on one chip, to be read at once: GPIO17 is on gpiochip0, BT_ON is on gpiochip1",
		},
	} {
		got, err := choose(tc.chips, tc.lines)
		if text := errText(err); got != tc.want || text != tc.err {
			t.Errorf("%s: %d, %s\nwant %d, %s", tc.name, got, text, tc.want, tc.err)
		}
	}
}

func errText(err error) string {
	if err == nil {
		return ""
	}
	return err.Error()
}

func TestLinesCheck(t *testing.T) {
	for _, tc := range []struct {
		name  string
		lines Lines
		err   string
	}{
		{"one", Lines{Up: "GPIO17"}, ""},
		{"three", Lines{Up: "GPIO17", Rest: "GPIO5", Retracted: "GPIO6"}, ""},
		{"none", Lines{}, "no line is named for the limit switch"},
		{"only the second contact", Lines{Rest: "GPIO5"}, "no line is named for the limit switch"},
		{"twice", Lines{Up: "GPIO17", Retracted: "GPIO17"}, "line GPIO17 is named for two contacts"},
	} {
		if got := errText(tc.lines.check()); got != tc.err {
			t.Errorf("%s: %q, want %q", tc.name, got, tc.err)
		}
	}
}

func TestLevelsOfBits(t *testing.T) {
	all := Lines{Up: "a", Rest: "b", Retracted: "c"}
	noRest := Lines{Up: "a", Retracted: "c"}
	low := func(l Lines) Lines { l.ActiveLow = true; return l }
	for _, tc := range []struct {
		name  string
		lines Lines
		bits  uint64
		want  Levels
	}{
		{"all low", all, 0b000, Levels{}},
		{"first high", all, 0b001, Levels{Up: true}},
		{"second high", all, 0b010, Levels{Rest: true}},
		{"third high", all, 0b100, Levels{Retracted: true}},
		{"all low, active low", low(all), 0b000, Levels{Up: true, Rest: true, Retracted: true}},
		{"all high, active low", low(all), 0b111, Levels{}},
		{"the rest contact is not wired", noRest, 0b10, Levels{Retracted: true}},
		{"one line, active low", low(Lines{Up: "a"}), 0, Levels{Up: true}},
	} {
		if got := tc.lines.levels(tc.bits); got != tc.want {
			t.Errorf("%s: %+v, want %+v", tc.name, got, tc.want)
		}
	}
}

func TestDistance(t *testing.T) {
	for _, tc := range []struct {
		a, b string
		want int
	}{
		{"", "", 0}, {"GPIO17", "GPIO17", 0}, {"GPIO17", "GPIO71", 1}, {"GPIO17", "GPIO1", 1},
		{"GPI017", "GPIO17", 1}, {"", "abc", 3}, {"kitten", "sitting", 3},
	} {
		if got := distance(tc.a, tc.b); got != tc.want {
			t.Errorf("%q to %q: %d, want %d", tc.a, tc.b, got, tc.want)
		}
		if got := distance(tc.b, tc.a); got != tc.want {
			t.Errorf("%q to %q: %d, want %d", tc.b, tc.a, got, tc.want)
		}
	}
}

func TestNearestIsAtMostThree(t *testing.T) {
	names := []string{"GPIO1", "GPIO2", "GPIO3", "GPIO4", "GPIO4"}
	if d := cmp.Diff([]string{"GPIO4", "GPIO1", "GPIO2"}, nearest("gpio4", names)); d != "" {
		t.Error(d)
	}
}
