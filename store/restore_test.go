package store

import (
	"errors"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"
)

// Yesterday's copy is restored: what it has keeps seq and id, what is new goes on
// behind all that was ever given, and the gap is named.
func TestRestore(t *testing.T) {
	d := dir(t)
	path, backup := filepath.Join(d, "bench.db"), filepath.Join(d, "yesterday.db")
	s := open(t, path, Options{})
	fill(t, s, 300, 10)
	if err := errors.Join(s.Sent(250), s.BackupFile(backup)); err != nil {
		t.Fatal(err)
	}
	first := s.ID() + "-" + s.Run()
	if _, err := s.NextSession(); err != nil {
		t.Fatal(err)
	}
	fill(t, s, 50, 1)
	if err := errors.Join(s.Sent(320), s.FlushSent()); err != nil {
		t.Fatal(err)
	}
	if _, err := Restore(path, backup, RescueOptions{Now: epoch}); !errors.Is(err, ErrLocked) {
		t.Errorf("beside a running agent: %v", err)
	}
	closed(t, s)
	report, err := Restore(path, backup, RescueOptions{Now: epoch})
	if err != nil {
		t.Fatal(err)
	}
	if report.Records != 300 || report.Last != 350 || !slices.Equal(report.Lost, []Range{{301, 350}}) || report.Backup != backup ||
		report.From != path+".before-20260302T060000Z" || !strings.Contains(report.Sentence(), "restored from "+backup) {
		t.Errorf("%+v", report)
	}
	mustBeWhole(t, report.From)
	mustBeWhole(t, path)
	if aside, err := Aside(path); err != nil || len(aside) != 0 {
		t.Errorf("what was restored over is taken for damaged: %v, %v", aside, err)
	}
	s = open(t, path, Options{})
	if got := s.SentSeq(); got != 320 {
		t.Errorf("sent %d, want what was sent before: 320", got)
	}
	if session, err := s.NextSession(); session != 2 || err != nil {
		t.Errorf("session %d, %v", session, err)
	}
	fill(t, s, 1, 1)
	events, err := s.events(299, s.Last(), 10)
	if err != nil || len(events) != 3 || events[0].ID != first+"-300" || events[2].ID != s.ID()+"-"+s.Run()+"-352" {
		t.Errorf("events %v, %v", events, err)
	}
	closed(t, s)

	// Without a store, the copy alone says where to go on.
	if err := os.Rename(path, path+".gone"); err != nil {
		t.Fatal(err)
	}
	report, err = Restore(path, backup, RescueOptions{Now: epoch.Add(time.Hour)})
	if err != nil || report.Last != 300 || len(report.Lost) != 0 {
		t.Errorf("%+v, %v", report, err)
	}
	if _, err := Restore(path, path, RescueOptions{Now: epoch}); err == nil {
		t.Error("a store was restored from itself")
	}
	mustBeWhole(t, path)
}
