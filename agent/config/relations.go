package config

import (
	"fmt"
	"path/filepath"
	"strings"
)

// relations checks keys against each other. A pair of which one has a fault
// already is left alone.
func (l *loader) relations() {
	c := l.c
	l.relate(len(c.Base()) <= 128, "press.topic", "press.name",
		fmt.Sprintf("topic and name together are %d bytes long: want at most 128", len(c.Base())))
	levels := strings.Count(c.Base(), "/") + 1
	l.relate(levels <= 8, "press.topic", "press.name",
		fmt.Sprintf("topic and name together have %d levels: want at most 8", levels))

	l.relate(c.Scale.Lowest < c.Scale.Highest, "setting.lowest", "setting.highest",
		fmt.Sprintf("lowest %d must be below highest %d", c.Scale.Lowest, c.Scale.Highest))

	s := c.Switch
	l.relate(s.Settle <= s.Shortest, "switch.shortest", "switch.settle",
		fmt.Sprintf("shortest %s must not be below settle %s", shortTime(s.Shortest), shortTime(s.Settle)))
	l.relate(s.Shortest <= s.Cycle, "switch.cycle", "switch.shortest",
		fmt.Sprintf("cycle %s must not be below shortest %s", shortTime(s.Cycle), shortTime(s.Shortest)))
	l.relate(s.Cycle <= s.Stuck, "switch.stuck", "switch.cycle",
		fmt.Sprintf("stuck %s must not be below cycle %s", shortTime(s.Stuck), shortTime(s.Cycle)))
	l.relate(s.Rest == "" || s.Rest != s.Line, "switch.rest", "switch.line",
		"the two contacts want a line each, this one is taken by line")
	l.relate(s.Retracted == "" || s.Retracted != s.Line, "switch.retracted", "switch.line",
		"the two switches want a line each, this one is taken by line")
	l.relate(s.Retracted == "" || s.Retracted != s.Rest, "switch.retracted", "switch.rest",
		"the two switches want a line each, this one is taken by rest")

	l.relate(c.Caliper.Trigger != onRequest || c.Caliper.Request != "", "caliper.request", "caliper.trigger",
		`trigger = "request" needs the bytes that ask for a reading, such as request = "R\r"`)

	costs := c.Correction.Costs
	l.relate((costs.Scrap > 0) == (costs.Stroke > 0), "correction.scrap_cost", "correction.stroke_cost",
		"one cost alone moves no aim: write scrap_cost and stroke_cost, or neither")
	l.relate(c.Measure.RepeatabilityDof == 0 || c.Measure.Repeatability > 0, "measure.repeatability_dof", "measure.repeatability",
		"degrees of freedom need the standard deviation that they belong to: write repeatability as well")

	l.pageRelations()
	l.relate(c.Metrics.Listen == "" || c.Metrics.Listen != c.Page.Listen || strings.HasSuffix(c.Page.Listen, ":0"), "metrics.listen", "page.listen",
		"the page and the metrics want an address each, this one is the page's")
	l.relate(c.Scanner.Port == "" || c.Scanner.Port != c.Caliper.Port, "scanner.port", "caliper.port",
		"the scanner and the caliper want a port each, this one is the caliper's")
	l.relate(c.Caliper.CheckEvery == 0 || len(c.Standards) > 0, "caliper.check_every", standardsTable+".name",
		"a check needs a gauge block or ring: name it under [[standards]]")

	m := c.MQTT
	l.relate(m.PasswordFile == "" || m.User != "", "mqtt.password_file", "mqtt.user",
		"a password needs a user: write user as well")
	l.relate(m.Cert == "" || m.Key != "", "mqtt.cert", "mqtt.key",
		"a certificate needs its key: write key as well")
	l.relate(m.Key == "" || m.Cert != "", "mqtt.key", "mqtt.cert",
		"a key needs its certificate: write cert as well")
	plain := strings.HasPrefix(m.Broker, "tcp://")
	l.relate(!plain || m.CA == "", "mqtt.ca", "mqtt.broker", "is of use with ssl:// only")
	l.relate(!plain || m.CRL == "", "mqtt.crl", "mqtt.broker", "is of use with ssl:// only")
	l.relate(!plain || m.Cert == "", "mqtt.cert", "mqtt.broker", "is of use with ssl:// only")
	l.nodeRelations()
}

