//go:build linux

package sensors

import (
	"bytes"
	"cmp"
	"context"
	"errors"
	"io/fs"
	"log"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"golang.org/x/sys/unix"
	"periph.io/x/conn/v3/gpio"
	"periph.io/x/host/v3/gpioioctl"
)

var _ lineSet = (*gpioioctl.LineSet)(nil)

// A fakeSet is a set of lines whose edges come when the test says.
type fakeSet struct {
	bits   gpio.GPIOValue
	err    error         // of Read
	after  time.Duration // when the edge comes
	fails  error         // of WaitForEdge
	number int           // of the line of the edge, 0 for 17
	waits  []time.Duration
}

func (s *fakeSet) Read(mask gpio.GPIOValue) (gpio.GPIOValue, error) { return s.bits, s.err }

func (s *fakeSet) WaitForEdge(d time.Duration) (int, gpio.Edge, error) {
	s.waits = append(s.waits, d)
	if s.fails != nil {
		return 0, gpio.NoEdge, s.fails
	}
	if s.after >= d {
		time.Sleep(d)
		return 0, gpio.NoEdge, os.ErrDeadlineExceeded
	}
	time.Sleep(s.after)
	return cmp.Or(s.number, 17), gpio.RisingEdge, nil
}

func (s *fakeSet) Close() error { return nil }

func TestContactsWait(t *testing.T) {
	const far = time.Hour
	for _, tc := range []struct {
		name   string
		edge   time.Duration // after which it comes
		d      time.Duration
		asked  time.Duration // of the driver
		passed time.Duration
	}{
		{"no edge", far, 20 * ms, 20 * ms, 20 * ms},
		{"an edge, and the hold-back after it", 5 * ms, 20 * ms, 20 * ms, 6 * ms},
		{"edges one after the other are not taken faster than one a millisecond", 0, 20 * ms, 20 * ms, ms},
		{"never 0", far, 0, ms, ms},
		{"never below 0", far, -time.Second, ms, ms},
		{"never shorter than the driver sees", far, time.Nanosecond, ms, ms},
		{"never long", far, far, 250 * ms, 250 * ms},
	} {
		t.Run(tc.name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				set := &fakeSet{after: tc.edge}
				c := &contacts{set: set, lines: Lines{Up: "GPIO17"}, aside: -1}
				start := time.Now()
				if err := c.Wait(t.Context(), tc.d); err != nil {
					t.Error(err)
				}
				if got := time.Since(start); got != tc.passed || set.waits[0] != tc.asked {
					t.Errorf("waited %v, asked %v; want %v, %v", got, set.waits[0], tc.passed, tc.asked)
				}
			})
		})
	}
}

