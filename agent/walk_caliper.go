package main

import (
	"cmp"
	"slices"
	"strconv"
	"strings"
	"time"

	"golang.org/x/sync/errgroup"

	"benchtally/agent/crimp"
	"benchtally/caliper"
	"benchtally/caliper/frame"
	"benchtally/caliper/port"
)

// findCaliper finds the port that the caliper is on, how its line is set and what it
// sends.
func (w *walk) findCaliper() error {
	w.say("THE CALIPER")
	if w.c.Port != "" {
		w.say("  Its port is given: %s.", w.c.Port)
		return nil
	}
	for {
		ok, err := w.lookForCaliper()
		if err != nil || ok {
			return err
		}
		if again, err := w.agreed(w.ctx, false, "Look for the caliper once more?"); err != nil || !again {
			w.say("  Left as in the example. Later: benchtally listen PORT shows what it sends, [caliper] in the configuration takes it.")
			return err
		}
	}
}

// lookForCaliper listens at all ports until a reading comes, and asks whether it is
// what the caliper shows.
func (w *walk) lookForCaliper() (bool, error) {
	all, err := hardware.ports()
	if err != nil {
		w.say("  No port can be looked for: %s", err)
		return false, nil
	}
	var ports []port.Info
	for _, p := range all {
		switch {
		case p.Console:
			w.say("  %s is not listened at: the system's console is on it.", p.Name)
		case p.Problem != "":
			w.say("  %s is not listened at: %s.", p.Name, p.Problem)
		default:
			ports = append(ports, p)
		}
	}
	if len(ports) == 0 {
		w.say("  No port is here that can be listened at. Is the caliper's cable in?")
		return false, nil
	}
	w.say("  Listening at:")
	for _, p := range ports {
		w.say("    %s%s", p.Name, some(" (%s)", p.Text))
	}
	w.say("Switch the caliper on and push its button, so that it sends a reading.")
	ears, err := w.listen(ports)
	if err != nil {
		return false, err
	}
	w.forget()
	found := slices.DeleteFunc(slices.Clone(ears), func(e *hearing) bool { return e.reading == nil })
	switch len(found) {
	case 0:
		w.silence(ears)
		return false, nil
	case 1:
		return w.agree(found[0])
	}
	w.say("  Readings came from several ports:")
	for i, e := range found {
		w.say("    %d  %s, %q", i+1, e.info.Name, e.reading.Raw)
	}
	text, err := w.ask(w.ctx, "", "Which is the caliper? Its number, or Enter for none:")
	if n, bad := strconv.Atoi(text); err == nil && bad == nil && n >= 1 && n <= len(found) {
		return w.agree(found[n-1])
	}
	return false, err
}

// A hearing is what came at one port.
type hearing struct {
	info      port.Info
	line      caliper.Port   // settings in force
	settings  []string       // those that were tried
	reading   *caliper.Event // the first; nil: none came
	streaming bool
	any       bool // something came
	around    bool // all settings were tried
}

// listen listens at the ports until one was heard, or for the time to wait.
func (w *walk) listen(ports []port.Info) ([]*hearing, error) {
	ctx, cancel := w.within(w.c.Wait)
	defer cancel()
	type heard struct {
		ear   *hearing
		line  caliper.Port
		event caliper.Event
	}
	events := make(chan heard, 64)
	var ears []*hearing
	var listening errgroup.Group
	for _, p := range ports {
		ear := &hearing{info: p}
		ears = append(ears, ear)
		at := caliper.Port{Port: port.Port{
			Name: p.Name, Baud: w.c.Baud, DataBits: w.c.DataBits, Parity: w.c.Parity, Shared: true,
		}}
		if w.c.StopBits != 0 {
			at.StopBits = strconv.Itoa(w.c.StopBits)
		}
		if p.Kind == port.KindKeyboard {
			at.Baud = 9600 // has none, so that none is looked for
		}
		unit := crimp.Unit(cmp.Or(w.c.Unit, string(crimp.Inches)))
		settings := caliper.Settings{Format: w.c.Format, Unit: unit, SevenBits: w.c.DataBits == 7}
		listening.Go(func() error {
			return caliper.Listen(ctx, at, settings, time.Now, func(line caliper.Port, e caliper.Event) {
				select {
				case events <- heard{ear, line, e}:
				case <-ctx.Done():
				}
			})
		})
	}
	done := make(chan error, 1)
	go func() { done <- listening.Wait(); close(events) }()
	for h := range events {
		if first := h.ear.reading == nil; w.hear(h.ear, h.line, h.event) && first {
			time.AfterFunc(hardware.hear, cancel)
		}
	}
	if err := <-done; err != nil {
		return nil, invalid{err} // of the flags
	}
	return ears, w.ctx.Err()
}