// nodeRelations checks what belongs to the Sparkplug edge node.
func (l *loader) nodeRelations() {
	s, m := l.c.Sparkplug, l.c.MQTT
	l.relate(s.Group == "" || s.Broker != "" || m.Broker != "", "sparkplug.group", "mqtt.broker",
		"a node needs a broker: write broker here or under [mqtt]")
	l.relate(!strings.HasPrefix(s.Broker, "tcp://") || m.CA == "" && m.CRL == "" && m.Cert == "", "sparkplug.broker", "mqtt.broker",
		"the certificates under [mqtt] are of use with ssl:// only: write ssl:// here too")
	for _, k := range []struct{ name, value string }{{"sparkplug.node", s.Node}, {"sparkplug.host", s.Host}, {"sparkplug.broker", s.Broker}} {
		l.relate(k.value == "" || s.Group != "", k.name, "sparkplug.group", "there is no node without a group: write group as well")
	}
}

// pageRelations checks who may reach the page. One that others than this machine
// reach is encrypted, and asks who acts.
func (l *loader) pageRelations() {
	p := l.c.Page
	l.relate(p.Cert == "" || p.Key != "", "page.cert", "page.key", "a certificate needs its key: write key as well")
	l.relate(p.Key == "" || p.Cert != "", "page.key", "page.cert", "a key needs its certificate: write cert as well")
	l.relate(!p.SignIn || p.Operators != "", "page.sign_in", "page.operators",
		`signing in needs the operators: write operators = "operators.csv", and make it with benchtally operator add`)
	l.relate(!p.ViewSignedIn || p.SignIn, "page.view", "page.sign_in", `needs sign_in = "on"`)
	l.relate(p.Proxy == "" || p.SignIn, "page.proxy", "page.sign_in", `others reach the page through it: write sign_in = "on" and operators as well`)
	if p.Listen == "" || shownHere(p.Listen) {
		return
	}
	var wanted []string
	if p.Cert == "" && p.Proxy == "" {
		wanted = append(wanted, "cert and key for TLS, or proxy for a reverse proxy that does it")
	}
	if !p.SignIn {
		wanted = append(wanted, `sign_in = "on" with operators`)
	}
	l.relate(wanted == nil, "page.listen", "page.sign_in",
		"others than this machine reach the page here: write "+strings.Join(wanted, ", and ")+"; or listen on 127.0.0.1")
}

// relate notes a fault at key unless ok, or a fault at one of the two is known.
// A key that stands by its default hands the fault on to the other.
func (l *loader) relate(ok bool, key, other, text string) {
	if ok || !l.good[key] || !l.good[other] {
		return
	}
	if _, written := l.c.at[key]; !written {
		key = other
	}
	l.fault(key, "", text)
}

// paths makes the paths absolute, from the folder of the file.
func (l *loader) paths() {
	c := l.c
	folder := filepath.Dir(c.File)
	if abs, err := filepath.Abs(folder); err == nil {
		folder = abs
	}
	l.handOver()
	for _, p := range []*string{&c.Store.Path, &c.MQTT.PasswordFile, &c.MQTT.CA, &c.MQTT.CRL, &c.MQTT.Cert, &c.MQTT.Key, &c.Page.Cert, &c.Page.Key, &c.Page.Operators} {
		if strings.HasPrefix(*p, handedOver) {
			continue
		}
		if *p != "" && !filepath.IsAbs(*p) {
			*p = filepath.Join(folder, *p)
		}
	}
	// What is no store looks like a damaged one, which people are told to move aside.
	taken := map[string]string{
		filepath.Join(folder, filepath.Base(c.File)): "the configuration",
		c.MQTT.PasswordFile:                          "the password",
		c.MQTT.CA:                                    "the authorities",
		c.MQTT.CRL:                                   "the list of revoked certificates",
		c.MQTT.Cert:                                  "the certificate",
		c.MQTT.Key:                                   "its key",
		c.Page.Cert:                                  "the page's certificate",
		c.Page.Key:                                   "the page's key",
		c.Page.Operators:                             "the operators",
	}
	for what, files := range map[string][]entry{"a specs file": l.specs, "a file of job cards": l.jobs} {
		for _, e := range files {
			name := e.value.(string)
			if !filepath.IsAbs(name) {
				name = filepath.Join(folder, name)
			}
			taken[filepath.Clean(name)] = what
		}
	}
	if what, ok := taken[filepath.Clean(c.Store.Path)]; ok && l.good["store.path"] {
		l.fault("store.path", "", "the store wants a file of its own, this one is "+what)
	}
}