func TestContactsErrors(t *testing.T) {
	gone := errors.New("no such device")
	c := &contacts{set: &fakeSet{err: gone, fails: gone}, lines: Lines{Up: "GPIO17", Rest: "GPIO27"}}
	if _, err := c.Levels(); errText(err) != "read GPIO17, GPIO27: no such device" {
		t.Error(err)
	}
	if err := c.Wait(t.Context(), ms); errText(err) != "wait for GPIO17, GPIO27: no such device" {
		t.Error(err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if err := c.Wait(ctx, ms); err != nil {
		t.Errorf("after the end: %v", err)
	}
}

func TestContactsLevels(t *testing.T) {
	c := &contacts{set: &fakeSet{bits: 0b10}, lines: Lines{Up: "GPIO17", Rest: "GPIO27", ActiveLow: true}}
	if got, err := c.Levels(); err != nil || got != (Levels{Up: true}) {
		t.Errorf("%+v, %v", got, err)
	}
}

func TestRefused(t *testing.T) {
	c := header()
	used := header()
	used.lines[17].User = "display@412"
	for _, tc := range []struct {
		name string
		chip chip
		err  string
		want string
	}{
		{"busy since the start", used, "device or resource busy", "open GPIO17 of gpiochip0 (pinctrl-bcm2711): used by another program (at the start GPIO17 by display@412): device or resource busy"},
		{"busy since", c, "device or resource busy", "open GPIO17 of gpiochip0 (pinctrl-bcm2711): used by another program (gpioinfo names the program): device or resource busy"},
		{"anything else", c, "invalid argument", "open GPIO17 of gpiochip0 (pinctrl-bcm2711): invalid argument"},
	} {
		if got := refused(errors.New(tc.err), tc.chip, Lines{Up: "GPIO17"}); got.Error() != tc.want {
			t.Errorf("%s: %v\nwant %s", tc.name, got, tc.want)
		}
	}
}

func TestReachable(t *testing.T) {
	dir := t.TempDir()
	pattern := filepath.Join(dir, "gpiochip*")
	err := reachable(pattern)
	if err == nil || !strings.HasPrefix(err.Error(), "no GPIO chip found: there is no "+pattern+"; ") {
		t.Errorf("none there: %v", err)
	}
	locked := filepath.Join(dir, "gpiochip0")
	if err := os.WriteFile(locked, nil, 0); err != nil {
		t.Fatal(err)
	}
	if os.Geteuid() != 0 { // nothing is locked for root
		err = reachable(pattern)
		if !errors.Is(err, fs.ErrPermission) || !strings.Contains(err.Error(), "usermod -aG gpio") {
			t.Errorf("locked: %v", err)
		}
	}
	if err := os.WriteFile(filepath.Join(dir, "gpiochip1"), nil, 0o600); err != nil {
		t.Fatal(err)
	}
	if err := reachable(pattern); err != nil {
		t.Errorf("one of two can be opened: %v", err)
	}
}

// Whatever has closed descriptor 0 meanwhile, it is afterwards what it was.
func TestKeepingStdin(t *testing.T) {
	stat := func() (st unix.Stat_t) {
		if err := unix.Fstat(0, &st); err != nil {
			t.Fatal(err)
		}
		return st
	}
	before := stat()
	for range 2 {
		if err := keepingStdin(func() error { return unix.Close(0) }); err != nil {
			t.Fatal(err)
		}
		if after := stat(); after.Dev != before.Dev || after.Ino != before.Ino {
			t.Fatalf("descriptor 0 was %d/%d and is %d/%d", before.Dev, before.Ino, after.Dev, after.Ino)
		}
	}
	want := errors.New("no")
	if err := keepingStdin(func() error { return want }); !errors.Is(err, want) {
		t.Errorf("%v, want %v", err, want)
	}
}

func TestQuietlyPutsTheLogBack(t *testing.T) {
	var said bytes.Buffer
	w, flags, prefix := log.Writer(), log.Flags(), log.Prefix()
	defer func() { log.SetOutput(w); log.SetFlags(flags); log.SetPrefix(prefix) }()
	log.SetOutput(&said)
	log.SetFlags(log.Lmsgprefix)
	log.SetPrefix("own: ")
	if err := quietly(func() error { log.Println("chatter of the driver"); return nil }); err != nil {
		t.Fatal(err)
	}
	log.Println("after")
	if got, want := said.String(), "own: after\n"; got != want {
		t.Errorf("log has %q, want %q", got, want)
	}
}

// On a machine without chips, all ways in say so. With chips, what is found can
// be listed and a wrong name is refused.
func TestOpenHere(t *testing.T) {
	found, err := filepath.Glob("/dev/gpiochip*")
	if err != nil {
		t.Fatal(err)
	}
	if len(found) == 0 {
		const want = "no GPIO chip found: there is no /dev/gpiochip*; "
		_, errList := Available()
		_, errOpen := Open(Lines{Up: "GPIO17"})
		for _, err := range []error{Init(), errList, errOpen} {
			if err == nil || !strings.HasPrefix(err.Error(), want) {
				t.Errorf("%v, want %s…", err, want)
			}
		}
		return
	}
	lines, err := Available()
	if err != nil {
		t.Skipf("chips that cannot be used: %v", err)
	}
	if len(lines) == 0 {
		t.Error("chips without lines")
	}
	if _, err := Open(Lines{Up: "no such line"}); err == nil || !strings.Contains(err.Error(), "no line is named") {
		t.Errorf("a wrong name: %v", err)
	}
}
