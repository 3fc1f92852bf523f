package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"slices"
	"strings"
	"time"

	"benchtally/agent/config"
	"benchtally/mqtt"
	"benchtally/store"
)

// A press that moves, is renamed or is taken out of service leaves retained
// topics at the broker. The store remembers the bases that may still stand there.

// markBases is the mark whose note is the bases: the press's own first, then
// former ones not yet cleared, parted by blanks.
const markBases = "bases"

// formerBases remembers the press's base and returns the former ones.
func formerBases(s *store.Store, base string) ([]string, error) {
	_, note, err := s.Mark(markBases)
	if err != nil {
		return nil, err
	}
	former := slices.DeleteFunc(strings.Fields(string(note)), func(old string) bool { return old == base || mqtt.ValidBase(old) != nil })
	now := strings.Join(append([]string{base}, former...), " ")
	if now == string(note) {
		return former, nil
	}
	return former, s.SetMark(markBases, 0, []byte(now))
}

// forgetTime is how long forgetting may take in all.
const forgetTime = 30 * time.Second

// forgetCommand removes what the press has left at its broker.
type forgetCommand struct {
	Config string   `default:"${config}" placeholder:"FILE" help:"Configuration; ${default}."`
	JSON   bool     `name:"json" help:"Print as JSON."`
	Base   []string `placeholder:"BASE" help:"Clear these topics in place of the press's own, such as those of a card that is lost: site/area/press. May be repeated."`
}

// Run clears the retained topics. An agent that runs would publish its own anew;
// those of another base it leaves alone.
func (c *forgetCommand) Run(e env) error {
	cfg, err := loadOpen(c.Config)
	if err != nil {
		return err
	}
	if cfg.MQTT.Broker == "" {
		return invalid{fmt.Errorf("%s names no broker, so nothing can stand there", c.Config)}
	}
	for _, base := range c.Base {
		if err := mqtt.ValidBase(base); err != nil {
			return invalid{fmt.Errorf("--base: %w", err)}
		}
	}
	bases, settings := c.Base, publisherSettings(cfg, "forget00")
	if _, err := os.Stat(cfg.Store.Path); err == nil {
		kept, err := store.Open(cfg.Store.Path, store.Options{})
		switch {
		case err == nil:
			defer kept.Close() //nolint:errcheck // what matters in it was kept before
			settings = publisherSettings(cfg, kept.ID())
			if bases, err = c.known(e, cfg, kept); err != nil {
				return err
			}
		case !errors.Is(err, store.ErrLocked):
			return err
		case len(bases) == 0 || slices.Contains(bases, cfg.Base()):
			return errors.New("the agent runs, it would publish all of it again: stop it first (systemctl stop benchtally)")
		}
	} else if !errors.Is(err, fs.ErrNotExist) {
		return err
	}
	if len(bases) == 0 {
		bases = []string{cfg.Base()}
	}
	ctx, cancel := context.WithTimeoutCause(e.ctx, forgetTime, fmt.Errorf("no more than %v are waited", forgetTime))
	defer cancel()
	topics, err := mqtt.Forget(ctx, settings, bases...)
	if err != nil {
		return err
	}
	if c.JSON {
		return json.NewEncoder(e.stdout).Encode(map[string]any{"broker": cfg.MQTT.Broker, "cleared": topics})
	}
	at := cfg.MQTT.Broker
	if strings.Contains(at, " ") {
		at = "one of " + at
	}
	_, err = fmt.Fprintf(e.stdout, "cleared at %s, as far as the press may write there:\n  %s\n", at, strings.Join(topics, "\n  "))
	return err
}

// known is what to clear by the store, and tells what was never sent.
func (c *forgetCommand) known(e env, cfg *config.Config, kept *store.Store) ([]string, error) {
	bases := c.Base
	if len(bases) == 0 {
		former, err := formerBases(kept, cfg.Base())
		if err != nil {
			return nil, err
		}
		bases = append([]string{cfg.Base()}, former...)
	}
	n, _, err := kept.Queue()
	if err == nil && n > 0 {
		_, err = fmt.Fprintf(e.stderr, "benchtally: %d records in the store were never sent; they go out if the agent runs again\n", n)
	}
	return bases, err
}
