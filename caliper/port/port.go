package port

import (
	"errors"
	"fmt"
	"slices"
	"strings"
)

// Port says where a device is and how its line is set. The zero value of
// everything but Name is a default: 9600 baud, 8 data bits, no parity, 1 stop bit.
type Port struct {
	// Name is a device (/dev/ttyUSB0), a link to one (/dev/serial/by-id/…), a
	// pattern that fits one device (/dev/serial/by-id/*), or an input device
	// under /dev/input for a device that types like a keyboard.
	Name string

	Baud     int
	DataBits int    // 7 or 8
	Parity   string // "none", "even", "odd", "mark" or "space"
	StopBits string // "1" or "2"

	// DTR and RTS are the control lines, from which some cables draw their
	// supply: "on", "off" or "" to leave them as opening sets them (Linux
	// raises both).
	DTR, RTS string

	// Shared leaves what an input device types to other programs as well, as is
	// right for who only looks which device it is.
	Shared bool
}

// Checked fills in the defaults and tells all faults at once. Of is what hangs on
// the port, such as "caliper".
func (p Port) Checked(of string) (Port, error) {
	var errs []error
	if p.Name == "" {
		errs = append(errs, errors.New("no port is named: `benchtally ports` lists them"))
	}
	if p.Baud == 0 {
		p.Baud = 9600
	}
	if p.Baud < 50 || p.Baud > 4_000_000 {
		errs = append(errs, fmt.Errorf("baud rate %d: want 50 to 4000000, as the %s's manual says", p.Baud, of))
	}
	if p.DataBits == 0 {
		p.DataBits = 8
	}
	if p.DataBits != 7 && p.DataBits != 8 {
		errs = append(errs, fmt.Errorf("%d data bits: want 7 or 8", p.DataBits))
	}
	oneOf := func(what string, value *string, names ...string) {
		if *value == "" {
			*value = names[0]
		}
		if !slices.Contains(names, *value) {
			errs = append(errs, fmt.Errorf("%s %q: want one of %s", what, *value, strings.Join(names, ", ")))
		}
	}
	oneOf("parity", &p.Parity, "none", "even", "odd", "mark", "space")
	oneOf("stop bits", &p.StopBits, "1", "2")
	if p.DTR != "" {
		oneOf("dtr", &p.DTR, "on", "off")
	}
	if p.RTS != "" {
		oneOf("rts", &p.RTS, "on", "off")
	}
	if err := errors.Join(errs...); err != nil {
		return p, fmt.Errorf("%s port: %w", of, err)
	}
	return p, nil
}

// Line writes the line's settings the usual way, such as "9600 8N1".
func (p Port) Line() string {
	p, err := p.Checked("")
	if err != nil {
		return "?"
	}
	return fmt.Sprintf("%d %d%c%s", p.Baud, p.DataBits, strings.ToUpper(p.Parity)[0], p.StopBits)
}
