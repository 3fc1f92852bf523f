package scanner

import (
	"context"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/creack/pty"

	"benchtally/caliper/port"
)

// terminal makes a pseudo terminal to which name leads from now on. Closing it is
// pulling the cable.
func terminal(t *testing.T, name string) *os.File {
	t.Helper()
	master, slave, err := pty.Open()
	if err != nil {
		t.Skipf("no pseudo terminals here: %v", err)
	}
	t.Cleanup(func() { _ = master.Close() }) // closed by most tests
	if err := os.Symlink(slave.Name(), name+".new"); err != nil {
		t.Fatal(err)
	}
	if err := slave.Close(); err != nil {
		t.Fatal(err)
	}
	if err := os.Rename(name+".new", name); err != nil {
		t.Fatal(err)
	}
	return master
}

func write(t *testing.T, f *os.File, text string) {
	t.Helper()
	if _, err := f.WriteString(text); err != nil {
		t.Fatal(err)
	}
}

// The scanner is plugged in, read, pulled out within a code and plugged in again.
func TestRun(t *testing.T) {
	name := filepath.Join(t.TempDir(), "usb-scanner-if00")
	ctx, cancel := context.WithCancel(t.Context())
	out, done := make(chan Event), make(chan error, 1)
	go func() { done <- Run(ctx, port.Port{Name: name, Baud: 115200}, time.Now, out) }()
	want := func(kind Kind, text string) {
		t.Helper()
		select {
		case e := <-out:
			if e.Kind != kind || !strings.Contains(e.Text+e.Reason, text) {
				t.Fatalf("got %+v, want %s %q", e, kind, text)
			}
		case <-time.After(10 * time.Second):
			t.Fatalf("no %s %q within 10 s", kind, text)
		}
	}
	want(Fault, name+" is not there")
	master := terminal(t, name)
	want(Clear, "the scanner's port is back: "+name)
	write(t, master, "\r\nORDER A-1001\r\nCAGE C-21\r\nDO UN") // two in one burst, then half a code
	want(Code, "ORDER A-1001")
	want(Code, "CAGE C-21")
	want(Refused, brokeOff)
	write(t, master, "CAGE \xff\r\n")
	want(Refused, noText)
	write(t, master, "DO SA")
	if err := master.Close(); err != nil {
		t.Fatal(err)
	}
	want(Fault, "plug the scanner's cable in")
	master = terminal(t, name)
	want(Clear, "the scanner's port is back")
	write(t, master, "\rDO UNDO") // a scanner that sends no line end
	want(Code, "DO UNDO")
	cancel()
	if err := <-done; err != nil {
		t.Errorf("run: %v", err)
	}
}

func TestRunRefusesSettings(t *testing.T) {
	err := Run(t.Context(), port.Port{Parity: "some"}, time.Now, nil)
	for _, part := range []string{"scanner port: no port is named", `parity "some"`} {
		if err == nil || !strings.Contains(err.Error(), part) {
			t.Errorf("%q is not in: %v", part, err)
		}
	}
}
