//go:build linux

package sensors

import (
	"errors"
	"fmt"
	"io/fs"
	"log"
	"log/slog"
	"os"
	"path/filepath"
	"strings"
	"sync"

	"golang.org/x/sys/unix"
	"periph.io/x/conn/v3/driver/driverreg"
	"periph.io/x/host/v3/gpioioctl"
)

// drivers is the looking for chips. It succeeds once in a process: the driver
// cannot look again.
var drivers struct {
	sync.Mutex
	found bool
}

// Init looks for GPIO chips. [Open] and [Available] do it when it has not been
// done, but a program that opens files or starts goroutines should call it
// first: where one chip has two names under /dev, as on a Raspberry Pi, the
// driver closes the second one's descriptor twice and also descriptor 0. Init
// puts standard input back; a file that another goroutine opens meanwhile it
// cannot protect.
//
// An error says why no chip can be used, and what to do. It can be called again
// then: the device may appear, or be allowed, later.
func Init() error {
	drivers.Lock()
	defer drivers.Unlock()
	if drivers.found {
		return nil
	}
	if err := reachable("/dev/gpiochip*"); err != nil {
		return err
	}
	err := keepingStdin(func() error {
		return quietly(func() error {
			_, err := driverreg.Init()
			return err
		})
	})
	if err != nil {
		return fmt.Errorf("look for GPIO chips: %w", err)
	}
	if len(gpioioctl.Chips) == 0 {
		return errors.New("no GPIO chip could be asked for its lines: the kernel must be 5.10 or newer; restart the program after mending this")
	}
	drivers.found = true
	return nil
}

// reachable returns nil if a device of the pattern can be opened, and else why
// not and what to do. The driver must not look before: it looks only once.
func reachable(pattern string) error {
	paths, err := filepath.Glob(pattern)
	if err != nil {
		return err
	}
	if len(paths) == 0 {
		return fmt.Errorf("no GPIO chip found: there is no %s; this needs Linux 5.10 or newer on a board with input lines, such as a Raspberry Pi", pattern)
	}
	var faults []error
	for _, p := range paths {
		f, err := os.Open(p)
		if err == nil {
			return f.Close()
		}
		faults = append(faults, err)
	}
	if err = errors.Join(faults...); errors.Is(err, fs.ErrPermission) {
		err = fmt.Errorf("%w; the user of this program must be in the group of that file (gpio on Raspberry Pi OS): sudo usermod -aG gpio USER, then log in anew or restart the service", err)
	}
	return err
}

// keepingStdin calls do, and if that has closed descriptor 0, puts it back:
// the next file opened would get the number 0, and the driver takes a line of
// the number 0 for none.
func keepingStdin(do func() error) error {
	kept, err := unix.FcntlInt(0, unix.F_DUPFD_CLOEXEC, 3)
	if err != nil {
		return fmt.Errorf("keep standard input: %w", err)
	}
	defer func() {
		_ = unix.Close(kept) // a copy that nothing was written to
	}()
	if err := do(); err != nil {
		return err
	}
	if _, err := unix.FcntlInt(0, unix.F_GETFD, 0); !errors.Is(err, unix.EBADF) {
		return nil
	}
	if err := unix.Dup3(kept, 0, 0); err != nil {
		return fmt.Errorf("put standard input back: %w", err)
	}
	return nil
}

// quietly calls do and sends what it says through package log, as the driver
// does, to slog at the level Debug.
func quietly(do func() error) error {
	w, flags, prefix := log.Writer(), log.Flags(), log.Prefix()
	var said strings.Builder
	log.SetOutput(&said)
	log.SetFlags(0)
	log.SetPrefix("")
	err := do()
	log.SetOutput(w)
	log.SetFlags(flags)
	log.SetPrefix(prefix)
	for text := range strings.Lines(said.String()) {
		slog.Debug("the GPIO driver says", "text", strings.TrimSpace(text))
	}
	return err
}

// chips are the chips that were found, in the order of gpioioctl.Chips.
func chips() []chip {
	var all []chip
	for _, g := range gpioioctl.Chips {
		c := chip{name: g.Name(), label: g.Label(), path: g.Path()}
		for _, l := range g.Lines() {
			c.lines = append(c.lines, Line{
				Chip: c.name, Label: c.label, Path: c.path,
				Number: l.Number(), Name: l.Name(), User: l.Consumer(),
			})
		}
		all = append(all, c)
	}
	return all
}

// Available are the lines of all chips found here, chip by chip. Whether one is
// free now is known when it is opened. An error says why none can be used.
func Available() ([]Line, error) {
	if err := Init(); err != nil {
		return nil, err
	}
	var all []Line
	for _, c := range chips() {
		all = append(all, c.lines...)
	}
	return all, nil
}
