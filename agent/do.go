package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"strings"

	"benchtally/agent/record"
	"benchtally/agent/tape"
)

// doCommand does an operator's action at the running agent.
type doCommand struct {
	Action string `arg:"" help:"As on a tape, such as '{\"do\":\"start\",\"order\":\"A-1001\",\"spec\":\"hs-08\",\"quantity\":6,\"setting\":120}'."`
	Config string `default:"${config}" placeholder:"FILE" help:"Configuration; ${default}."`
	JSON   bool   `name:"json" help:"Print the records as JSON, one a line."`
}

// Run prints the records that the action made.
func (c *doCommand) Run(e env) error {
	cfg, err := loadConfig(c.Config)
	if err != nil {
		return err
	}
	line, err := tape.Parse([]byte(c.Action))
	if err != nil {
		return invalid{err}
	}
	if line.Action == nil {
		return invalid{errors.New(`want an action, such as {"do":"undo"}`)}
	}
	body, err := askAgent(e.ctx, cfg.Store.Path, "POST", "/do", nil, strings.NewReader(c.Action))
	if errors.Is(err, errNoAgent) {
		return fmt.Errorf("no agent runs on %s: start it, or use its page", cfg.Store.Path)
	}
	if err != nil {
		return err
	}
	var records []record.Record
	if err := errors.Join(json.NewDecoder(body).Decode(&records), body.Close()); err != nil {
		return err
	}
	why := refusal(records)
	for _, r := range records {
		if why != "" && !c.JSON {
			break // it is told as the error
		}
		if c.JSON {
			_, err = fmt.Fprintf(e.stdout, "%s\n", r.AppendJSON(nil))
		} else {
			_, err = fmt.Fprintln(e.stdout, tell(r))
		}
		if err != nil {
			return err
		}
	}
	if why != "" {
		return fmt.Errorf("refused: %s", why)
	}
	return nil
}
