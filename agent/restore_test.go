package main

import (
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"benchtally/agent/record"
	"benchtally/store"
)

// TestRestoreCommand: a copy is put back, the agent goes on behind all that was
// given, and says nothing is wrong.
func TestRestoreCommand(t *testing.T) {
	dir, config, path := worked(t, 5, "")
	copied := filepath.Join(dir, "copy.db")
	if code, _, errs := command(t, "", "backup", copied, "--config", config); code != exitDone {
		t.Fatal(errs)
	}
	a := startAgent(t, config)
	a.say(`{"do":"set","setting":118}`)
	last := a.next(record.Set).Seq
	if code, _, errs := command(t, "", "restore", copied, "--config", config); code != exitFault || !strings.Contains(errs, "stop the agent first") {
		t.Errorf("beside the running agent: exit %d, %s", code, errs)
	}
	a.end()
	code, out, errs := command(t, "", "restore", copied, "--config", config, "--json")
	var report store.Rescued
	if code != exitDone || json.Unmarshal([]byte(out), &report) != nil || report.LostCount != 1 || report.Last != last {
		t.Fatalf("exit %d, %s%s", code, out, errs)
	}
	b := startAgent(t, config)
	b.say(`{"do":"set","setting":119}`)
	if r := b.next(record.Set); r.Seq < last+2 {
		t.Errorf("seq %d: want one behind %d and the record of the restoring", r.Seq, last)
	}
	if _, text, _ := command(t, "", "status", "--config", config); !strings.Contains(text, "store       ok") || !strings.Contains(text, "rescued     on ") {
		t.Errorf("status:\n%s", text)
	}
	if code, _, errs := command(t, "", "paper", "certificate", "A-1001", "--config", config, "-o", filepath.Join(dir, "certificate.pdf")); code != exitDone {
		t.Errorf("a paper over what was lost: exit %d, %s", code, errs)
	}
	b.end()
	for _, row := range [][]string{
		{"restore", filepath.Join(dir, "none.db"), "--config", config},
		{"rescue", path, copied},
		{"rescue", filepath.Join(dir, "none.db"), filepath.Join(dir, "new.db")},
	} {
		if code, _, errs := command(t, "", row...); code != exitUsage {
			t.Errorf("%v: exit %d, %s", row, code, errs)
		}
	}
	ruin(t, copied)
	if code, _, errs := command(t, "", "restore", copied, "--config", config); code != exitFault || !strings.Contains(errs, "is damaged itself") {
		t.Errorf("a damaged copy: exit %d, %s", code, errs)
	}
	fresh := filepath.Join(dir, "fresh.db")
	code, out, errs = command(t, "", "rescue", copied, fresh)
	if code != exitDone || !strings.Contains(out, "no loss is known") || !strings.Contains(out, "not certain: ") {
		t.Errorf("rescue: exit %d, %s%s", code, out, errs)
	}
	if code, _, errs := command(t, "", "verify", fresh); code != exitDone {
		t.Errorf("verify: exit %d, %s", code, errs)
	}
	text := filepath.Join(dir, "specs.csv")
	if code, _, errs := command(t, "", "rescue", text, filepath.Join(dir, "other.db")); code != exitFault || !strings.Contains(errs, "holds nothing that benchtally wrote") {
		t.Errorf("rescue of a text: exit %d, %s", code, errs)
	}
	if names, err := os.ReadDir(dir); err != nil || strings.Contains(strings.Join(namesOf(names), " "), "rescu") {
		t.Errorf("left behind: %v, %v", names, err)
	}
}

func namesOf(all []os.DirEntry) (names []string) {
	for _, n := range all {
		names = append(names, n.Name())
	}
	return names
}
