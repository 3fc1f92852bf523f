package main

import (
	"cmp"
	"context"
	"errors"
	"log/slog"

	"golang.org/x/sync/errgroup"

	"benchtally/agent/config"
	"benchtally/mqtt"
	"benchtally/mqtt/broker"
	"benchtally/mqtt/sparkplug"
)

// What is kept goes out on two ways, each with a connection of its own: as JSON,
// which carries the record, and, if the plant wants it, as a Sparkplug edge node.

// openOutputs makes the outputs that the configuration names.
func (a *agent) openOutputs() error {
	if a.cfg.MQTT.Broker != "" {
		settings := publisherSettings(a.cfg, a.store.ID())
		var err error
		if settings.Former, err = formerBases(a.store, a.cfg.Base()); err != nil {
			slog.Warn("what the press left at the broker under another name stays there", "err", err)
		}
		settings.OnCleared = func() {
			if err := a.store.SetMark(markBases, 0, []byte(a.cfg.Base())); err != nil {
				slog.Warn("the press's former topics are cleared again at the next start", "err", err)
			}
		}
		settings.ClockState = a.clock.state
		settings.OnChange = func(mqtt.State) { a.tellHouse() }
		part := a.watchdog.part("publisher", outputLimit)
		settings.OnTurn, a.parts.publisher = part.beat, part
		if a.publisher, err = mqtt.New(settings, a.store); err != nil {
			return err
		}
	}
	if a.cfg.Sparkplug.Group == "" {
		return nil
	}
	settings := nodeSettings(a.cfg, a.store.ID())
	settings.OnChange = a.tellHouse
	part := a.watchdog.part("sparkplug", outputLimit)
	settings.OnTurn, a.parts.node = part.beat, part
	var err error
	a.node, err = sparkplug.New(settings, a.store)
	return err
}

// tellHouse says that an output's state has changed.
func (a *agent) tellHouse() {
	select {
	case a.outputChanged <- struct{}{}:
	default: // it is said already
	}
}

func brokerAccess(c *config.Config) broker.Access {
	return broker.Access{
		Address: c.MQTT.Broker, User: c.MQTT.User, PasswordFile: c.MQTT.PasswordFile,
		CA: c.MQTT.CA, CRL: c.MQTT.CRL, Cert: c.MQTT.Cert, Key: c.MQTT.Key,
	}
}

func publisherSettings(c *config.Config, storeID string) mqtt.Settings {
	return mqtt.Settings{
		Access: brokerAccess(c), Base: c.Base(), ClientID: c.Press.Name + "-" + storeID[:8],
		Window: c.MQTT.Window, Rate: c.MQTT.Rate,
	}
}

func nodeSettings(c *config.Config, storeID string) sparkplug.Settings {
	access := brokerAccess(c)
	access.Address = cmp.Or(c.Sparkplug.Broker, access.Address)
	return sparkplug.Settings{
		Access: access, ClientID: c.Press.Name + "-" + storeID[:8] + "-node",
		Group: c.Sparkplug.Group, Node: cmp.Or(c.Sparkplug.Node, c.Press.Name), Device: c.Sparkplug.Device, Host: c.Sparkplug.Host,
		Version: version, Store: storeID,
	}
}

// runOutputs publishes until ctx ends.
func (a *agent) runOutputs(ctx context.Context, work *errgroup.Group) {
	if a.publisher != nil {
		work.Go(func() error { defer a.parts.publisher.end(); return a.publisher.Run(ctx) })
	}
	if a.node != nil {
		work.Go(func() error { defer a.parts.node.end(); return a.node.Run(ctx) })
	}
}

// wakeOutputs says that there are new records.
func (a *agent) wakeOutputs() {
	if a.publisher != nil {
		a.publisher.Wake()
	}
	if a.node != nil {
		a.node.Wake()
	}
}

// drain waits a while until the broker has acknowledged everything.
func (a *agent) drain(ctx context.Context) {
	ctx, cancel := context.WithTimeout(ctx, drainTime)
	defer cancel()
	if err := a.publisher.Drain(ctx); err != nil && !errors.Is(err, context.Canceled) {
		n, _, _ := a.store.Queue() // for the log only
		slog.Warn("events wait for the broker; they are kept and go out at the next start", "events", n)
	}
}
