package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"benchtally/agent/config"
	"benchtally/agent/crimp"
)

// TestJobsAreReadAnew: a new file of job cards is taken over, a bad one is not, and
// both are told.
func TestJobsAreReadAnew(t *testing.T) {
	file := filepath.Join(t.TempDir(), "jobs.csv")
	written := time.Date(2026, 3, 2, 5, 0, 0, 0, time.UTC)
	write := func(text string) {
		t.Helper()
		written = written.Add(time.Minute)
		if err := os.WriteFile(file, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		if err := os.Chtimes(file, written, written); err != nil {
			t.Fatal(err)
		}
	}
	const head = "order,quantity,a_spec\n"
	write(head + "A-1,6,hs-08\n")
	specs := []crimp.Spec{{ID: "hs-08"}}
	first, err := config.ReadJobs([]string{file}, specs)
	if err != nil {
		t.Fatal(err)
	}
	now := time.Date(2026, 3, 2, 6, 0, 0, 0, time.UTC)
	j := newJobs(&config.Config{Specs: specs, Jobs: first, JobFiles: []string{file}}, func() time.Time { return now })
	want := func(order string, quantity int, trouble string) {
		t.Helper()
		got, ok := j.Of(order)
		if ok != (quantity > 0) || got.Quantity != quantity {
			t.Errorf("%s: %+v, %t, want %d", order, got, ok, quantity)
		}
		if said := j.Trouble(); (said == "") != (trouble == "") || !strings.Contains(said, trouble) {
			t.Errorf("trouble %q, want %q", said, trouble)
		}
	}
	want("A-1", 6, "")
	write(head + "A-1,8,hs-08\nA-2,3,hs-08\n")
	want("A-1", 6, "") // not looked at again so soon
	now = now.Add(3 * time.Second)
	want("A-1", 8, "")
	want("A-2", 3, "")
	write(head + "A-1,8,hs-08\nA-2,three,hs-08\n")
	now = now.Add(3 * time.Second)
	want("A-2", 3, "jobs.csv:3: quantity = three")
	write(head + "A-1,8,hs-99\nA-2,three,hs-08\nA-2,4,hs-08\n")
	now = now.Add(3 * time.Second)
	want("A-2", 3, "; and 2 more faults: benchtally check tells all")
	if err := os.Remove(file); err != nil {
		t.Fatal(err)
	}
	now = now.Add(-time.Hour) // a clock that was put back
	want("A-2", 3, "there is no file")
	now = now.Add(3 * time.Second)
	written = now.Add(-90 * time.Second)
	write(head + "A-3,1,hs-08\n")
	now = now.Add(-29 * time.Second)
	want("A-3", 0, "there is no file") // written a second ago: more of it may be on its way
	now = now.Add(3 * time.Second)
	want("A-3", 1, "")
	want("A-2", 0, "")
	if all := j.All(); len(all) != 1 {
		t.Errorf("%d job cards", len(all))
	}
}
