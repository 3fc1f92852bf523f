package main

import (
	"bytes"
	"context"
	"flag"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"golang.org/x/tools/txtar"
)

var update = flag.Bool("update", false, "rewrite the wanted records of testdata/shifts")

// shifts are the scenarios: a tape and the records that it must give.
const shifts = "../testdata/shifts"

// command runs the program as its user would and returns what it printed.
func command(t *testing.T, stdin string, args ...string) (code int, stdout, stderr string) {
	t.Helper()
	var out, errs bytes.Buffer
	code = run(env{context.Background(), strings.NewReader(stdin), &out, &errs}, args)
	return code, out.String(), errs.String()
}

// shop writes the shifts' configuration into a new folder, with the tables of
// change in place of its own.
func shop(t testing.TB, change string) (dir, config string) {
	t.Helper()
	dir = t.TempDir()
	read := func(name string) string {
		b, err := os.ReadFile(filepath.Join(shifts, name))
		if err != nil {
			t.Fatal(err)
		}
		return string(b)
	}
	config = filepath.Join(dir, "bench.toml")
	for name, text := range map[string]string{"specs.csv": read("specs.csv"), "bench.toml": merge(read("bench.toml"), change)} {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	return dir, config
}

// shopFor is the shop of a scenario, with the job cards that it has.
func shopFor(t testing.TB, a *txtar.Archive) (dir, config string) {
	t.Helper()
	dir, config = shop(t, section(a, "config"))
	if cards := section(a, "jobs"); cards != "" {
		write(t, filepath.Join(dir, "jobs.csv"), cards)
	}
	return dir, config
}

// merge puts the tables of change in the place of those of the same name.
func merge(base, change string) string {
	tables := func(text string) (names []string, body map[string]string) {
		body = map[string]string{}
		name := ""
		for line := range strings.Lines(text) {
			if strings.HasPrefix(line, "[") {
				name = strings.TrimSpace(line)
				names = append(names, name)
			}
			body[name] += line
		}
		return names, body
	}
	names, body := tables(base)
	more, other := tables(change)
	for _, name := range more {
		if _, ok := body[name]; !ok {
			names = append(names, name)
		}
		body[name] = other[name]
	}
	var out strings.Builder
	for _, name := range names {
		out.WriteString(body[name])
	}
	return out.String()
}

// section is a file of an archive; "" when it has none of the name.
func section(a *txtar.Archive, name string) string {
	for _, f := range a.Files {
		if f.Name == name {
			return string(f.Data)
		}
	}
	return ""
}

// scenarios are the names of all shifts.
func scenarios(t testing.TB) []string {
	t.Helper()
	names, err := filepath.Glob(filepath.Join(shifts, "*.txtar"))
	if err != nil || len(names) < 30 {
		t.Fatalf("%d scenarios, %v", len(names), err)
	}
	return names
}

func TestShifts(t *testing.T) {
	for _, name := range scenarios(t) {
		t.Run(strings.TrimSuffix(filepath.Base(name), ".txtar"), func(t *testing.T) {
			a, err := txtar.ParseFile(name)
			if err != nil {
				t.Fatal(err)
			}
			dir, config := shopFor(t, a)
			tape := filepath.Join(dir, "tape.jsonl")
			if err := os.WriteFile(tape, []byte(section(a, "tape")), 0o600); err != nil {
				t.Fatal(err)
			}
			code, got, errs := command(t, "", "replay", tape, "--config", config)
			if code != exitDone {
				t.Fatalf("exit %d: %s", code, errs)
			}
			if *update {
				for i := range a.Files {
					if a.Files[i].Name == "want" {
						a.Files[i].Data = []byte(got)
					}
				}
				if err := os.WriteFile(name, txtar.Format(a), 0o644); err != nil {
					t.Fatal(err)
				}
				return
			}
			if diff := cmp.Diff(strings.Split(section(a, "want"), "\n"), strings.Split(got, "\n")); diff != "" {
				t.Errorf("records, want -, got +:\n%s", diff)
			}
			if code, again, _ := command(t, "", "replay", tape, "--config", config); code != exitDone || again != got {
				t.Errorf("the second replay differs")
			}
		})
	}
}
