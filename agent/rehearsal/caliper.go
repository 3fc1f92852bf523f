package rehearsal

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"time"

	"github.com/creack/pty"
	"golang.org/x/sys/unix"

	"benchtally/agent/crimp"
)

// The last digits of the caliper, as many show them.
const (
	inchStep = crimp.Inch / 2000
	mmStep   = crimp.Millimetre / 100
)

// charBits is what a character takes on the wire: a start bit, eight data bits
// and a stop bit.
const charBits = 10

// Caliper is a simulated caliper on a pseudo-terminal, with a button that sends
// one line. Its methods may be called at any time.
type Caliper struct {
	port string // a link to the present device
	baud int

	mu   sync.Mutex
	wire *os.File // our end of the pseudo-terminal; nil: the cable is pulled out
	unit crimp.Unit
}

// NewCaliper plugs a caliper in. Its port is a link in dir, which must exist, and
// a frame takes as long as at the baud rate of 300 to 921600, 8N1.
func NewCaliper(dir string, baud int) (*Caliper, error) {
	if baud < 300 || baud > 921600 {
		return nil, fmt.Errorf("baud rate %d: want 300 to 921600", baud)
	}
	c := &Caliper{port: filepath.Join(dir, "caliper"), baud: baud, unit: crimp.Inches}
	if err := c.Plug(); err != nil {
		return nil, err
	}
	return c, nil
}

// Port is the path to open, a link to a device. It is there while the cable is
// plugged in, and leads to another device after each time.
func (c *Caliper) Port() string { return c.port }

// Unit switches the display to inches, as it is at first, or to millimetres. The
// lines carry no unit.
func (c *Caliper) Unit(u crimp.Unit) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.unit = u
}

// Send is a push of the button: a line such as "+1.2045\r\n" in the unit of the
// display, rounded to its last digit, 0.0005 in or 0.01 mm. Several values come
// without a pause, as from a worn button. Send takes the time that they take on
// the wire. With the cable pulled out, or while nobody has the port open, they
// are lost without an error; an error is that of ctx.
func (c *Caliper) Send(ctx context.Context, values ...crimp.Length) error {
	c.mu.Lock()
	var lines strings.Builder
	for _, v := range values {
		lines.WriteString(line(v, c.unit))
	}
	c.mu.Unlock()
	onWire := time.Duration(lines.Len()*charBits) * time.Second / time.Duration(c.baud)
	if err := sleep(ctx, onWire); err != nil {
		return err
	}
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.wire == nil || !heard(c.wire) {
		return nil
	}
	// A reader that takes nothing for so long has lost the line, as with a
	// real port whose buffer runs over.
	_ = c.wire.SetWriteDeadline(time.Now().Add(time.Second)) // without one it waits
	_, _ = c.wire.WriteString(lines.String())
	return nil
}

// line is what the caliper sends for a value.
func line(v crimp.Length, u crimp.Unit) string {
	sign := "+"
	if v < 0 {
		sign, v = "-", -v
	}
	if u == crimp.Inches {
		n := (v + inchStep/2) / inchStep * 5
		return fmt.Sprintf("%s%d.%04d\r\n", sign, n/10000, n%10000)
	}
	n := (v + mmStep/2) / mmStep
	return fmt.Sprintf("%s%d.%02d\r\n", sign, n/100, n%100)
}

// Plug plugs the cable in, as a device of another name. It may be in already.
func (c *Caliper) Plug() error {
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.wire != nil {
		return nil
	}
	wire, device, err := pty.Open()
	if err != nil {
		return fmt.Errorf("make a simulated port: %w", err)
	}
	err = errors.Join(raw(device), device.Close())
	if err == nil {
		err = point(c.port, device.Name())
	}
	if err != nil {
		return fmt.Errorf("make a simulated port: %w", errors.Join(err, wire.Close()))
	}
	c.wire = wire
	return nil
}

// Unplug pulls the cable out: who has the port open reads its end, and the link
// is gone. It may be out already.
func (c *Caliper) Unplug() {
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.wire == nil {
		return
	}
	_ = os.Remove(c.port) // a link that leads nowhere is as good as none
	_ = c.wire.Close()    // nothing was buffered
	c.wire = nil
}

// Close ends the caliper and its port.
func (c *Caliper) Close() { c.Unplug() }

// point lets a link lead to a device, in one step where there is one already.
func point(link, device string) error {
	fresh := link + ".new"
	if err := os.Remove(fresh); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return err
	}
	if err := os.Symlink(device, fresh); err != nil {
		return err
	}
	return os.Rename(fresh, link)
}

// raw keeps the terminal from changing or echoing bytes (termios(3), cfmakeraw),
// for readers that do not set that themselves.
func raw(device *os.File) error {
	conn, err := device.SyscallConn()
	if err != nil {
		return err
	}
	var failed error
	err = conn.Control(func(fd uintptr) {
		t, err := unix.IoctlGetTermios(int(fd), unix.TCGETS)
		if err != nil {
			failed = fmt.Errorf("read the line's settings: %w", err)
			return
		}
		t.Iflag &^= unix.IGNBRK | unix.BRKINT | unix.PARMRK | unix.ISTRIP | unix.INLCR | unix.IGNCR | unix.ICRNL | unix.IXON
		t.Oflag &^= unix.OPOST
		t.Lflag &^= unix.ECHO | unix.ECHONL | unix.ICANON | unix.ISIG | unix.IEXTEN
		t.Cflag = t.Cflag&^(unix.CSIZE|unix.PARENB) | unix.CS8
		if err := unix.IoctlSetTermios(int(fd), unix.TCSETS, t); err != nil {
			failed = fmt.Errorf("set the line: %w", err)
		}
	})
	return errors.Join(err, failed)
}

// heard says whether somebody has the other end open.
func heard(wire *os.File) bool {
	conn, err := wire.SyscallConn()
	if err != nil {
		return false
	}
	open := false
	err = conn.Control(func(fd uintptr) {
		poll := []unix.PollFd{{Fd: int32(fd)}}
		_, err := unix.Poll(poll, 0)
		for errors.Is(err, unix.EINTR) { // the runtime's own signals count too
			_, err = unix.Poll(poll, 0)
		}
		open = err == nil && poll[0].Revents&(unix.POLLHUP|unix.POLLERR) == 0
	})
	return open && err == nil
}
