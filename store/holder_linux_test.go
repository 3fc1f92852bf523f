package store

import (
	"fmt"
	"os"
	"strings"
	"testing"
	"time"
)

// Who has the store is told with its process.
func TestSecondOpeningSaysWhoHasIt(t *testing.T) {
	s := open(t, place(t), Options{})
	_, err := Open(s.path, Options{wait: time.Millisecond})
	if want := fmt.Sprintf("(process %d, ", os.Getpid()); err == nil || !strings.Contains(err.Error(), "is in use by another benchtally") || !strings.Contains(err.Error(), want) {
		t.Errorf("%v, want %q", err, want)
	}
}

func TestHolderIn(t *testing.T) {
	locks := "1: FLOCK  ADVISORY  WRITE 412 b3:02:1311 0 EOF\n" +
		"2: POSIX  ADVISORY  WRITE 400 b3:02:77 0 EOF\n" +
		"3: FLOCK  ADVISORY  WRITE -1 00:2e:78 0 EOF\n" +
		"4: -> FLOCK  ADVISORY  WRITE 9 b3:02:79 0 EOF\n\n"
	for inode, want := range map[uint64]string{1311: "process 412, benchtally run", 77: "", 78: "", 79: "", 311: "", 1: ""} {
		got := holderIn(locks, inode, func(pid int) string { return "/usr/bin/benchtally\x00run\x00--config\x00x" })
		if got != want {
			t.Errorf("inode %d: %q, want %q", inode, got, want)
		}
	}
	if got := holderIn(locks, 1311, func(int) string { return "" }); got != "process 412" {
		t.Errorf("a process that says nothing of itself: %q", got)
	}
}
