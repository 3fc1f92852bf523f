package caliper

import (
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/creack/pty"
	"golang.org/x/sys/unix"

	"benchtally/agent/crimp"
)

// tree is a machine in a folder: devices are links to pseudo terminals.
type tree struct {
	t *testing.T
	machine
}

func newTree(t *testing.T) tree {
	t.Helper()
	root := t.TempDir()
	m := machine{dev: filepath.Join(root, "dev"), sys: filepath.Join(root, "sys"), proc: filepath.Join(root, "proc"),
		grab: func(*os.File) error { return nil }}
	return tree{t, m}
}

func (tr tree) link(target, name string) {
	tr.t.Helper()
	if err := os.MkdirAll(filepath.Dir(name), 0o755); err != nil {
		tr.t.Fatal(err)
	}
	if err := os.Symlink(target, name+".new"); err != nil {
		tr.t.Fatal(err)
	}
	if err := os.Rename(name+".new", name); err != nil {
		tr.t.Fatal(err)
	}
}

func (tr tree) file(name, text string) {
	tr.t.Helper()
	if err := os.MkdirAll(filepath.Dir(name), 0o755); err != nil {
		tr.t.Fatal(err)
	}
	if err := os.WriteFile(name, []byte(text+"\n"), 0o644); err != nil {
		tr.t.Fatal(err)
	}
}

func (tr tree) remove(name string) {
	tr.t.Helper()
	if err := os.RemoveAll(name); err != nil {
		tr.t.Fatal(err)
	}
}

// usb puts a USB device into the tree: an adapter in a socket, seen as a tty.
func (tr tree) usb(name, socket, serial, behind string) {
	tr.t.Helper()
	device := filepath.Join(tr.sys, "devices", "usb1", socket)
	tr.file(filepath.Join(device, "idVendor"), "1a2b")
	tr.file(filepath.Join(device, "idProduct"), "3c4d")
	tr.file(filepath.Join(device, "product"), "Serial Adapter")
	if serial != "" {
		tr.file(filepath.Join(device, "serial"), serial)
	}
	tr.file(filepath.Join(device, socket+":1.0", "bInterfaceNumber"), "00")
	tr.file(filepath.Join(device, socket+":1.0", name, "port_number"), "0")
	tr.link(filepath.Join(device, socket+":1.0", name), filepath.Join(tr.sys, "class", "tty", name, "device"))
	tr.link(behind, filepath.Join(tr.dev, name))
}

// unplug takes it out again.
func (tr tree) unplug(name, socket string) {
	tr.t.Helper()
	tr.remove(filepath.Join(tr.dev, name))
	tr.remove(filepath.Join(tr.sys, "class", "tty", name))
	tr.remove(filepath.Join(tr.sys, "devices", "usb1", socket))
}

// terminal makes a pseudo terminal. Closing the master is pulling the cable.
func terminal(t *testing.T) (master *os.File, name string) {
	t.Helper()
	master, slave, err := pty.Open()
	if err != nil {
		t.Skipf("no pseudo terminals here: %v", err)
	}
	name = slave.Name()
	t.Cleanup(func() { _ = master.Close() }) // closed by most tests
	if err := slave.Close(); err != nil {
		t.Fatal(err)
	}
	return master, name
}

// running is a link at work.
type running struct {
	t      *testing.T
	events chan Event
	stop   context.CancelFunc
	done   chan error
}

func runLink(t *testing.T, m machine, p Port, s Settings) *running {
	t.Helper()
	p, err := p.checked()
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	w := &running{t, make(chan Event, 64), cancel, make(chan error, 1)}
	l := newLink(m, p, mustReader(t, s), time.Now, func(e Event) error {
		select {
		case w.events <- e:
			return nil
		case <-ctx.Done():
			return ctx.Err()
		}
	})
	l.first, l.most = 2*time.Millisecond, 10*time.Millisecond
	go func() { w.done <- l.run(ctx) }()
	t.Cleanup(func() {
		cancel()
		if err := <-w.done; err != nil {
			t.Errorf("run: %v", err)
		}
	})
	return w
}

// next waits for an event and checks what it is.
func (w *running) next(kind Kind, cause Cause) Event {
	w.t.Helper()
	select {
	case e := <-w.events:
		if e.Kind != kind || e.Cause != cause {
			w.t.Fatalf("got %+v, want %s %s", e, kind, cause)
		}
		return e
	case <-time.After(5 * time.Second):
		w.t.Fatalf("no %s %s within 5 s", kind, cause)
		return Event{}
	}
}

