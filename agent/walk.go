package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"regexp"
	"strings"
	"time"

	"benchtally/agent/config"
	"benchtally/caliper/port"
	"benchtally/sensors"
)

// devices are what init looks for on this machine.
type devices struct {
	ports    func() ([]port.Info, error)
	board    func(among []string, up bool) (sensors.Board, []sensors.Line, error)
	contacts func(sensors.Lines) (sensors.Contacts, error)

	// How long strokes are counted on after the first, to see one that is counted
	// twice; and how long it is listened on after the first reading: a caliper that
	// sends by itself has sent enough by then to be known, and another port may be
	// heard as well.
	count, hear time.Duration
}

// hardware is this machine's; tests put contacts and ports of their own in its place.
var hardware = devices{
	ports: port.List, board: sensors.OpenBoard, contacts: sensors.Open,
	count: 1500 * time.Millisecond, hear: 2500 * time.Millisecond,
}

// A walk goes through an installation with a person: it finds the switch and the
// caliper and asks for the rest. What is found is written where the flags of init
// would say it; what a flag says is not looked for. Something that is not there is no
// reason to fail: it is told what to do, and the example's value stays.
//
// It drives no line and writes nothing to a port.
type walk struct {
	*questions
	c   *initCommand
	ctx context.Context //nolint:containedctx // it lives as long as the walk
}

func newWalk(e env, c *initCommand) *walk {
	return &walk{questions: newQuestions(e), c: c, ctx: e.ctx}
}

func (w *walk) all() error {
	w.say("Nothing is written before the end, inputs are only read, and nothing is sent to the caliper.")
	w.say("Ctrl-C ends it, Enter takes what stands in brackets.")
	for _, step := range []func() error{w.findSwitch, w.findCaliper, w.nameIt} {
		w.say("")
		if err := step(); err != nil {
			return fmt.Errorf("nothing is written: %w", err)
		}
	}
	w.say("")
	return nil
}

// word is one level of a topic.
var word = regexp.MustCompile(`^[a-z0-9-]+$`)

// nameIt asks for what no device knows.
func (w *walk) nameIt() error {
	host, err := os.Hostname()
	if err != nil || !word.MatchString(host) || host == "raspberrypi" || host == "localhost" {
		host = "north-bench"
	}
	ask := func(to **string, fallback, key, format string) error {
		for *to == nil {
			text, err := w.ask(w.ctx, fallback, format+" [%s]", fallback)
			if err != nil {
				return err
			}
			*to = &text
			if why := w.wrong(key); why != "" {
				w.say("  %s", why)
				if *to = nil; w.ended {
					return fmt.Errorf("%s: %s", key, why)
				}
			}
		}
		return nil
	}
	if err := ask(&w.c.Name, host, "press.name", "Name of this press, one word:"); err != nil {
		return err
	}
	if err := ask(&w.c.Topic, "riverside/hose-shop", "press.topic", "Site and area:"); err != nil {
		return err
	}
	if w.c.Broker != nil {
		return nil
	}
	for {
		text, err := w.ask(w.ctx, "", "Broker of the plant, such as tcp://HOST:1883 [none]:")
		if err != nil || text == "" {
			return err
		}
		w.c.Broker = &text
		if why := w.wrong("mqtt.broker"); why != "" {
			w.say("  %s", why)
			if w.c.Broker = nil; w.ended {
				return nil
			}
			continue
		}
		w.say("  User, password and certificates for it: [mqtt] in the configuration.")
		return nil
	}
}

// wrong says what is wrong with the value of a key, "" if nothing is.
func (w *walk) wrong(key string) string {
	_, err := trial("", w.c.values())
	var faults config.Faults
	errors.As(err, &faults)
	for _, f := range faults {
		if f.Key == key || strings.HasPrefix(f.Key, key+".") {
			return f.Text
		}
	}
	return ""
}

// within is a context that ends with the walk, or when the time to wait is over.
func (w *walk) within(d time.Duration) (context.Context, context.CancelFunc) {
	return context.WithTimeout(w.ctx, d)
}
