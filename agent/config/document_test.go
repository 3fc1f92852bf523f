package config

import (
	"testing"

	"github.com/google/go-cmp/cmp"
)

func TestParseNamesEveryValueAndItsPlace(t *testing.T) {
	d := parse("x.toml", []byte("top = true\r\n[a]\r\n  'k' = \"ä\\n\" # c\r\nb.c = 0x1F\r\nd = { e = 1.5, f = -0 }\r\n"+
		"[[s]]\r\nx = 1\r\n[[s]]\r\nx = '''\r\ntwo\r\nlines'''\r\n[b]\r\nt = 07:30:00\r\nl = [1,\r\n2]\r\ns = [{ x = 3 }]\r\n"))
	type row struct {
		line, column, row int
		key               string
		value             any
	}
	var got []row
	for _, e := range d.entries {
		got = append(got, row{e.line, e.column, e.row, e.key(), e.value})
	}
	want := []row{
		{1, 1, 0, "top", true},
		{3, 3, 0, "a.k", "ä\n"},
		{4, 1, 0, "a.b.c", int64(31)},
		{5, 7, 0, "a.d.e", 1.5},
		{5, 16, 0, "a.d.f", int64(0)},
		{7, 1, 0, "s.x", int64(1)},
		{9, 1, 1, "s.x", "two\r\nlines"},
		{13, 1, 0, "b.t", other("a date or a time")},
		{14, 1, 0, "b.l", other("a list")},
		{16, 1, 0, "b.s", other("a list")},
	}
	if diff := cmp.Diff(got, want, cmp.AllowUnexported(row{})); diff != "" {
		t.Errorf("got -, want +\n%s", diff)
	}
	if len(d.faults) != 0 || d.lost {
		t.Errorf("faults %v, lost %v", d.faults, d.lost)
	}
}

func TestParseGoesOnAfterALineItCannotRead(t *testing.T) {
	for _, test := range []struct {
		name, text string
		lines      []int // of the faults
		keys       string
		lost       bool
	}{
		{"two bad values", "[a]\nx = no\ny = 1\nz = 2,5\nw = 2\n", []int{2, 4}, "a.x a.y a.z a.w ", false},
		{"bad header, its keys belong nowhere", "[a]\nx = 1\n[b\nx = 2\n[c]\nx = 3\n", []int{3}, "a.x c.x ", true},
		{"list never closed", "[a]\nx = [1,\n[b]\ny = 2\n", []int{3}, "", true},
		{"long text never closed", "x = 1\ny = '''\nz = 2\n", []int{3}, "x ", true},
		{"bad value after comment and good value", "x = 1 # one\n\n# two\ny = no # three\n", []int{4}, "x y ", false},
		{"bad value in the last line", "x = 1\ny = no", []int{2}, "x y ", false},
		{"rubbish", "x = 1\n!\ny = 2\n", []int{2}, "x y ", true},
		{"value in front of its line's end", "x =\ny = 2\n", []int{1}, "x y ", false},
	} {
		t.Run(test.name, func(t *testing.T) {
			d := parse("x.toml", []byte(test.text))
			var lines []int
			for _, f := range d.faults {
				lines = append(lines, f.Line)
			}
			keys := ""
			for _, e := range d.entries {
				keys += e.key() + " "
			}
			if diff := cmp.Diff(lines, test.lines); diff != "" || keys != test.keys || d.lost != test.lost {
				t.Errorf("keys %q, want %q; lost %v, want %v; lines\n%s%v", keys, test.keys, d.lost, test.lost, diff, d.faults)
			}
		})
	}
}
