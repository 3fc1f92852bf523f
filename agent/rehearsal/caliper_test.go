package rehearsal

import (
	"context"
	"errors"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"testing"
	"time"

	"golang.org/x/sys/unix"

	"benchtally/agent/crimp"
)

func TestLine(t *testing.T) {
	const tenth = crimp.Thousandth / 10
	for _, tt := range []struct {
		name  string
		value crimp.Length
		unit  crimp.Unit
		want  string
	}{
		{"nothing", 0, crimp.Inches, "+0.0000\r\n"},
		{"half a thousandth", 12045 * tenth, crimp.Inches, "+1.2045\r\n"},
		{"rounded down", 12047 * tenth, crimp.Inches, "+1.2045\r\n"},
		{"rounded up", 12048 * tenth, crimp.Inches, "+1.2050\r\n"},
		{"below nothing", -5 * tenth, crimp.Inches, "-0.0005\r\n"},
		{"below nothing, rounded away", -2 * tenth, crimp.Inches, "-0.0000\r\n"},
		{"millimetres", 30589 * crimp.Micrometre, crimp.Millimetres, "+30.59\r\n"},
		{"inches in millimetres", 12045 * tenth, crimp.Millimetres, "+30.59\r\n"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			if got := line(tt.value, tt.unit); got != tt.want {
				t.Errorf("got %q, want %q", got, tt.want)
			}
		})
	}
}

func newCaliper(t *testing.T, baud int) *Caliper {
	t.Helper()
	c, err := NewCaliper(t.TempDir(), baud)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(c.Close)
	return c
}

// open opens the port as a plain reader does, without setting the line.
func open(t *testing.T, c *Caliper) *os.File {
	t.Helper()
	f, err := os.OpenFile(c.Port(), os.O_RDWR|unix.O_NOCTTY, 0)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = f.Close() })
	return f
}

// read is what one read gives.
func read(t *testing.T, f *os.File) string {
	t.Helper()
	if err := f.SetReadDeadline(time.Now().Add(5 * time.Second)); err != nil {
		t.Fatal(err)
	}
	var b [64]byte
	n, err := f.Read(b[:])
	if err != nil {
		t.Fatal(err)
	}
	return string(b[:n])
}

func send(t *testing.T, c *Caliper, values ...crimp.Length) {
	t.Helper()
	if err := c.Send(t.Context(), values...); err != nil {
		t.Fatal(err)
	}
}

func TestCaliperSendsWholeFrames(t *testing.T) {
	c := newCaliper(t, 9600)
	f := open(t, c)
	send(t, c, 1204*crimp.Thousandth)
	if got := read(t, f); got != "+1.2040\r\n" {
		t.Errorf("one push gave %q", got)
	}
	send(t, c, 1204*crimp.Thousandth, 1204*crimp.Thousandth)
	if got := read(t, f); got != "+1.2040\r\n+1.2040\r\n" {
		t.Errorf("a worn button gave %q", got)
	}
	c.Unit(crimp.Millimetres)
	send(t, c, 30590*crimp.Micrometre)
	if got := read(t, f); got != "+30.59\r\n" {
		t.Errorf("millimetres gave %q", got)
	}
}

func TestCaliperTakesItsTimeOnTheWire(t *testing.T) {
	c := newCaliper(t, 1200)
	open(t, c)
	began := time.Now()
	send(t, c, 1204*crimp.Thousandth)
	// Nine characters of ten bits.
	if took := time.Since(began); took < 75*time.Millisecond {
		t.Errorf("took %s at 1200 baud, want 75 ms", took)
	}
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if err := c.Send(ctx, 0); !errors.Is(err, context.Canceled) {
		t.Errorf("error %v, want that of the context", err)
	}
}

func TestCaliperUnplugged(t *testing.T) {
	c := newCaliper(t, 115200)
	f := open(t, c)
	first, err := os.Readlink(c.Port())
	if err != nil {
		t.Fatal(err)
	}
	ended := make(chan error, 1)
	go func() {
		_, err := f.Read(make([]byte, 64))
		ended <- err
	}()
	c.Unplug()
	c.Unplug()
	select {
	case err := <-ended:
		if !errors.Is(err, unix.EIO) && !errors.Is(err, io.EOF) {
			t.Errorf("the reader got %v, want its end", err)
		}
	case <-time.After(5 * time.Second):
		t.Fatal("the reader still waits")
	}
	if _, err := os.Lstat(c.Port()); !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("the port is still there: %v", err)
	}
	send(t, c, crimp.Inch) // lost
	for range 2 {
		if err := c.Plug(); err != nil {
			t.Fatal(err)
		}
	}
	again, err := os.Readlink(c.Port())
	if err != nil {
		t.Fatal(err)
	}
	if again == first {
		t.Errorf("it is %s again, although that is still open", again)
	}
	f = open(t, c)
	send(t, c, 1204*crimp.Thousandth)
	if got := read(t, f); got != "+1.2040\r\n" {
		t.Errorf("after plugging in again: %q", got)
	}
}

// What is sent while nobody has the port open is not there later.
func TestCaliperUnheard(t *testing.T) {
	c := newCaliper(t, 115200)
	send(t, c, 1111*crimp.Thousandth)
	f := open(t, c)
	send(t, c, 1222*crimp.Thousandth)
	if got := read(t, f); got != "+1.2220\r\n" {
		t.Errorf("got %q, want the second frame alone", got)
	}
	if err := f.Close(); err != nil {
		t.Fatal(err)
	}
	send(t, c, 1333*crimp.Thousandth)
	f = open(t, c)
	send(t, c, 1444*crimp.Thousandth)
	if got := read(t, f); got != "+1.4440\r\n" {
		t.Errorf("got %q, want the fourth frame alone", got)
	}
}

func TestNewCaliperRefused(t *testing.T) {
	if _, err := NewCaliper(t.TempDir(), 110); err == nil || err.Error() != "baud rate 110: want 300 to 921600" {
		t.Errorf("error %v", err)
	}
	if _, err := NewCaliper(filepath.Join(t.TempDir(), "none"), 9600); !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("error %v, want one that says that the folder is not there", err)
	}
}
