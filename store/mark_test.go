package store

import (
	"bytes"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

func TestMarksAreKept(t *testing.T) {
	s := open(t, place(t), Options{})
	mark := func(name string, want uint64, note string) {
		t.Helper()
		seq, got, err := s.Mark(name)
		if err != nil {
			t.Fatal(err)
		}
		if seq != want || string(got) != note {
			t.Errorf("mark %s: %d, %q; want %d, %q", name, seq, got, want, note)
		}
	}
	set := func(name string, seq uint64, note string) {
		t.Helper()
		if err := s.SetMark(name, seq, []byte(note)); err != nil {
			t.Fatal(err)
		}
	}
	mark("births", 0, "")
	fill(t, s, 3, 1)
	set("births", 7, "")
	set("node", 2, "what was last")
	mark("births", 7, "")
	mark("node", 2, "what was last")

	fill(t, s, 1, 1) // they ride along
	s.writing.Lock()
	clean := s.kept.moves == s.now.moves
	s.writing.Unlock()
	if !clean {
		t.Error("an append has not kept the marks")
	}
	s = reopen(t, s)
	mark("births", 7, "")
	mark("node", 2, "what was last")

	set("births", 8, "")
	if err := s.FlushSent(); err != nil {
		t.Fatal(err)
	}
	other, err := os.ReadFile(s.path) // as a power cut would leave it
	if err != nil {
		t.Fatal(err)
	}
	copied := place(t)
	if err := os.WriteFile(copied, other, 0o600); err != nil {
		t.Fatal(err)
	}
	s = open(t, copied, Options{})
	mark("births", 8, "")
	mark("node", 2, "what was last")
	mustHold(t, s, 1, 4)
	closed(t, s)
	if report, err := Verify(copied); err != nil || len(report.Damage) > 0 {
		t.Errorf("verify: %v, %+v", err, report)
	}
}

func TestMarksRefused(t *testing.T) {
	s := open(t, place(t), Options{})
	for name, note := range map[string][]byte{"": nil, strings.Repeat("x", 33): nil, "large": make([]byte, maxNote+1)} {
		if err := s.SetMark(name, 1, note); err == nil {
			t.Errorf("mark %q of %d bytes is taken", name, len(note))
		}
	}
}

func TestDamagedMarkIsNamed(t *testing.T) {
	s := open(t, filepath.Join(t.TempDir(), "damaged.db"), Options{})
	if err := s.SetMark("node", 1, []byte("something to be found in the file")); err != nil {
		t.Fatal(err)
	}
	closed(t, s)
	b, err := os.ReadFile(s.path)
	if err != nil {
		t.Fatal(err)
	}
	b = bytes.ReplaceAll(b, []byte("to be found"), []byte("to be lost!"))
	if err := os.WriteFile(s.path, b, 0o600); err != nil {
		t.Fatal(err)
	}
	s = open(t, s.path, Options{})
	if seq, note, err := s.Mark("node"); !errors.Is(err, ErrCorrupt) || !strings.Contains(err.Error(), "mark node") {
		t.Errorf("got %d, %q, %v; want ErrCorrupt and the mark's name", seq, note, err)
	}
	closed(t, s)
	report, err := Verify(s.path)
	if err != nil || len(report.Damage) != 1 || !strings.Contains(report.Damage[0], "mark node") {
		t.Errorf("verify: %v, %q; want the mark named", err, report.Damage)
	}
}
