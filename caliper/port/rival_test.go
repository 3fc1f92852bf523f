package port

import (
	"bufio"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"golang.org/x/sys/unix"
)

// child starts a program with the device as its standard input, and waits until it
// runs. The answer ends it.
func child(t *testing.T, device string, args ...string) (end func()) {
	t.Helper()
	f, err := os.OpenFile(device, os.O_RDWR|unix.O_NOCTTY, 0)
	if err != nil {
		t.Fatal(err)
	}
	c := exec.Command(args[0], args[1:]...)
	c.Stdin = f
	out, err := c.StdoutPipe()
	if err == nil {
		err = c.Start()
	}
	if err != nil {
		t.Skip(err)
	}
	if err := f.Close(); err != nil {
		t.Fatal(err)
	}
	if _, err := bufio.NewReader(out).ReadString('\n'); err != nil {
		t.Fatal(err)
	}
	ended := false
	end = func() {
		if !ended {
			ended = true
			_ = c.Process.Kill()
			_ = c.Wait()
		}
	}
	t.Cleanup(end)
	return end
}

// A port that another program reads is left to it, with the program's name, and taken
// when that lets go: no byte is read by halves.
func TestAnotherProgramReads(t *testing.T) {
	master, slave := terminal(t)
	end := child(t, slave, "sh", "-c", "echo up; exec sleep 60")
	m := thisMachine
	u := runLink(t, m, Port{Name: slave})
	if got := u.want("away open " + slave); !strings.Contains(got, "another program has it") || !strings.Contains(got, "end the program sleep, process ") &&
		!strings.Contains(got, "end the program sh, process ") {
		t.Errorf("%s", got)
	}
	write(t, master, "theirs\r\n")
	end()
	u.want("back " + slave)
	u.want("line theirs") // nobody else has read it
	write(t, master, "ours\r\n")
	u.want("line ours")
}

// A lock tells of programs that this user may not look into.
func TestAnotherProgramLocks(t *testing.T) {
	_, slave := terminal(t)
	end := child(t, slave, "sh", "-c", "flock -x 0 && echo up && exec sleep 60")
	m := thisMachine
	hidden := newTree(t)
	m.proc = hidden.proc // only what everybody may see
	locks, err := os.ReadFile("/proc/locks")
	if err != nil {
		t.Skip(err)
	}
	hidden.file(filepath.Join(hidden.proc, "locks"), string(locks))
	for line := range strings.Lines(string(locks)) {
		if f := strings.Fields(line); len(f) > 4 {
			hidden.file(filepath.Join(hidden.proc, f[4], "comm"), "logger")
		}
	}
	u := runLink(t, m, Port{Name: slave})
	if got := u.want("away open " + slave); !strings.Contains(got, "end the program logger, process ") {
		t.Errorf("%s", got)
	}
	end()
	u.want("back " + slave)
	_, err = m.claim(slave)
	if err == nil || !strings.Contains(m.holder(slave, err), "end") {
		t.Errorf("a second time: %v", err)
	}
}

// One program has a port once.
func TestItsOwnRival(t *testing.T) {
	_, slave := terminal(t)
	d, err := thisMachine.openSerial(slave, Port{Baud: 9600, DataBits: 8})
	if err != nil {
		t.Fatal(err)
	}
	_, err = thisMachine.openSerial(slave, Port{Baud: 9600, DataBits: 8})
	if err == nil || !strings.Contains(thisMachine.trouble("caliper", slave, err).Error(), "this program has it already") {
		t.Errorf("a second time: %v", err)
	}
	if err := d.Close(); err != nil {
		t.Fatal(err)
	}
	if d, err = thisMachine.openSerial(slave, Port{Baud: 9600, DataBits: 8}); err != nil {
		t.Fatalf("once it is free: %v", err)
	}
	if err := d.Close(); err != nil {
		t.Error(err)
	}
}

func TestLockFile(t *testing.T) {
	tr := newTree(t)
	tr.locks = filepath.Join(tr.dev, "lock")
	path := filepath.Join(tr.dev, "ttyUSB0")
	tr.file(path, "")
	lock := filepath.Join(tr.locks, "LCK..ttyUSB0")
	for _, row := range []struct{ name, text, want string }{
		{"of a program that runs", "      812", "end the program terminal, process 812"},
		{"left behind", "      813", ""},
		{"of no number", "terminal", ""},
		{"of this program", fmt.Sprint(os.Getpid()), ""},
	} {
		tr.file(filepath.Join(tr.proc, "812", "comm"), "terminal")
		tr.file(lock, row.text)
		by, taken := tr.rival(path)
		if taken != (row.want != "") || taken && tr.holder(path, rivalError{by}) != row.want {
			t.Errorf("%s: %+v, %v", row.name, by, taken)
		}
	}
}

// A device that has gone mad sends as fast as it is read, and is still read by
// mouthfuls: so many reads a second, and no more.
func TestFloodIsReadByMouthfuls(t *testing.T) {
	master, slave := terminal(t)
	ctx := t.Context()
	u := &mouthfuls{enough: 100}
	l := &Link{Port: Port{Name: slave}, Of: "gauge", User: u, Now: time.Now}
	go func() {
		flood := []byte(strings.Repeat("\xa5\x5a garbage ", 100))
		for ctx.Err() == nil {
			if _, err := master.Write(flood); err != nil {
				return
			}
		}
	}()
	if err := l.Run(ctx); err != errEnough {
		t.Fatal(err)
	}
	if least := 99 * breath; u.took < least {
		t.Errorf("%d reads in %v: want no more than one in %v", u.enough, u.took, breath)
	}
	if most := u.enough * atOnce; u.bytes > most {
		t.Errorf("%d bytes at once, want no more than %d", u.bytes, most)
	}
}

var errEnough = fmt.Errorf("enough")

// mouthfuls counts reads of a flood.
type mouthfuls struct {
	failing
	enough, reads, bytes int
	began                time.Time
	took                 time.Duration
}

func (m *mouthfuls) Feed(b []byte, at time.Time) error {
	if len(b) == 0 {
		return nil
	}
	if m.reads++; m.reads == 1 {
		m.began = at
	}
	m.bytes += len(b)
	if m.took = at.Sub(m.began); m.reads == m.enough {
		return errEnough
	}
	return nil
}
