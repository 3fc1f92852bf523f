//go:build linux

package sensors

import (
	"context"
	"errors"
	"fmt"
	"os"
	"strings"
	"time"

	"periph.io/x/conn/v3/gpio"
)

const (
	// The driver waits for ever for 0, and not at all for less.
	leastWait = time.Millisecond

	// A wait does not end with its context, so it must be short.
	mostWait = 250 * time.Millisecond
)

// Open opens the lines as inputs. The error says which line could not be opened,
// which chips and lines there are, and what to do.
func Open(l Lines) (Contacts, error) {
	if err := l.check(); err != nil {
		return nil, err
	}
	if err := Init(); err != nil {
		return nil, err
	}
	all := chips()
	i, err := choose(all, l)
	if err != nil {
		return nil, err
	}
	set, err := inputs(i, l.names(), l.ActiveLow)
	if err != nil {
		return nil, refused(err, all[i], l)
	}
	aside := -1
	if line, ok := all[i].line(l.Retracted); ok {
		aside = line.Number
	}
	return &contacts{set: set, lines: l, aside: aside}, nil
}

// refused says why the lines of a chip cannot be had.
func refused(err error, c chip, l Lines) error {
	what := fmt.Sprintf("open %s of %s", strings.Join(l.names(), ", "), c)
	if !isBusy(err) {
		return fmt.Errorf("%s: %w", what, err)
	}
	var users []string
	for _, n := range l.names() {
		if line, _ := c.line(n); line.User != "" {
			users = append(users, fmt.Sprintf("%s by %s", n, line.User))
		}
	}
	hint := "gpioinfo names the program"
	if len(users) > 0 {
		hint = "at the start " + strings.Join(users, ", ")
	}
	return fmt.Errorf("%s: used by another program (%s): %w", what, hint, err)
}

// lineSet is what contacts use of [gpioioctl.LineSet]. It has no way to drive a
// line.
type lineSet interface {
	Read(mask gpio.GPIOValue) (gpio.GPIOValue, error)
	WaitForEdge(timeout time.Duration) (number int, edge gpio.Edge, err error)
	Close() error
}

type contacts struct {
	set   lineSet
	lines Lines
	aside int // number of the line that makes no storm, that of the full-retract switch; below 0: none
	storm storm
}

// Levels reads all lines in one call to the kernel.
func (c *contacts) Levels() (Levels, error) {
	bits, err := c.set.Read(0)
	if err != nil {
		return Levels{}, fmt.Errorf("read %s: %w", strings.Join(c.lines.names(), ", "), err)
	}
	l := c.lines.levels(uint64(bits))
	l.Storm = c.storm.blows()
	return l, nil
}

// Wait may go on for up to 250 ms after ctx has ended: the driver's own way to
// interrupt it can be lost between two waits. Edges that come while it holds
// back after one are kept by the kernel.
func (c *contacts) Wait(ctx context.Context, d time.Duration) error {
	if ctx.Err() != nil {
		return nil
	}
	began := time.Now()
	number, _, err := c.set.WaitForEdge(min(max(d, leastWait), mostWait))
	if errors.Is(err, os.ErrDeadlineExceeded) {
		c.storm = 0
		return nil
	}
	if err != nil {
		return fmt.Errorf("wait for %s: %w", strings.Join(c.lines.names(), ", "), err)
	}
	if number != c.aside {
		c.storm.edge(time.Since(began))
	}
	pause(ctx, c.storm.hold())
	return nil
}

func (c *contacts) Close() error { return c.set.Close() }
