package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"maps"
	"slices"

	"benchtally/agent/config"
	"benchtally/caliper"
	"benchtally/mqtt"
	"benchtally/mqtt/sparkplug"
)

// checkCommand checks a configuration.
type checkCommand struct {
	File string `arg:"" help:"Configuration."`
	JSON bool   `name:"json" help:"Print the faults as JSON."`
}

// checked is the answer of check in JSON.
type checked struct {
	File     string        `json:"file"`
	OK       bool          `json:"ok"`
	Specs    int           `json:"specs"`
	Jobs     int           `json:"jobs"`
	Faults   config.Faults `json:"faults"`
	Warnings []string      `json:"warnings"`
}

// Run prints what is there, and all that is wrong.
func (c *checkCommand) Run(e env) error {
	cfg, err := loadWhole(c.File)
	answer := checked{File: c.File, OK: err == nil, Faults: config.Faults{}, Warnings: []string{}}
	if err == nil {
		answer.Specs, answer.Jobs, answer.Warnings = len(cfg.Specs), len(cfg.Jobs), append(answer.Warnings, cfg.Warnings()...)
		answer.Warnings = append(answer.Warnings, warnFiles(cfg)...)
	}
	if !c.JSON {
		if err != nil {
			return err
		}
		for _, line := range answer.Warnings {
			_, _ = fmt.Fprintln(e.stderr, "warning:", line) // a hint, no result
		}
		_, err = fmt.Fprintf(e.stdout, "%s: no faults, %d specs, %s, topics below %s\n", c.File, len(cfg.Specs), plural(len(cfg.Jobs), "job card"), cfg.Base())
		return err
	}
	errors.As(err, &answer.Faults)
	out := json.NewEncoder(e.stdout)
	out.SetEscapeHTML(false)
	return errors.Join(out.Encode(answer), err)
}

// warnFiles tells what is wrong with what the files for the broker hold. It keeps
// nobody from working: a file that is put right serves the next connection.
func warnFiles(cfg *config.Config) (lines []string) {
	if cfg.MQTT.Broker == "" && cfg.Sparkplug.Broker == "" || len(cfg.Sealed()) > 0 {
		return nil
	}
	faults := brokerAccess(cfg).Files()
	for _, key := range slices.Sorted(maps.Keys(faults)) {
		lines = append(lines, cfg.Fault("mqtt."+key, faults[key].Error()).Error())
	}
	return lines
}

// loadConfig reads and checks a configuration. Faults of its job cards are in it.
func loadConfig(file string) (*config.Config, error) { return config.Load(file, checkParts) }

// loadOpen is loadConfig for who connects to the broker.
func loadOpen(file string) (*config.Config, error) {
	cfg, err := loadConfig(file)
	if err == nil {
		if sealed := cfg.Sealed(); len(sealed) > 0 {
			return nil, sealed
		}
	}
	return cfg, err
}

// loadWhole is loadConfig for who cannot do without the job cards.
func loadWhole(file string) (*config.Config, error) {
	cfg, err := loadConfig(file)
	if err == nil && len(cfg.JobFaults) > 0 {
		return nil, cfg.JobFaults
	}
	return cfg, err
}

// checkParts lets the packages check what only they know.
func checkParts(cfg *config.Config) (faults config.Faults) {
	if _, err := caliper.NewReader(readerSettings(cfg)); err != nil {
		faults = append(faults, cfg.Fault("caliper.format", err.Error()))
	}
	if cfg.MQTT.Broker != "" && cfg.Press.Name != "" {
		if _, err := mqtt.New(publisherSettings(cfg, "0000000000000000"), nil); err != nil {
			faults = append(faults, cfg.Fault("mqtt.broker", err.Error()))
		}
	}
	if cfg.Sparkplug.Group != "" && cfg.Press.Name != "" {
		if _, err := sparkplug.New(nodeSettings(cfg, "0000000000000000"), nil); err != nil {
			faults = append(faults, cfg.Fault("sparkplug.group", err.Error()))
		}
	}
	return faults
}
