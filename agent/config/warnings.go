package config

import (
	"fmt"
	"math"
	"net/url"
	"regexp"
	"strings"

	"benchtally/agent/crimp"
)

// invented is the revision of the example specifications. No end may be
// crimped by them, so Warnings names them as long as one is left.
const invented = "invented"

// shakyPort is a name that the system gives in the order of plugging in.
var shakyPort = regexp.MustCompile(`^/dev/tty(USB|ACM)\d+$`)

// Warnings are things that work and are probably not meant, each a line like
// that of a fault.
func (c *Config) Warnings() (lines []string) {
	warn := func(key, text string) {
		lines = append(lines, c.Fault(key, text).Error())
	}
	if _, ok := c.at["press.topic"]; !ok && c.MQTT.Broker != "" {
		warn("press.topic", fmt.Sprintf("is not written, so the topics begin with the example's %s: write your site and area", exampleTopic))
	}
	if shakyPort.MatchString(c.Caliper.Port) {
		warn("caliper.port", "this name may change when the cable is plugged in again: use the one under /dev/serial/by-id (benchtally ports shows it)")
	}
	if c.Caliper.Request != "" && c.Caliper.Trigger != onRequest {
		warn("caliper.request", `is sent only with trigger = "request"`)
	}
	if c.Measure.Ovality > 0 && c.Measure.Places == 1 {
		warn("measure.ovality", "says nothing with places = 1: one reading has no largest and smallest")
	}
	if u, err := url.Parse(c.MQTT.Broker); err == nil && u.Scheme == "tcp" && !onThisMachine(u.Hostname()) {
		warn("mqtt.broker", "the records travel unencrypted to another machine, the password too: ssl:// protects them")
	}
	c.warnSpecs("measure.confidence", "the guard band leaves no room to pass", func(s crimp.Spec) bool {
		// z·u on both sides (ISO 14253-1); a u that is computed is not known here.
		z := math.Sqrt2 * math.Erfinv(2*c.Measure.Confidence-1)
		return c.Measure.Confidence > 0 && 2*z*float64(c.Measure.U) > float64(s.Plus+s.Minus)
	}, warn)
	c.warnSpecs("setting.step", "one count of the setting changes the diameter by more than the whole tolerance", func(s crimp.Spec) bool {
		return c.Scale.Step > s.Plus+s.Minus
	}, warn)
	c.warnSpecs("specs.file", "the figures are invented examples: replace them by those of the maker's current sheet", func(s crimp.Spec) bool {
		return s.Revision == invented
	}, warn)
	return lines
}

// warnSpecs warns once of all specifications that match.
func (c *Config) warnSpecs(key, text string, match func(crimp.Spec) bool, warn func(key, text string)) {
	const most = 5
	var ids []string
	for _, s := range c.Specs {
		if match(s) {
			ids = append(ids, s.ID)
		}
	}
	if len(ids) == 0 {
		return
	}
	names := strings.Join(ids[:min(most, len(ids))], ", ")
	if more := len(ids) - most; more > 0 {
		names += fmt.Sprintf(" and %d more", more)
	}
	warn(key, text+": "+names)
}
