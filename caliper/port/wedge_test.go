package port

import (
	"encoding/binary"
	"os"
	"path/filepath"
	"testing"

	"golang.org/x/sys/unix"
)

// keyEvents are the kernel's input events of keys going down and up.
func keyEvents(codes ...uint16) []byte {
	var b []byte
	for _, code := range codes {
		for _, value := range []uint32{1, 2, 0} { // down, repeated, up
			e := make([]byte, eventSize)
			binary.NativeEndian.PutUint16(e[eventSize-8:], evKey)
			binary.NativeEndian.PutUint16(e[eventSize-6:], code)
			binary.NativeEndian.PutUint32(e[eventSize-4:], value)
			b = append(b, e...)
			b = append(b, make([]byte, eventSize)...) // end of report
		}
	}
	return b
}

func TestWedge(t *testing.T) {
	tr := newTree(t)
	name := filepath.Join(tr.dev, "input", "event3")
	if err := os.MkdirAll(filepath.Dir(name), 0o755); err != nil {
		t.Fatal(err)
	}
	if err := unix.Mkfifo(name, 0o600); err != nil {
		t.Fatal(err)
	}
	keyboard, err := os.OpenFile(name, os.O_RDWR, 0)
	if err != nil {
		t.Fatal(err)
	}
	u := runLink(t, tr.machine, Port{Name: name})
	b := keyEvents(28, 12, 2, 52, 3, 11, 5, 11, 28)           // Enter - 1 . 2 0 4 0 Enter
	for _, part := range [][]byte{b[:7], b[7:100], b[100:]} { // cut within events
		if _, err := keyboard.Write(part); err != nil {
			t.Fatal(err)
		}
	}
	u.want("line -1.2040")
	// A key without a character spoils the line.
	if _, err := keyboard.Write(keyEvents(2, 103, 52, 3, 96)); err != nil {
		t.Fatal(err)
	}
	u.want("line 1\x1a.2")
	if err := keyboard.Close(); err != nil {
		t.Fatal(err)
	}
	u.want("away " + name)
}

func TestWedgeKeys(t *testing.T) {
	w := &wedge{}
	down := func(code uint16) []byte { return keyEvents(code)[:eventSize] }
	up := func(code uint16) []byte { return keyEvents(code)[4*eventSize : 5*eventSize] }
	var in []byte
	for _, e := range [][]byte{
		down(keyShiftL), down(13), up(13), up(keyShiftL), // +
		keyEvents(82, 83, 76, 57), // number block 0 . 5, blank
		down(29), up(29),          // Ctrl types nothing
		keyEvents(23, 49),                                // in
		down(keyShiftR), down(40), up(40), up(keyShiftR), // "
		keyEvents(15), // Tab ends a line
	} {
		in = append(in, e...)
	}
	out := make([]byte, 64)
	if got := string(out[:w.decode(out, in)]); got != "+0.5 in\"\r" {
		t.Errorf("got %q", got)
	}
	// A label, as a scanner types it: shift for each capital.
	in = nil
	for _, code := range []uint16{24, 19, 32, 18, 19} {
		in = append(in, down(keyShiftL)...)
		in = append(in, keyEvents(code)...)
		in = append(in, up(keyShiftL)...)
	}
	in = append(in, keyEvents(57, 26, 27, 41, 43, 12, 2, keyEnter)...)
	if got := string(out[:w.decode(out, in)]); got != "ORDER []`\\-1\r" {
		t.Errorf("got %q", got)
	}
	dropped := make([]byte, eventSize)
	binary.NativeEndian.PutUint16(dropped[eventSize-6:], synDropped)
	if n := w.decode(out, dropped); n != 1 || out[0] != Lost {
		t.Errorf("events that were lost gave %q", out[:n])
	}
	if _, err := openWedge("/dev/null", grabKeys); err == nil {
		t.Error("a device without keys was taken")
	}
	if err := w.Ask("R"); err == nil {
		t.Error("a keyboard was asked")
	}
}
