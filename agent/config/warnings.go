package config

import (
	"fmt"
	"net/url"
	"regexp"

	"benchtally/agent/crimp"
)

// invented is the revision of the example specifications. No end may be
// crimped by them, so Warnings names them as long as one is left.
const invented = "invented"

// shakyPort is a name that the system gives in the order of plugging in.
var shakyPort = regexp.MustCompile(`^/dev/tty(USB|ACM)\d+$`)

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
	if shakyPort.MatchString(c.Caliper.Port) {
		warn("caliper.port", "this name may change when the cable is plugged in again: use the one under /dev/serial/by-id (benchtally ports shows it)")
	}
	if c.Caliper.Request != "" && c.Caliper.Trigger != onRequest {
		warn("caliper.request", `is sent only with trigger = "request"`)
	}
	c.warnMeasure(warn)
	if u, err := url.Parse(c.MQTT.Broker); err == nil && u.Scheme == "tcp" && !onThisMachine(u.Hostname()) {
		warn("mqtt.broker", "the records travel unencrypted to another machine, the password too: ssl:// protects them")
	}
	c.warnPlaces(warn)
	c.warnTolerances(warn)
	c.warnSpecs("specs.file", "the figures are invented examples: replace them by those of the maker's current sheet", func(s crimp.Spec) bool {
		return s.Revision == invented
	}, warn)
	return lines
}

// written says whether the file has a key.
func (c *Config) written(key string) bool {
	_, ok := c.at[key]
	return ok
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