func write(t *testing.T, f *os.File, text string) {
	t.Helper()
	if _, err := f.WriteString(text); err != nil {
		t.Fatal(err)
	}
}

// The cable goes in and out a hundred times; the link to the device leads to
// another one each time. No frame is lost, doubled or made of two halves.
func TestInAndOut(t *testing.T) {
	tr := newTree(t)
	name := filepath.Join(tr.dev, "serial", "by-id", "usb-adapter-if00-port0")
	w := runLink(t, tr.machine, Port{Name: name}, Settings{Unit: crimp.Inches})
	if e := w.next(Fault, Away); !strings.Contains(e.Reason, name) || !strings.Contains(e.Reason, "plug the caliper's cable in") {
		t.Errorf("reason %q", e.Reason)
	}
	for i := range 100 {
		master, slave := terminal(t)
		tr.link(slave, name)
		w.next(Clear, Away)
		write(t, master, fmt.Sprintf("\r\n+1.%04d\r\n+9.9", i)) // half a frame at the end
		want := crimp.Inch + crimp.Length(i)*2540
		if e := w.next(Reading, ""); e.Value != want {
			t.Fatalf("round %d: %s, want %s", i, e.Value, want)
		}
		if err := master.Close(); err != nil {
			t.Fatal(err)
		}
		if e := w.next(Fault, Away); i == 0 && !strings.Contains(e.Reason, "is gone") && !strings.Contains(e.Reason, "not there") {
			t.Errorf("reason %q", e.Reason)
		}
	}
}

// A plain device name means the device that was there first, wherever it is now.
func TestFoundUnderAnotherName(t *testing.T) {
	for _, row := range []struct{ name, serial, socket, other string }{
		{"another socket, by its serial number", "A1", "1-4", "B2"},
		{"the same socket, no serial number", "", "1-1", ""},
		{"another socket, the only one of its kind", "", "1-4", "B2"},
	} {
		t.Run(row.name, func(t *testing.T) {
			tr := newTree(t)
			master, slave := terminal(t)
			tr.usb("ttyUSB0", "1-1", row.serial, slave)
			w := runLink(t, tr.machine, Port{Name: filepath.Join(tr.dev, "ttyUSB0")}, Settings{Unit: crimp.Inches})
			time.Sleep(150 * time.Millisecond) // the silence after which a frame is whole
			write(t, master, "+1.0000\r\n")
			w.next(Reading, "")

			// Another adapter takes the name, ours comes back under a new one.
			tr.unplug("ttyUSB0", "1-1")
			_, stranger := terminal(t)
			tr.usb("ttyUSB0", "1-2", row.other, stranger)
			again, slave := terminal(t)
			tr.usb("ttyUSB1", row.socket, row.serial, slave)
			if err := master.Close(); err != nil {
				t.Fatal(err)
			}
			w.next(Fault, Away)
			if e := w.next(Clear, Away); !strings.Contains(e.Reason, "ttyUSB1") {
				t.Fatalf("reason %q", e.Reason)
			}
			write(t, again, "\r\n+2.0000\r\n")
			if e := w.next(Reading, ""); e.Value != 2*crimp.Inch {
				t.Errorf("got %s", e.Value)
			}
		})
	}
}

func TestRun(t *testing.T) {
	master, slave := terminal(t)
	ctx, cancel := context.WithCancel(t.Context())
	out, done := make(chan Event), make(chan error, 1)
	r := mustReader(t, Settings{Unit: crimp.Inches, Trigger: TriggerRequest})
	go func() {
		done <- Run(ctx, Port{Name: slave, Baud: 4800, DataBits: 7, Parity: "even", StopBits: "2", Request: "R\r"}, r, time.Now, out)
	}()
	// The caliper answers each request; a reading needs 600 ms at rest.
	answered := make(chan int, 1)
	go func() {
		n := 0
		defer func() { answered <- n }()
		buf := make([]byte, 16)
		for {
			k, err := master.Read(buf)
			switch {
			case ctx.Err() != nil:
				return
			case err != nil: // not open yet
				time.Sleep(time.Millisecond)
				continue
			}
			if string(buf[:k]) == "R\r" {
				n++
				if _, err := master.WriteString("+1.2040\r\n"); err != nil {
					return
				}
			}
		}
	}()
	select {
	case e := <-out:
		if e.Kind != Reading || e.Value != 30_581_600 {
			t.Errorf("got %+v", e)
		}
	case <-time.After(5 * time.Second):
		t.Error("no reading within 5 s")
	}
	cancel()
	if err := <-done; err != nil {
		t.Errorf("run: %v", err)
	}
	if err := master.Close(); err != nil {
		t.Fatal(err)
	}
	if n := <-answered; n < 4 || n > 8 {
		t.Errorf("%d requests for one reading, want 4 to 8", n)
	}
}

