package sensors

import (
	"bytes"
	"errors"
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
)

var update = flag.Bool("update", false, "write the .want files anew")

// day is where times of tests are counted from.
var day = time.Date(2026, 3, 2, 6, 0, 0, 0, time.UTC)

// usual are the settings of most tests.
var usual = Settings{Settle: 20 * time.Millisecond, Shortest: 150 * time.Millisecond, Cycle: time.Second}

// A row is one call to a filter.
type row struct {
	at     time.Time
	do     string // "" Step, "claim" or "fail"
	levels Levels
}

// A course is a course of a switch: testdata/strokes/*.csv.
type course struct {
	settings Settings
	atRest   bool
	rows     []row
}

func (c course) filter() *Filter {
	if c.atRest {
		return NewFilterAtRest(c.settings, c.rows[0].at)
	}
	return NewFilter(c.settings)
}

func (r row) apply(f *Filter) []Event {
	switch r.do {
	case "claim":
		return f.Claim(r.at)
	case "fail":
		return f.Fail(errors.New("input/output error"), r.at)
	default:
		return f.Step(r.levels, r.at)
	}
}

// events are what a filter makes of rows.
func events(f *Filter, rows []row) []Event {
	var es []Event
	for _, r := range rows {
		es = append(es, r.apply(f)...)
	}
	return es
}

// readCourse reads a file of testdata/strokes. "#" begins a comment, "#!" a line
// of settings; the columns are microseconds, level (1 the limit switch is made),
// and optionally rest and retracted. In place of a level, "claim" and "fail" are
// calls to these.
func readCourse(t testing.TB, path string) course {
	t.Helper()
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	c := course{settings: usual}
	for i, text := range strings.Split(strings.TrimSpace(string(b)), "\n") {
		set, isSet := strings.CutPrefix(text, "#!")
		switch {
		case isSet:
			c.set(t, set)
		case strings.HasPrefix(text, "#"), strings.HasPrefix(text, "microseconds"):
		default:
			r, err := readRow(strings.Split(text, ","))
			if err != nil {
				t.Fatalf("%s:%d: %v", path, i+1, err)
			}
			c.rows = append(c.rows, r)
		}
	}
	return c
}

func (c *course) set(t testing.TB, text string) {
	for _, word := range strings.Fields(text) {
		key, value, _ := strings.Cut(word, "=")
		d, err := time.ParseDuration(value)
		switch key {
		case "rest":
			c.atRest, err = true, nil
		case "changeover":
			c.settings.Changeover, err = true, nil
		case "settle":
			c.settings.Settle = d
		case "shortest":
			c.settings.Shortest = d
		default:
			t.Fatalf("unknown setting %q", key)
		}
		if err != nil {
			t.Fatal(err)
		}
	}
}

func readRow(cols []string) (row, error) {
	us, err := strconv.ParseInt(cols[0], 10, 64)
	if err != nil {
		return row{}, err
	}
	r := row{at: day.Add(time.Duration(us) * time.Microsecond)}
	if cols[1] == "claim" || cols[1] == "fail" {
		r.do = cols[1]
		return r, nil
	}
	for i, to := range []*bool{&r.levels.Up, &r.levels.Rest, &r.levels.Retracted} {
		if i+1 < len(cols) {
			if *to, err = strconv.ParseBool(cols[i+1]); err != nil {
				return row{}, err
			}
		}
	}
	return r, nil
}

// text writes events as the .want files have them, one a line.
func text(es []Event) string {
	var b strings.Builder
	for _, e := range es {
		fmt.Fprintf(&b, "%d %s", e.At.Sub(day).Microseconds(), e.Kind)
		switch {
		case e.Kind == Stroke && e.Held == 0:
			b.WriteString(" held unknown")
		case e.Kind == Stroke:
			fmt.Fprintf(&b, " held %d", e.Held.Microseconds())
		case e.Reason != "":
			fmt.Fprintf(&b, " %s", e.Reason)
		}
		b.WriteByte('\n')
	}
	return b.String()
}

func courses(t testing.TB) map[string]course {
	t.Helper()
	paths, err := filepath.Glob("../testdata/strokes/*.csv")
	if err != nil || len(paths) < 40 {
		t.Fatalf("%d files in testdata/strokes, %v", len(paths), err)
	}
	all := map[string]course{}
	for _, p := range paths {
		all[strings.TrimSuffix(filepath.Base(p), ".csv")] = readCourse(t, p)
	}
	return all
}

func TestCourses(t *testing.T) {
	for name, c := range courses(t) {
		t.Run(name, func(t *testing.T) {
			want := filepath.Join("../testdata/strokes", name+".want")
			got := []byte(text(events(c.filter(), c.rows)))
			if *update {
				if err := os.WriteFile(want, got, 0o644); err != nil {
					t.Fatal(err)
				}
			}
			b, err := os.ReadFile(want)
			if err != nil {
				t.Fatal(err)
			}
			if !bytes.Equal(got, b) {
				t.Errorf("events (-want +got):\n%s", cmp.Diff(string(b), string(got)))
			}
		})
	}
}

// Extra readings with the same levels, anywhere, change nothing.
func TestExtraPollsChangeNothing(t *testing.T) {
	for name, c := range courses(t) {
		want := text(events(c.filter(), c.rows))
		var rows []row
		for i, r := range c.rows {
			rows = append(rows, r)
			if r.do == "fail" || i+1 == len(c.rows) {
				continue
			}
			poll := row{levels: r.levels}
			for j := i; c.rows[j].do == "claim"; j-- {
				poll.levels = c.rows[j-1].levels
			}
			gap := c.rows[i+1].at.Sub(r.at)
			for _, part := range []time.Duration{0, 1, gap / 3, gap / 2, gap - 1, gap} {
				if part >= 0 && part <= gap {
					poll.at = r.at.Add(part)
					rows = append(rows, poll)
				}
			}
		}
		if got := text(events(c.filter(), rows)); got != want {
			t.Errorf("%s (-want +got):\n%s", name, cmp.Diff(want, got))
		}
	}
}

// A filter that is written and read back before every call goes on as if it had
// not been, and its state reads back as it was.
func TestKeptStateGoesOn(t *testing.T) {
	for name, c := range courses(t) {
		want := text(events(c.filter(), c.rows))
		f := c.filter()
		var got []Event
		for _, r := range c.rows {
			f = kept(t, f)
			got = append(got, r.apply(f)...)
		}
		if got := text(got); got != want {
			t.Errorf("%s (-want +got):\n%s", name, cmp.Diff(want, got))
		}
	}
}

// kept is a new filter with what f wrote of itself.
func kept(t testing.TB, f *Filter) *Filter {
	t.Helper()
	b, err := f.MarshalJSON()
	if err != nil {
		t.Fatal(err)
	}
	g := NewFilter(f.s)
	if err := g.UnmarshalJSON(b); err != nil {
		t.Fatalf("%v\n%s", err, b)
	}
	if x, y := f.state, g.state; !x.at.Equal(y.at) {
		t.Fatalf("read back at %v, was %v", y.at, x.at)
	} else if x.at, y.at = (time.Time{}), (time.Time{}); x != y {
		t.Fatalf("read back\n%+v, was\n%+v", y, x)
	}
	return g
}
