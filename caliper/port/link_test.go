package port

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// notes writes down what a link tells it: whole lines, and when the port is away
// and back.
type notes struct {
	t    *testing.T
	ctx  context.Context
	half []byte
	told chan string
}

func (u *notes) tell(format string, args ...any) error {
	select {
	case u.told <- fmt.Sprintf(format, args...):
		return nil
	case <-u.ctx.Done():
		return u.ctx.Err()
	}
}

func (u *notes) Restart(time.Time)                     { u.half = nil }
func (u *notes) Wait(time.Time) time.Duration          { return 0 }
func (u *notes) Away(reason string, _ time.Time) error { return u.tell("away %s", reason) }
func (u *notes) Back(path string, _ time.Time) error   { return u.tell("back %s", path) }
func (u *notes) Feed(b []byte, _ time.Time) (err error) {
	u.half = append(u.half, b...)
	for err == nil {
		i := bytes.IndexAny(u.half, "\r\n")
		if i < 0 {
			return nil
		}
		if i > 0 {
			err = u.tell("line %s", u.half[:i])
		}
		u.half = u.half[i+1:]
	}
	return err
}

// want waits for the next thing told and checks how it begins.
func (u *notes) want(beginning string) string {
	u.t.Helper()
	select {
	case got := <-u.told:
		if !strings.HasPrefix(got, beginning) {
			u.t.Fatalf("got %q, want %q", got, beginning)
		}
		return got
	case <-time.After(5 * time.Second):
		u.t.Fatalf("no %q within 5 s", beginning)
		return ""
	}
}

// runLink keeps a port open that is looked for every few milliseconds.
func runLink(t *testing.T, m machine, p Port) *notes {
	t.Helper()
	ctx, cancel := context.WithCancel(t.Context())
	u := &notes{t: t, ctx: ctx, told: make(chan string, 64)}
	l := &Link{Port: p, Of: "gauge", User: u, Now: time.Now, First: 2 * time.Millisecond, Most: 10 * time.Millisecond}
	done := make(chan error, 1)
	go func() { done <- l.run(ctx, m) }()
	t.Cleanup(func() {
		cancel()
		if err := <-done; err != nil {
			t.Errorf("run: %v", err)
		}
	})
	return u
}

func write(t *testing.T, f *os.File, text string) {
	t.Helper()
	if _, err := f.WriteString(text); err != nil {
		t.Fatal(err)
	}
}

// A plain device name means the device that was there first, wherever it is now.
func TestFoundUnderAnotherName(t *testing.T) {
	for _, row := range []struct{ name, serial, socket, other string }{
		{"another socket, by its serial number", "A1", "1-4", "B2"},
		{"the same socket, no serial number", "", "1-1", ""},
	} {
		t.Run(row.name, func(t *testing.T) {
			tr := newTree(t)
			master, slave := terminal(t)
			tr.usb("ttyUSB0", "1-1", row.serial, slave)
			u := runLink(t, tr.machine, Port{Name: filepath.Join(tr.dev, "ttyUSB0")})
			write(t, master, "one\r\n")
			u.want("line one")

			// Another adapter takes the name, ours comes back under a new one.
			tr.unplug("ttyUSB0", "1-1")
			_, stranger := terminal(t)
			tr.usb("ttyUSB0", "1-2", row.other, stranger)
			again, slave := terminal(t)
			tr.usb("ttyUSB1", row.socket, row.serial, slave)
			write(t, master, "half")
			if err := master.Close(); err != nil {
				t.Fatal(err)
			}
			u.want("away ")
			if got := u.want("back "); !strings.Contains(got, "ttyUSB1") {
				t.Fatalf("%s", got)
			}
			write(t, again, "two\r\n")
			u.want("line two")
		})
	}
}

// What is away is told once, with what to do.
func TestAwayIsToldOnce(t *testing.T) {
	tr := newTree(t)
	name := filepath.Join(tr.dev, "serial", "by-id", "usb-adapter-if00-port0")
	u := runLink(t, tr.machine, Port{Name: name})
	if got := u.want("away " + name + " is not there"); !strings.Contains(got, "plug the gauge's cable in") {
		t.Errorf("%s", got)
	}
	master, slave := terminal(t)
	tr.link(slave, name)
	u.want("back " + name)
	write(t, master, "one\r\n")
	u.want("line one")
	tr.remove(name)
	if err := master.Close(); err != nil {
		t.Fatal(err)
	}
	u.want("away ")
	master, slave = terminal(t)
	tr.link(slave, name)
	u.want("back " + name)
	if err := master.Close(); err != nil {
		t.Fatal(err)
	}
	u.want("away ")
}

// An error of the user ends the link, a wrong port names all that is.
func TestErrorsEndTheLink(t *testing.T) {
	over := errors.New("enough")
	master, slave := terminal(t)
	l := &Link{Port: Port{Name: slave}, Of: "gauge", Now: time.Now, User: &failing{over}}
	write(t, master, "x")
	if err := l.Run(t.Context()); !errors.Is(err, over) {
		t.Errorf("got %v, want %v", err, over)
	}
	l = &Link{Port: Port{Baud: 3, DataBits: 9}, Of: "gauge", Now: time.Now, User: &failing{over}}
	err := l.Run(t.Context())
	for _, part := range []string{"gauge port: ", "no port is named", "as the gauge's manual says", "9 data bits"} {
		if err == nil || !strings.Contains(err.Error(), part) {
			t.Errorf("%q is not in: %v", part, err)
		}
	}
}

// failing is a user that takes nothing.
type failing struct{ err error }

func (f *failing) Restart(time.Time)            {}
func (f *failing) Wait(time.Time) time.Duration { return 0 }
func (f *failing) Away(string, time.Time) error { return f.err }
func (f *failing) Back(string, time.Time) error { return f.err }
func (f *failing) Feed([]byte, time.Time) error { return f.err }

func TestLine(t *testing.T) {
	if got := (Port{Name: "x"}).Line(); got != "9600 8N1" {
		t.Errorf("line %q", got)
	}
	if got := (Port{Name: "x", Baud: 4800, DataBits: 7, Parity: "even", StopBits: "2"}).Line(); got != "4800 7E2" {
		t.Errorf("line %q", got)
	}
}