func TestRunRefusesSettings(t *testing.T) {
	r := mustReader(t, Settings{})
	err := Run(t.Context(), Port{Baud: 3, DataBits: 9, Parity: "some", StopBits: "1.5", DTR: "up"}, r, time.Now, nil)
	for _, part := range []string{"no port is named", "baud rate 3", "9 data bits", `parity "some"`, `stop bits "1.5"`, `dtr "up"`} {
		if err == nil || !strings.Contains(err.Error(), part) {
			t.Errorf("%q is not in: %v", part, err)
		}
	}
	r = mustReader(t, Settings{Trigger: TriggerRequest})
	if err := Run(t.Context(), Port{Name: "/dev/null"}, r, time.Now, nil); err == nil || !strings.Contains(err.Error(), "needs the request") {
		t.Errorf("no request: %v", err)
	}
	if got := (Port{Name: "x"}).Line(); got != "9600 8N1" {
		t.Errorf("line %q", got)
	}
	if got := (Port{Name: "x", Baud: 4800, DataBits: 7, Parity: "even", StopBits: "2"}).Line(); got != "4800 7E2" {
		t.Errorf("line %q", got)
	}
}

// Listen tries line settings until the frames make sense. The terminal passes
// the parity bit on like an adapter that reads 7 data bits as 8.
func TestListenFindsTheLine(t *testing.T) {
	tr := newTree(t)
	master, slave := terminal(t)
	began := time.Now()
	fast := func() time.Time { return start.Add(20 * time.Since(began)) }
	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	stopped := make(chan struct{})
	go func() {
		defer close(stopped)
		for ctx.Err() == nil {
			if _, err := master.WriteString("\x2b\xb1\x2e\xb2\x30\xb4\x30\x8d\x0a"); err != nil {
				return
			}
			time.Sleep(60 * time.Millisecond)
		}
	}()
	var line, format string
	err := tr.listen(ctx, Port{Name: slave}, Settings{Unit: crimp.Inches}, fast, func(p Port, e Event) {
		if e.Kind == Reading {
			line, format = p.Line(), e.Format
			cancel()
		}
	})
	<-stopped
	if err != nil || line != "4800 7E2" || format != "decimal" {
		t.Errorf("line %q, format %q, %v", line, format, err)
	}
}

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
	w := runLink(t, tr.machine, Port{Name: name}, Settings{Unit: crimp.Inches})
	b := keyEvents(28, 12, 2, 52, 3, 11, 5, 11, 28)           // Enter - 1 . 2 0 4 0 Enter
	for _, part := range [][]byte{b[:7], b[7:100], b[100:]} { // cut within events
		if _, err := keyboard.Write(part); err != nil {
			t.Fatal(err)
		}
	}
	if e := w.next(Reading, ""); e.Value != -30_581_600 || e.Raw != "-1.2040" {
		t.Errorf("got %+v", e)
	}
	// A key without a character spoils the frame.
	if _, err := keyboard.Write(keyEvents(2, 103, 52, 3, 96)); err != nil {
		t.Fatal(err)
	}
	if e := w.next(Refused, ""); e.Raw != `1\x1a.2` {
		t.Errorf("got %+v", e)
	}
	if err := keyboard.Close(); err != nil {
		t.Fatal(err)
	}
	w.next(Fault, Away)
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
		keyEvents(15), // Tab ends a frame
	} {
		in = append(in, e...)
	}
	out := make([]byte, 64)
	if got := string(out[:w.decode(out, in)]); got != "+0.5 in\"\r" {
		t.Errorf("got %q", got)
	}
	dropped := make([]byte, eventSize)
	binary.NativeEndian.PutUint16(dropped[eventSize-6:], synDropped)
	if n := w.decode(out, dropped); n != 1 || out[0] != lost {
		t.Errorf("events that were lost gave %q", out[:n])
	}
	if _, err := openWedge("/dev/null", grabKeys); err == nil {
		t.Error("a device without keys was taken")
	}
	if err := w.Ask("R"); err == nil {
		t.Error("a keyboard was asked")
	}
}

