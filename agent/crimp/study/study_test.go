package study

import (
	"flag"
	"os"
	"slices"
	"strings"
	"testing"
)

var update = flag.Bool("update", false, "make the whole study anew and write its files, in about two minutes")

// The study's files.
const (
	tableFile  = "study.csv"
	reportFile = "RESULTS.md"
	plotFile   = "study.svg"
)

func cells() []Cell { return slices.Concat(Grid(), Others()) }

// TestStudy makes the study, with -update all of it, else a part; the part must
// come out byte for byte as it is in the table. In either case the claims must
// hold.
func TestStudy(t *testing.T) {
	if *update {
		var b strings.Builder
		b.WriteString(header + "\n")
		for _, c := range cells() {
			r := c.Run()
			b.WriteString(c.rows(r))
			claim(t, c, r)
		}
		write(t, tableFile, b.String())
		TestReport(t)
		return
	}
	table := read(t, tableFile)
	step := 67
	if testing.Short() {
		step = 240
	}
	for i, c := range cells() {
		if i%step != step/2 {
			continue
		}
		r := c.Run()
		claim(t, c, r)
		if want := c.rows(r); !strings.Contains(table, "\n"+want) {
			t.Errorf("%s does not have these lines, or other ones: run go test ./agent/crimp/study -run TestStudy -update\n%s",
				tableFile, want)
		}
	}
}

// TestReport makes the report and the plot of the table; they must be as they
// are, byte for byte. With -update it writes them.
func TestReport(t *testing.T) {
	table := parsed(t)
	for name, text := range map[string]string{reportFile: report(table), plotFile: plot(table)} {
		if strings.Contains(text, "NaN") || strings.Contains(text, "{") {
			t.Errorf("%s lacks figures", name)
		}
		if *update {
			write(t, name, text)
		} else if text != read(t, name) {
			t.Errorf("%s is not what its table makes: run go test ./agent/crimp/study -run TestStudy -update", name)
		}
	}
}

// TestTableIsWhole: every cell is there, once and in its order, with every
// policy.
func TestTableIsWhole(t *testing.T) {
	rows := parsed(t)
	i := 0
	for _, c := range cells() {
		for _, p := range c.Policies() {
			if want := c.key() + "," + p.Name; i >= len(rows) || strings.Join(rows[i][:columnScrap], ",") != want {
				t.Fatalf("line %d of the table is not %s", i+2, want)
			}
			i++
		}
	}
	if i != len(rows) {
		t.Errorf("%d lines, want %d", len(rows), i)
	}
}

func read(t *testing.T, name string) string {
	t.Helper()
	b, err := os.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}

func write(t *testing.T, name, text string) {
	t.Helper()
	if err := os.WriteFile(name, []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
}

func parsed(t *testing.T) Table {
	t.Helper()
	rows, err := parse(read(t, tableFile))
	if err != nil {
		t.Fatal(err)
	}
	return rows
}
