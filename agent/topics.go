package main

import (
	"fmt"

	"benchtally/mqtt"
)

// topicsCommand describes what the press publishes.
type topicsCommand struct {
	Config string `default:"${config}" placeholder:"FILE" help:"Configuration; ${default}."`
	Schema string `placeholder:"TOPIC" help:"Print the JSON Schema of one topic's messages instead, such as event/stroke, state/work, status."`
}

// Help says what to do with it.
func (topicsCommand) Help() string {
	return `The document is AsyncAPI 3.0 in JSON: every topic with this press's own base, and for each the quality of
service, whether it is retained, the schema of its messages and an example. It stands alone and can be
opened by whatever reads AsyncAPI. A schema is JSON Schema, draft 2020-12, and needs no configuration.`
}

// Run prints the document, or one schema.
func (c *topicsCommand) Run(e env) error {
	if c.Schema != "" {
		schema, err := mqtt.Schema(mqtt.Topic(c.Schema))
		if err != nil {
			return invalid{fmt.Errorf("--schema: %w", err)}
		}
		_, err = e.stdout.Write(schema)
		return err
	}
	cfg, err := loadConfig(c.Config)
	if err != nil {
		return err
	}
	document, err := mqtt.Document(cfg.Base(), cfg.MQTT.Broker)
	if err != nil {
		return err
	}
	if cfg.MQTT.Broker == "" { // a hint, no result
		_, _ = fmt.Fprintf(e.stderr, "benchtally: %s names no broker, so nothing is published; an invented one stands in the document\n", c.Config)
	}
	_, err = e.stdout.Write(document)
	return err
}
