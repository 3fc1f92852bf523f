package config

import (
	"path/filepath"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"benchtally/agent/crimp"
	"benchtally/deploy"
)

// The files that init writes are without a fault, and say what they leave to do.
func TestFilesOfInitLoad(t *testing.T) {
	dir := t.TempDir()
	if _, _, err := deploy.Init(dir); err != nil {
		t.Fatal(err)
	}
	got, err := Load(filepath.Join(dir, "bench.toml"))
	if err != nil {
		t.Fatal(err)
	}
	want := defaults(got.File)
	want.Press.Name, want.Switch.Line, want.Caliper.Port = "north-bench", "GPIO17", "/dev/caliper0"
	want.Store.Path = filepath.Join(dir, "benchtally.db")
	want.Specs, want.Jobs, want.JobFiles = got.Specs, got.Jobs, []string{filepath.Join(dir, "jobs.csv")}
	if diff := cmp.Diff(got, want, plain); diff != "" {
		t.Errorf("the example is not the default: got -, want +\n%s", diff)
	}
	if len(got.Jobs) < 2 {
		t.Errorf("%d example job cards", len(got.Jobs))
	}
	if len(got.Specs) < 5 {
		t.Errorf("%d example specifications", len(got.Specs))
	}
	for _, s := range got.Specs {
		if s.Revision != invented {
			t.Errorf("example %s is not marked as invented", s.ID)
		}
	}
	w := got.Warnings()
	if len(w) != 1 || !strings.Contains(w[0], "invented examples") {
		t.Errorf("warnings %q", w)
	}
}

// The example has every key, each with a note, and no other.
func TestExampleAndKeysDoNotDrift(t *testing.T) {
	dir := t.TempDir()
	if _, _, err := deploy.Init(dir); err != nil {
		t.Fatal(err)
	}
	text := content(t, filepath.Join(dir, "bench.toml"))
	lines := strings.Split(text, "\n")
	var got, want []string
	noted := 0
	for _, e := range parse("bench.toml", []byte(text)).entries {
		got = append(got, e.key())
		if strings.Contains(lines[e.line-1], " # ") {
			noted = e.line
		} else if e.line != noted+1 { // one note may speak of two lines
			t.Errorf("line %d has no note: %s", e.line, lines[e.line-1])
		}
	}
	for _, k := range keys {
		if k.table != standardsTable { // nobody's ring is like another's: it stands there as a comment
			want = append(want, k.table+"."+k.name)
		}
	}
	if diff := cmp.Diff(got, want); diff != "" {
		t.Errorf("example -, keys +\n%s", diff)
	}
}

// The header of the example has every column, in the order of the table.
func TestExampleAndColumnsDoNotDrift(t *testing.T) {
	dir := t.TempDir()
	if _, _, err := deploy.Init(dir); err != nil {
		t.Fatal(err)
	}
	header, _, _ := strings.Cut(content(t, filepath.Join(dir, "specs.csv")), "\n")
	if want := strings.Join(newSheet("", nil, specColumns(crimp.Scale{})).columnNames(true), ","); header != want {
		t.Errorf("header %q, want %q", header, want)
	}
	header, _, _ = strings.Cut(content(t, filepath.Join(dir, "jobs.csv")), "\n")
	if want := strings.Join(newSheet("", nil, jobColumns()).columnNames(true), ","); header != want {
		t.Errorf("header %q, want %q", header, want)
	}
}
