package port

import (
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
	"time"
)

// A plug that comes and goes without end is told five times, and is one trouble from
// then on until it has stayed for a minute.
func TestComingAndGoing(t *testing.T) {
	at := time.Date(2026, 3, 2, 6, 0, 0, 0, time.UTC)
	var c coming
	away, back, open := 0, 0, false
	pass := func(d time.Duration) {
		for end := at.Add(d); at.Before(end); at = at.Add(time.Second) {
			if open && c.away && c.due(at) <= 0 {
				c.away = false
				back++
			}
		}
	}
	goes := func(why string, lost bool) {
		open = false
		c.goes(at, lost)
		if c.news(why, strings.HasSuffix(why, "gone"), at, time.Minute) {
			away++
		}
	}
	comes := func() {
		open = true
		c.comes(at, time.Minute)
	}
	want := func(what string, wantAway, wantBack int) {
		t.Helper()
		if away != wantAway || back != wantBack {
			t.Errorf("%s: told away %d times and back %d, want %d and %d", what, away, back, wantAway, wantBack)
		}
	}
	for range 1000 {
		goes("gone", true)
		pass(2 * time.Second)
		comes()
		pass(2 * time.Second)
	}
	want("a thousand times in an hour", 5, 4)
	pass(time.Minute)
	want("it has stayed for a minute", 5, 5)
	pass(10 * time.Minute)
	goes("gone", true)
	comes()
	pass(2 * time.Second)
	want("once more, much later", 6, 6)

	// What else keeps it away is told when it is met twice in a row.
	pass(time.Hour)
	goes("gone", true)
	for range 100 {
		goes("in use", false)
		goes("dead", false)
	}
	want("two causes that take turns", 7, 6)
	goes("in use", false)
	goes("in use", false)
	want("another cause that stays", 8, 6)
	goes("gone", false)
	goes("gone", false)
	goes("still gone", false)
	goes("still gone", false)
	want("gone, in other words", 9, 6)
	at = at.Add(-time.Hour)
	if c.restless(at, time.Minute) {
		t.Error("a clock that was set back makes it restless")
	}
}

// descriptors counts the open files of this process.
func descriptors(t *testing.T) int {
	t.Helper()
	entries, err := os.ReadDir("/proc/self/fd")
	if err != nil {
		t.Skip(err)
	}
	return len(entries)
}

// The cable is in and out a hundred times: what was sent meanwhile arrives, no more
// is told than somebody can read, and nothing is left open.
func TestInAndOutLeavesNothing(t *testing.T) {
	name := filepath.Join(t.TempDir(), "usb-adapter-if00-port0")
	tr := newTree(t)
	goroutines, files := runtime.NumGoroutine(), descriptors(t)
	t.Run("rounds", func(t *testing.T) {
		u := runLink(t, tr.machine, Port{Name: name})
		told := map[string]int{}
		line := func(want string) { // passes over what is told of the port
			t.Helper()
			for {
				select {
				case got := <-u.told:
					if got == "line "+want {
						return
					}
					told[got[:4]]++
				case <-time.After(5 * time.Second):
					t.Fatalf("no line %s within 5 s", want)
				}
			}
		}
		for i := range 100 {
			master, slave := terminal(t)
			tr.link(slave, name)
			write(t, master, fmt.Sprintf("half\r\n%d\r\n", i))
			line("half")
			line(fmt.Sprint(i))
			if err := master.Close(); err != nil {
				t.Fatal(err)
			}
		}
		if told["away"] < often || told["away"] > often+1 || told["back"] != often-1 && told["back"] != often {
			t.Errorf("told %v, want away %d times and back once less", told, often)
		}
	})
	for range 100 {
		if runtime.NumGoroutine() <= goroutines && descriptors(t) <= files {
			return
		}
		time.Sleep(10 * time.Millisecond) // what ended is still being put away
	}
	t.Errorf("%d goroutines and %d files, %d and %d before", runtime.NumGoroutine(), descriptors(t), goroutines, files)
}
