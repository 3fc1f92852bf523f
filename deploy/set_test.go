package deploy

import (
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

func TestSet(t *testing.T) {
	const before = `# notes
[press]
name = "north" # one word
topic = "a#b"  # site

[switch]
line = "GPIO17"               # the input
  active= 'low'
[[specs]]
file = "specs.csv"
`
	for _, tc := range []struct {
		name   string
		values []Value
		want   string // the lines that are other than before, - and +
	}{
		{"a value, the note in its column", []Value{{"switch.line", `"GPIO5"`}}, `-line = "GPIO17"               # the input
+line = "GPIO5"                # the input`},
		{"a longer one", []Value{{"press.name", `"north-bench"`}}, `-name = "north" # one word
+name = "north-bench" # one word`},
		{"a number sign within quotes is no note", []Value{{"press.topic", `"c"`}}, `-topic = "a#b"  # site
+topic = "c"    # site`},
		{"no note", []Value{{"switch.active", `"high"`}}, `-  active= 'low'
+  active = "high"`},
		{"a key that is not there", []Value{{"press.more", "1"}}, "+more = 1"},
		{"at the end of a table without a blank line", []Value{{"switch.rest", `"GPIO27"`}}, `+rest = "GPIO27"`},
		{"a table that is not there", []Value{{"caliper.baud", "4800"}, {"caliper.parity", `"even"`}}, "+[caliper]\n+baud = 4800\n+parity = \"even\"\n+"},
		{"the same once more", []Value{{"press.name", `"north"`}}, ""},
	} {
		t.Run(tc.name, func(t *testing.T) {
			got, err := Set([]byte(before), tc.values...)
			if err != nil {
				t.Fatal(err)
			}
			if d := changed(before, string(got)); d != tc.want {
				t.Errorf("got\n%s\nwant\n%s", d, tc.want)
			}
			if again, err := Set(got, tc.values...); err != nil || string(again) != string(got) {
				t.Errorf("a second time is other than the first:\n%s, %v", cmp.Diff(string(got), string(again)), err)
			}
		})
	}
	if _, err := Set([]byte("[press]\nname = \"\"\"\nnorth\"\"\"\n[a]\nb = [\n1]\n"), Value{"press.name", `"x"`}, Value{"a.b", "2"}); err == nil ||
		!strings.Contains(err.Error(), "line 2: press.name") || !strings.Contains(err.Error(), "line 5: a.b") {
		t.Errorf("values over several lines: %v", err)
	}
	got, err := Set([]byte("[press]\nname = 1"), Value{"press.topic", "2"}, Value{"a.b", "3"})
	if err != nil || string(got) != "[press]\nname = 1\ntopic = 2\n\n[a]\nb = 3\n" {
		t.Errorf("no line end: %q, %v", got, err)
	}
}

// changed are the lines that two texts do not share.
func changed(before, after string) string {
	var out []string
	b, a := strings.Split(before, "\n"), strings.Split(after, "\n")
	for len(a) > 0 || len(b) > 0 {
		switch {
		case len(b) > 0 && len(a) > 0 && a[0] == b[0]:
			a, b = a[1:], b[1:]
		case len(a) > len(b):
			out, a = append(out, "+"+a[0]), a[1:]
		default:
			out = append(out, "-"+b[0], "+"+a[0])
			a, b = a[1:], b[1:]
		}
	}
	return strings.Join(out, "\n")
}