func TestPorts(t *testing.T) {
	tr := newTree(t)
	tr.usb("ttyUSB0", "1-1", "A1", "/dev/null")
	tr.link("../../ttyUSB0", filepath.Join(tr.dev, "serial", "by-id", "usb-adapter-A1-if00-port0"))
	tr.link("../../ttyUSB0", filepath.Join(tr.dev, "serial", "by-path", "platform-usb-1-1"))
	tr.file(filepath.Join(tr.sys, "class", "tty", "ttyS0", "type"), "0") // listed, but not there
	tr.file(filepath.Join(tr.sys, "class", "tty", "ttyS0", "device", "x"), "")
	tr.file(filepath.Join(tr.dev, "ttyS0"), "")
	tr.file(filepath.Join(tr.sys, "class", "tty", "console", "active"), "tty0") // no hardware
	for name, keys := range map[string]string{"event0": "10000000000000 0", "event1": "e080ffdf01cfffff fffffffffffffffe"} {
		tr.file(filepath.Join(tr.sys, "class", "input", name, "device", "capabilities", "key"), keys)
		tr.file(filepath.Join(tr.sys, "class", "input", name, "device", "name"), "Caliper Plug")
		tr.file(filepath.Join(tr.dev, "input", name), "")
	}
	got := tr.ports()
	for i := range got {
		got[i].Problem = ""
	}
	want := []PortInfo{
		{Name: filepath.Join(tr.dev, "serial/by-id/usb-adapter-A1-if00-port0"), Kind: KindSerial, Device: filepath.Join(tr.dev, "ttyUSB0"),
			ByID:   filepath.Join(tr.dev, "serial/by-id/usb-adapter-A1-if00-port0"),
			ByPath: filepath.Join(tr.dev, "serial/by-path/platform-usb-1-1"),
			Vendor: "1a2b", Product: "3c4d", Serial: "A1", Text: "Serial Adapter"},
		{Name: filepath.Join(tr.dev, "input/event1"), Kind: KindKeyboard, Device: filepath.Join(tr.dev, "input/event1"), Text: "Caliper Plug"},
	}
	if fmt.Sprintf("%+v", got) != fmt.Sprintf("%+v", want) {
		t.Errorf("got\n%+v\nwant\n%+v", got, want)
	}
	if err := tr.trouble("/dev/ttyUSB7", syscall.ENOENT); !strings.Contains(err.Error(), "name one of the ports that are: "+want[0].Name) {
		t.Errorf("absent: %v", err)
	}
}

func TestPattern(t *testing.T) {
	tr := newTree(t)
	f := finder{m: tr.machine, name: filepath.Join(tr.dev, "serial", "by-id", "*")}
	if _, err := f.find(); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("nothing there: %v", err)
	}
	one := filepath.Join(tr.dev, "serial", "by-id", "one")
	tr.link("/dev/null", one)
	if got, err := f.find(); err != nil || got != one {
		t.Errorf("got %q, %v", got, err)
	}
	tr.link("/dev/zero", filepath.Join(tr.dev, "serial", "by-id", "two"))
	if _, err := f.find(); err == nil || !strings.Contains(err.Error(), "fits 2 devices") {
		t.Errorf("two devices: %v", err)
	}
}

func TestTrouble(t *testing.T) {
	tr := newTree(t)
	path := filepath.Join(tr.dev, "ttyUSB0")
	tr.file(path, "")
	real, err := filepath.EvalSymlinks(path)
	if err != nil {
		t.Fatal(err)
	}
	tr.file(filepath.Join(tr.proc, "812", "comm"), "terminal")
	tr.link(real, filepath.Join(tr.proc, "812", "fd", "3"))
	for _, row := range []struct {
		name string
		err  error
		want string
	}{
		{"busy", unix.EBUSY, "another program has it: device or resource busy; end the program terminal, process 812"},
		{"not allowed, no group may", os.ErrPermission, "install the udev rule that gives it to the group dialout"},
		{"dead", unix.EIO, "the device does not answer"},
		{"absent, nothing else there", os.ErrNotExist, "no other port is"},
		{"anything else", unix.EINVAL, "open " + path + ": invalid argument"},
	} {
		t.Run(row.name, func(t *testing.T) {
			err := tr.trouble(path, row.err)
			if !errors.Is(err, row.err) || !strings.Contains(err.Error(), row.want) {
				t.Errorf("got %v, want %s", err, row.want)
			}
		})
	}
	if err := os.Chown(path, -1, 20); err == nil { // only root can
		if err := os.Chmod(path, 0o660); err != nil {
			t.Fatal(err)
		}
		if got := tr.remedy(path); !strings.Contains(got, "usermod -aG dialout") {
			t.Errorf("remedy %q", got)
		}
	}
}
