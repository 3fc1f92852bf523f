package panel

import (
	"testing"

	"benchtally/agent/crimp"
)

func TestStrip(t *testing.T) {
	spec := crimp.Spec{Diameter: length("1.200in"), Plus: length("0.005in"), Minus: length("0.005in")}
	exact := crimp.Spec{Diameter: length("1.200in")}
	oneSided := crimp.Spec{Diameter: length("1.200in"), Plus: length("0.010in")}
	for _, c := range []struct {
		name string
		spec crimp.Spec
		at   string
		want int
	}{
		{"target", spec, "1.200in", 280},
		{"lower limit", spec, "1.195in", 140},
		{"upper limit", spec, "1.205in", 420},
		{"over", spec, "1.208in", 504},
		{"far over", spec, "99in", 548},
		{"far under", spec, "0.3in", 12},
		{"one-sided, target is the lower limit", oneSided, "1.200in", 140},
		{"one-sided, middle", oneSided, "1.205in", 280},
		{"no tolerance, exact", exact, "1.200in", 280},
		{"no tolerance, over", exact, "1.2001in", 548},
		{"no tolerance, under", exact, "1.1999in", 12},
	} {
		t.Run(c.name, func(t *testing.T) {
			if got := newStrip(c.spec, []crimp.Length{length(c.at)}, nil).Marks[0]; got != c.want {
				t.Errorf("got %d, want %d", got, c.want)
			}
		})
	}
}
