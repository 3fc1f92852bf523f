package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"path/filepath"
	"strconv"
	"time"

	"benchtally/agent/crimp"
	"benchtally/caliper"
	"benchtally/caliper/port"
	"benchtally/sensors"
)

// portsCommand lists what is found here.
type portsCommand struct {
	JSON bool `name:"json" help:"Print as JSON."`
}

// found is the answer of ports in JSON.
type found struct {
	Ports []foundPort `json:"ports"`
	Lines []foundLine `json:"lines"`
}

// foundPort is port.Info with the keys of our JSON.
type foundPort struct {
	Name    string `json:"name"`
	Kind    string `json:"kind"`
	Device  string `json:"device"`
	ByID    string `json:"by_id,omitempty"`
	ByPath  string `json:"by_path,omitempty"`
	Vendor  string `json:"vendor,omitempty"`
	Product string `json:"product,omitempty"`
	Serial  string `json:"serial,omitempty"`
	Text    string `json:"text,omitempty"`
	Twins   int    `json:"twins,omitempty"`
	Console bool   `json:"console,omitempty"`
	Problem string `json:"problem,omitempty"`
}

// foundLine is sensors.Line with the keys of our JSON.
type foundLine struct {
	Chip   string `json:"chip"`
	Label  string `json:"label"`
	Path   string `json:"path"`
	Number int    `json:"number"`
	Name   string `json:"name,omitempty"`
	User   string `json:"user,omitempty"`
}

// Run lists serial ports and input lines. What cannot be looked at is said, and
// the rest listed all the same.
func (c *portsCommand) Run(e env) error {
	f := found{Ports: []foundPort{}, Lines: []foundLine{}}
	ports, portsErr := port.List()
	for _, p := range ports {
		f.Ports = append(f.Ports, foundPort(p))
	}
	linesErr := sensors.Init()
	if linesErr == nil {
		var lines []sensors.Line
		lines, linesErr = sensors.Available()
		for _, l := range lines {
			f.Lines = append(f.Lines, foundLine(l))
		}
	}
	if c.JSON {
		return errors.Join(json.NewEncoder(e.stdout).Encode(f), portsErr)
	}
	out := func(format string, args ...any) { _, _ = fmt.Fprintf(e.stdout, format, args...) }
	if len(f.Ports) == 0 {
		out("No serial port and no input device is found here. Is the cable of the caliper or the scanner in?\n")
	}
	for _, p := range f.Ports {
		out("%s\n  %s %s%s\n", p.Name, p.Kind, p.Device, some(", %s", p.Text))
		if p.Vendor != "" { // what a udev rule goes by
			out("  USB idVendor %s, idProduct %s%s\n", p.Vendor, p.Product, some(", serial %s", p.Serial))
		}
		if p.Twins > 0 {
			out("  another device of the same kind without a serial number of its own is plugged in: only the socket tells them apart\n")
		}
		if p.Console {
			out("  the system's console is on it\n")
		}
		if p.Problem != "" {
			out("  %s\n", p.Problem)
		}
	}
	for _, l := range f.Lines {
		out("input line %s\n  %s of %s (%s)%s\n", l.Name, "line "+strconv.Itoa(l.Number), l.Path, l.Label, some(", held by %s", l.User))
	}
	if linesErr != nil {
		out("No input lines: %s\n", linesErr)
	}
	return portsErr
}

// listenCommand shows what a caliper sends.
type listenCommand struct {
	Port     string `arg:"" help:"Serial port, such as /dev/serial/by-id/…, or input device of a caliper that types."`
	Baud     int    `placeholder:"N" help:"Baud rate; without it the usual line settings are tried in turn."`
	DataBits int    `placeholder:"N" help:"7 or 8."`
	Parity   string `placeholder:"P" help:"none, even, odd, mark or space."`
	StopBits string `placeholder:"N" help:"1 or 2."`
	Format   string `default:"auto" placeholder:"NAME" help:"Format, or auto."`
	Unit     string `default:"in" enum:"in,mm" help:"Unit of frames that carry none: in or mm."`
	Wait     bool   `help:"Wait for a port that is not there yet."`
	JSON     bool   `name:"json" help:"Print as JSON, one event a line."`
}

// heard is one event in JSON.
type heard struct {
	Kind   caliper.Kind  `json:"kind"`
	At     time.Time     `json:"at"`
	Format string        `json:"format,omitempty"`
	Value  *crimp.Length `json:"value_mm,omitempty"`
	Unit   crimp.Unit    `json:"unit,omitempty"`
	Raw    string        `json:"raw,omitempty"`
	Reason string        `json:"reason,omitempty"`
	Line   string        `json:"line,omitempty"`
}

// Run listens until it is stopped.
func (c *listenCommand) Run(e env) error {
	settings := caliper.Settings{Format: c.Format, Unit: crimp.Unit(c.Unit), SevenBits: c.DataBits == 7}
	if _, err := caliper.NewReader(settings); err != nil {
		return invalid{err}
	}
	if there, err := filepath.Glob(c.Port); !c.Wait && (err != nil || len(there) == 0) {
		return fmt.Errorf("%s is not there: plug the caliper's cable in, see what is there with \"benchtally ports\", or wait for it with --wait", c.Port)
	}
	at := caliper.Port{Port: port.Port{Name: c.Port, Baud: c.Baud, DataBits: c.DataBits, Parity: c.Parity, StopBits: c.StopBits}}
	if !c.JSON {
		_, _ = fmt.Fprintf(e.stderr, "Listening on %s. Push the caliper's button; end with Ctrl-C.\n", c.Port)
	}
	enc := json.NewEncoder(e.stdout)
	return caliper.Listen(e.ctx, at, settings, time.Now, func(p caliper.Port, ev caliper.Event) {
		if c.JSON {
			h := heard{Kind: ev.Kind, At: ev.At, Format: ev.Format, Unit: ev.Unit, Raw: ev.Raw, Reason: ev.Reason, Line: p.Line()}
			if ev.Kind == caliper.Reading {
				h.Value = &ev.Value
			}
			_ = enc.Encode(h) // a closed output ends the program by its signal
			return
		}
		switch ev.Kind {
		case caliper.Reading:
			_, _ = fmt.Fprintf(e.stdout, "%-14s format %q, %s, sent as %q\n", ev.Value.Text(ev.Unit, 4), ev.Format, p.Line(), ev.Raw)
		case caliper.Refused:
			_, _ = fmt.Fprintf(e.stdout, "not taken: %s (%q)\n", ev.Reason, ev.Raw)
		case caliper.Fault, caliper.Clear:
			_, _ = fmt.Fprintf(e.stdout, "%s: %s\n", ev.Kind, ev.Reason)
		}
	})
}
