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
	"periph.io/x/host/v3/gpioioctl"
)

// boardCap is how soon after an edge a board waits for the next.
const boardCap = 200 * time.Microsecond

// OpenBoard opens lines as inputs, to find the one that a switch is on: those named,
// or without names the free ones of a Raspberry Pi's header. With up they are biased
// up, as for contacts that pull low. Held are the ones of them that another program
// has; the board is without them.
func OpenBoard(among []string, up bool) (b Board, held []Line, err error) {
	if err := Init(); err != nil {
		return nil, nil, err
	}
	var free []Line
	at := 0
	for i, c := range chips() {
		if f, h := c.candidates(among); len(f)+len(h) > len(free)+len(held) {
			at, free, held = i, f, h
		}
	}
	if len(free)+len(held) == 0 {
		if len(among) > 0 {
			_, err := choose(chips(), Lines{Up: among[0]})
			return nil, nil, err
		}
		return nil, nil, errors.New("no line has a name of a Raspberry Pi's header (GPIO4 to GPIO27): name the lines to look at, as `benchtally ports` lists them")
	}
	open := func(lines []Line) (lineSet, error) { return inputs(at, names(lines), up) }
	set, free, busy, err := openFree(open, free)
	held = append(held, busy...)
	if err != nil {
		return nil, held, fmt.Errorf("open %s: %w", strings.Join(names(free), ", "), err)
	}
	if len(free) == 0 {
		return nil, held, errors.New("all lines that a switch may be on are used by other programs")
	}
	return &board{set, names(free)}, held, nil
}

// inputs asks a chip for lines as inputs with edges.
func inputs(chip int, names []string, up bool) (lineSet, error) {
	pull := gpio.PullDown
	if up {
		pull = gpio.PullUp
	}
	return gpioioctl.Chips[chip].LineSetFromConfig(&gpioioctl.LineSetConfig{
		Lines:            names,
		DefaultDirection: gpioioctl.LineInput,
		DefaultEdge:      gpio.BothEdges,
		DefaultPull:      pull,
	})
}

// openFree opens lines together. When another program has taken some of them since
// the chips were looked for, it finds out which, and opens the rest.
func openFree(open func([]Line) (lineSet, error), lines []Line) (set lineSet, free, busy []Line, err error) {
	if len(lines) == 0 {
		return nil, nil, nil, nil
	}
	if set, err = open(lines); err == nil || !isBusy(err) {
		return set, lines, nil, err
	}
	for i := range lines {
		one, err := open(lines[i : i+1])
		if err == nil {
			free = append(free, lines[i])
			err = one.Close()
		} else if isBusy(err) {
			busy = append(busy, lines[i])
			continue
		}
		if err != nil {
			return nil, lines[i : i+1], busy, err
		}
	}
	if len(free) == 0 {
		return nil, nil, busy, nil
	}
	set, err = open(free)
	return set, free, busy, err
}

// isBusy tells that another program has a line. The driver hands on the kernel's
// words, not its error number.
func isBusy(err error) bool { return strings.Contains(err.Error(), "resource busy") }

// board is a set of lines that are looked at.
type board struct {
	set   lineSet
	lines []string
}

func (b *board) Names() []string { return b.lines }

func (b *board) Levels() (uint64, error) {
	bits, err := b.set.Read(0)
	if err != nil {
		return 0, fmt.Errorf("read %s: %w", strings.Join(b.lines, ", "), err)
	}
	return uint64(bits), nil
}

// Wait waits more closely than contacts do: what both contacts of a changeover
// switch are in flight lasts a millisecond or two.
func (b *board) Wait(ctx context.Context, d time.Duration) error {
	_, _, err := b.set.WaitForEdge(min(max(d, leastWait), mostWait))
	if errors.Is(err, os.ErrDeadlineExceeded) {
		return nil
	}
	if err != nil {
		return fmt.Errorf("wait for %s: %w", strings.Join(b.lines, ", "), err)
	}
	pause(ctx, boardCap)
	return nil
}

func (b *board) Close() error { return b.set.Close() }
