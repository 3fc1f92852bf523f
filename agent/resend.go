package main

import (
	"errors"
	"fmt"
	"net/url"
	"strconv"

	"benchtally/store"
)

// resendCommand publishes kept events again.
type resendCommand struct {
	From   uint64 `required:"" placeholder:"SEQ" help:"First record."`
	To     uint64 `required:"" placeholder:"SEQ" help:"Last record."`
	Config string `default:"${config}" placeholder:"FILE" help:"Configuration; ${default}."`
}

// Run asks the running agent, or leaves the wish in the store for its next start.
func (c *resendCommand) Run(e env) error {
	if c.From < 1 || c.From > c.To {
		return invalid{fmt.Errorf("--from %d --to %d: want 1 or more, the first not after the last", c.From, c.To)}
	}
	cfg, err := loadConfig(c.Config)
	if err != nil {
		return err
	}
	when := "now"
	query := url.Values{"from": {strconv.FormatUint(c.From, 10)}, "to": {strconv.FormatUint(c.To, 10)}}
	body, err := askAgent(e.ctx, cfg.Store.Path, "POST", "/resend", query, nil)
	switch {
	case errors.Is(err, errNoAgent):
		when = "when the agent runs again"
		kept, err := openKept(cfg.Store.Path, store.Options{})
		if err != nil {
			return err
		}
		if err := errors.Join(kept.Resend(c.From, c.To), kept.Close()); err != nil {
			return err
		}
	case err != nil:
		return err
	default:
		if err := body.Close(); err != nil {
			return err
		}
	}
	_, err = fmt.Fprintf(e.stdout, "records %d to %d are published again %s, behind what was never sent\n", c.From, c.To, when)
	return err
}