// hear takes in an event of a port, and tells what a person may mend. It reports
// whether it was a reading.
func (w *walk) hear(ear *hearing, line caliper.Port, e caliper.Event) bool {
	now := line.Line()
	if len(ear.settings) > 0 && now != ear.line.Line() && ear.reading == nil {
		if ear.around = ear.around || slices.Contains(ear.settings, now); !ear.around {
			w.say("  What came at %s is no reading at %s. Now at %s: push the button once more.", ear.info.Name, ear.line.Line(), now)
		}
	}
	if !slices.Contains(ear.settings, now) {
		ear.settings = append(ear.settings, now)
	}
	ear.line = line
	switch e.Kind {
	case caliper.Reading:
		ear.any = true
		if ear.reading == nil {
			ear.reading = &e
		}
		return true
	case caliper.Refused:
		if ear.any = true; legible(e.Raw) && ear.info.Kind != port.KindKeyboard {
			w.say("  %s sent %q, which is not taken: %s.", ear.info.Name, e.Raw, e.Reason)
		}
	case caliper.Fault:
		switch e.Cause {
		case caliper.Away:
			w.say("  %s cannot be listened at: %s.", ear.info.Name, e.Reason)
		case caliper.Battery:
			w.say("  %s.", e.Reason)
		case caliper.Streaming:
			ear.streaming = true
		case caliper.Garbage: // told by the settings that are tried
		}
	case caliper.Clear:
	}
	return false
}

// legible tells frames of text from noise.
func legible(raw string) bool { return raw != "" && !strings.Contains(raw, `\`) }

// silence says what may be wrong when nothing came, or nothing that can be read.
func (w *walk) silence(ears []*hearing) {
	if i := slices.IndexFunc(ears, func(e *hearing) bool { return e.any && e.info.Kind != port.KindKeyboard }); i >= 0 {
		e := ears[i]
		if e.around {
			w.say("  What came at %s cannot be read at any of the usual line settings. Look them up in the caliper's manual, and give them: --baud, --data-bits, --parity, --stop-bits.", e.info.Name)
			return
		}
		w.say("  What came at %s is no reading. Is the caliper at this port? Tried: %s. Each wrong one takes a push of the button.", e.info.Name, strings.Join(e.settings, ", "))
		return
	}
	w.say("  Nothing came within %s. Is the cable in at both ends, the battery good, the sending switched on at the caliper?", w.c.Wait)
	w.say("  One that sends only when it is asked needs trigger = \"request\" and request, as its manual says.")
}

// carries are the formats whose frames have their unit.
var carries = []string{frame.DecimalUnit, frame.BCD13, frame.Word24}

// agree asks whether a reading is what the caliper shows, and takes the port over.
func (w *walk) agree(ear *hearing) (bool, error) {
	e, c := ear.reading, w.c
	w.say("  %s, %s, format %q, sent %q.", ear.info.Name, ear.line.Line(), e.Format, e.Raw)
	if ear.streaming {
		w.say("  It sends by itself, so a reading will be a value that comes to rest (trigger = \"stream\").")
	}
	if slices.Contains(carries, e.Format) || c.Unit != "" {
		if yes, err := w.agreed(w.ctx, true, "Does the caliper show %s?", e.Value.Text(e.Unit, digits(e.Raw))); err != nil || !yes {
			return false, err
		}
	} else {
		shown := strings.TrimSpace(strings.TrimLeft(e.Raw, "+ "))
		text, err := w.ask(w.ctx, string(likely(e.Raw)), "It sends no unit. Does the caliper show %s in inches (in), in millimetres (mm), or something else (n)? [%s]", shown, likely(e.Raw))
		if err != nil {
			return false, err
		}
		switch unit := crimp.Unit(strings.ToLower(text)); unit {
		case crimp.Inches, crimp.Millimetres:
			c.Unit = string(unit)
		default:
			return false, nil
		}
	}
	c.Port, c.Format = ear.info.Name, e.Format
	if ear.streaming {
		c.Trigger = "stream"
	}
	if ear.info.Kind == port.KindSerial {
		c.Baud, c.DataBits, c.Parity = ear.line.Baud, ear.line.DataBits, ear.line.Parity
		c.StopBits, _ = strconv.Atoi(ear.line.StopBits) // it is "1" or "2"
	}
	if ear.info.Twins > 0 {
		w.say("  Another device of the same kind is plugged in. This one is known by its socket: leave it there.")
	}
	return true, nil
}

// digits are those behind the decimal sign of a frame.
func digits(raw string) int {
	_, rest, ok := strings.Cut(strings.ReplaceAll(raw, ",", "."), ".")
	if !ok {
		return 0
	}
	return len(rest) - len(strings.TrimLeft(rest, "0123456789"))
}

// likely is the unit that a number without one is probably in: calipers show inches
// with four digits or with three, millimetres with two or with three and more than a
// hose's few inches (common practice, no source).
func likely(raw string) crimp.Unit {
	number, _, _ := strings.Cut(strings.TrimLeft(raw, "+- 0"), ".")
	if n := digits(raw); n >= 4 || n == 3 && len(number) <= 1 {
		return crimp.Inches
	}
	return crimp.Millimetres
}
