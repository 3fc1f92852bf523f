package config

import "testing"

func TestDistance(t *testing.T) {
	for _, test := range []struct {
		a, b string
		want int
	}{
		{"", "", 0}, {"", "baud", 4}, {"baud", "baud", 0}, {"bawd", "baud", 1},
		{"nmae", "name", 1}, {"mesure", "measure", 1}, {"stop_bits", "data_bits", 4},
		{"ca", "ac", 1}, {"abc", "ca", 3},
	} {
		if got := distance(test.a, test.b); got != test.want {
			t.Errorf("distance(%q, %q) = %d, want %d", test.a, test.b, got, test.want)
		}
		if got := distance(test.b, test.a); got != test.want {
			t.Errorf("distance(%q, %q) = %d, want %d", test.b, test.a, got, test.want)
		}
	}
}
