package main

import (
	"context"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"benchtally/agent/config"
	"benchtally/agent/crimp"
	"benchtally/agent/record"
)

// TestJobsAreReadAnew: a new file of job cards is taken over, a bad one is not, and
// both are told.
func TestJobsAreReadAnew(t *testing.T) {
	file := filepath.Join(t.TempDir(), "jobs.csv")
	written := time.Date(2026, 3, 2, 5, 0, 0, 0, time.UTC)
	write := func(text string) {
		t.Helper()
		written = written.Add(time.Minute)
		write(t, file, text)
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
	later := func(d time.Duration) {
		now = now.Add(d)
		j.look()
	}
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
	later(3 * time.Second)
	want("A-1", 8, "")
	want("A-2", 3, "")
	write(head + "A-1,8,hs-08\nA-2,three,hs-08\n")
	later(3 * time.Second)
	want("A-2", 3, "jobs.csv:3: quantity = three")
	write(head + "A-1,8,hs-99\nA-2,three,hs-08\nA-2,4,hs-08\n")
	later(3 * time.Second)
	want("A-2", 3, "; and 2 more faults: benchtally check tells all")
	if err := os.Remove(file); err != nil {
		t.Fatal(err)
	}
	later(-time.Hour) // a clock that was put back
	want("A-2", 3, "there is no file")
	written = now.Add(-time.Minute)
	write(head + "A-3,1,hs-08\n") // just now: more of it may be on its way
	later(time.Second)
	want("A-3", 0, "there is no file")
	later(time.Second)
	want("A-3", 1, "")
	want("A-2", 0, "")
	if all := j.All(); len(all) != 1 || all[0].Order != "A-3" {
		t.Errorf("job cards %+v", all)
	}
}

// TestJobsAreWatched: a running agent looks at the files by itself.
func TestJobsAreWatched(t *testing.T) {
	file := filepath.Join(t.TempDir(), "jobs.csv")
	write(t, file, "order,quantity,a_spec\nA-1,6,hs-08\n")
	long := time.Now().Add(-time.Hour)
	if err := os.Chtimes(file, long, long); err != nil {
		t.Fatal(err)
	}
	specs := []crimp.Spec{{ID: "hs-08"}}
	synctest.Test(t, func(t *testing.T) {
		ctx, cancel := context.WithCancel(t.Context())
		j := newJobs(&config.Config{Specs: specs, JobFiles: []string{file}}, time.Now)
		go j.watch(ctx)
		time.Sleep(jobsLook - time.Millisecond)
		synctest.Wait()
		if all := j.All(); len(all) != 0 {
			t.Errorf("looked too soon: %+v", all)
		}
		time.Sleep(time.Millisecond)
		synctest.Wait()
		if got, ok := j.Of("A-1"); !ok || got.Quantity != 6 {
			t.Errorf("%+v, %t", got, ok)
		}
		cancel()
		synctest.Wait() // else it would never end
	})
}

// TestBadJobsKeepNobodyFromStarting: a power cut while the office's file is bad must
// not end the counting; who checks or replays is told all the same.
func TestBadJobsKeepNobodyFromStarting(t *testing.T) {
	dir, file := shop(t, "[[jobs]]\nfile = \"jobs.csv\"\n")
	write(t, filepath.Join(dir, "tape.jsonl"), shortTape)
	write(t, filepath.Join(dir, "jobs.csv"), "order,quantity,a_spec\nA-1001,six,hs-99\n")
	for _, args := range [][]string{{"check", file}, {"check", "--json", file}, {"replay", filepath.Join(dir, "tape.jsonl"), "--config", file}} {
		code, out, errs := command(t, "", args...)
		if code != exitUsage || !strings.Contains(out+errs, "quantity") || !strings.Contains(out+errs, "hs-99") {
			t.Errorf("%v: exit %d, %s%s", args, code, out, errs)
		}
	}
	a := startAgent(t, file)
	a.say(`{"do":"start","order":"A-1001","spec":"hs-08","quantity":6}`)
	if r := a.next(record.Start); r.Quantity != 6 {
		t.Errorf("%+v", r)
	}
	code, out, errs := command(t, "", "status", "--config", file)
	if code != exitDone || !strings.Contains(out, "jobs.csv:2: a_spec = hs-99: is in no specs file") || !strings.Contains(out, "and 1 more fault: benchtally check tells all") {
		t.Errorf("exit %d, %s%s", code, out, errs)
	}
	a.end()
	write(t, filepath.Join(dir, "jobs.csv"), "order,quantity,a_spec\nA-1001,6,hs-08\n")
	if code, out, errs := command(t, "", "check", file); code != exitDone || !strings.Contains(out, "1 job card,") {
		t.Errorf("exit %d, %s%s", code, out, errs)
	}
}
