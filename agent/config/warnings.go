package config

import (
	"fmt"
	"net/url"
	"regexp"
	"slices"
	"strings"

	"benchtally/agent/crimp"
)

// invented is the revision of the example specifications. No end may be
// crimped by them, so Warnings names them as long as one is left.
const invented = "invented"

// shakyPort is a name that the system gives in the order of plugging in.
var shakyPort = regexp.MustCompile(`^/dev/(tty(USB|ACM)|input/event)\d+$`)

// warner takes one warning of a key.
type warner func(key, text string)

// Warnings are things that work and are probably not meant, each a line like
// that of a fault.
func (c *Config) Warnings() (lines []string) {
	warn := func(key, text string) {
		lines = append(lines, c.Fault(key, text).Error())
	}
	if !c.written("press.topic") && c.MQTT.Broker != "" {
		warn("press.topic", fmt.Sprintf("is not written, so the topics begin with the example's %s: write your site and area", exampleTopic))
	}
	warnPort("caliper.port", c.Caliper.Port, warn)
	warnPort("scanner.port", c.Scanner.Port, warn)
	if c.Caliper.Request != "" && c.Caliper.Trigger != onRequest {
		warn("caliper.request", `is sent only with trigger = "request"`)
	}
	c.warnMeasure(warn)
	c.warnBroker(warn)
	for _, s := range c.sealed {
		warn(s.key, s.text())
	}
	c.warnPage(warn)
	c.warnPlaces(warn)
	c.warnTolerances(warn)
	c.warnSpecs("specs.file", "the figures are invented examples: replace them by those of the maker's current sheet", func(s crimp.Spec) bool {
		return s.Revision == invented
	}, warn)
	return lines
}

// warnBroker warns of a broker elsewhere without TLS.
func (c *Config) warnBroker(warn warner) {
	for _, b := range []struct{ key, addresses string }{{"mqtt.broker", c.MQTT.Broker}, {"sparkplug.broker", c.Sparkplug.Broker}} {
		plain := slices.ContainsFunc(strings.Fields(b.addresses), func(address string) bool {
			u, err := url.Parse(address)
			return err == nil && u.Scheme == "tcp" && !onThisMachine(u.Hostname())
		})
		if plain {
			warn(b.key, "the records travel unencrypted to another machine, the password too: ssl:// protects them")
		}
	}
}

// written says whether the file has a key.
func (c *Config) written(key string) bool {
	_, ok := c.at[key]
	return ok
}

// warnPort warns of a port whose name means another device one day.
func warnPort(key, name string, warn warner) {
	if !shakyPort.MatchString(name) {
		return
	}
	steady := "/dev/serial/by-id"
	if strings.HasPrefix(name, "/dev/input/") {
		steady = "/dev/input/by-id"
	}
	warn(key, "this name may change when the cable is plugged in again: use the one under "+steady+" (benchtally ports shows it)")
}

// warnPage warns of files that the page wants and are not there, or that others
// may open. They keep people from the page, and nobody from working.
func (c *Config) warnPage(warn warner) {
	for _, f := range []struct {
		key, path string
		secret    bool
	}{
		{"page.cert", c.Page.Cert, false},
		{"page.key", c.Page.Key, true},
		{"page.operators", c.Page.Operators, true},
	} {
		if f.path == "" || strings.HasPrefix(f.path, handedOver) {
			continue
		}
		if text := credential(f.path, f.secret); text != "" {
			warn(f.key, text)
		}
	}
}

// warnMeasure warns of what says nothing beside other keys of its table.
func (c *Config) warnMeasure(warn warner) {
	m := c.Measure
	if m.Ovality > 0 && m.Places == 1 {
		warn("measure.ovality", "says nothing with places = 1: one reading has no largest and smallest")
	}
	if t := m.Temperature; t >= 15 {
		warn("measure.temperature", fmt.Sprintf("is how far from 20 °C the ferrule may be, so this says from %g °C to %g °C", 20-t, 20+t))
	}
	const instead = "says nothing while u is written: u counts in place of all that is computed"
	if m.U > 0 && m.Repeatability > 0 {
		warn("measure.repeatability", instead)
	}
	if m.U > 0 && m.Temperature > 0 {
		warn("measure.temperature", instead)
	}
}
