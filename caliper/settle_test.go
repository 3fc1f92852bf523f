package caliper

import (
	"strings"
	"testing"

	"benchtally/agent/crimp"
)

func TestStreamTrigger(t *testing.T) {
	mm := Settings{Unit: crimp.Millimetres, Trigger: TriggerStream}
	for _, row := range []struct {
		name  string
		steps []step
		want  []string
	}{
		{"at rest for 600 ms, once", every(0, 100, 30, "30.50\r"), []string{`600 reading 30.5mm "30.50"`}},
		{"within one step", every(0, 100, 30, "30.50\r", "30.51\r", "30.49\r"), []string{`600 reading 30.5mm "30.50"`}},
		{"two steps are no rest", every(0, 100, 30, "30.50\r", "30.52\r"), nil},
		{"moving, then at rest", join(every(0, 100, 3, "31.00\r", "30.80\r", "30.60\r"), every(300, 100, 8, "30.50\r")),
			[]string{`900 reading 30.5mm "30.50"`}},
		{"half a millimetre is not left", join(every(0, 100, 7, "30.50\r"), every(700, 100, 9, "31.00\r")), []string{`600 reading 30.5mm "30.50"`}},
		{"more than half a millimetre is", join(every(0, 100, 7, "30.50\r"), every(700, 100, 9, "31.01\r")),
			[]string{`600 reading 30.5mm "30.50"`, `1300 reading 31.01mm "31.01"`}},
		{"away and back to the same", join(every(0, 100, 7, "30.50\r"), []step{{700, "35.00\r"}}, every(800, 100, 9, "30.50\r")),
			[]string{`600 reading 30.5mm "30.50"`, `1400 reading 30.5mm "30.50"`}},
		{"closed is left", join(every(0, 100, 7, "0.60\r"), []step{{700, "0.20\r"}}, every(800, 100, 9, "0.60\r")),
			[]string{`600 reading 0.6mm "0.60"`, `1400 reading 0.6mm "0.60"`}},
		{"a silence begins anew", join(every(0, 100, 5, "30.50\r"), every(1401, 100, 6, "30.50\r")), nil},
		{"the port was opened again", join(every(0, 100, 7, "30.50\r"), []step{{700, "!restart"}}, every(900, 100, 9, "30.50\r")),
			[]string{`600 reading 30.5mm "30.50"`}},
	} {
		t.Run(row.name, func(t *testing.T) {
			got := play(t, mustReader(t, mm), row.steps)
			if g, w := strings.Join(got, "\n"), strings.Join(row.want, "\n"); g != w {
				t.Errorf("got\n%s\nwant\n%s", g, w)
			}
		})
	}
}
