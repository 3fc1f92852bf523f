package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"time"

	"benchtally/store"
)

// rescueCommand makes a new store of what is left in a damaged one, by hand.
type rescueCommand struct {
	Damaged string `arg:"" help:"Damaged file; it is only read."`
	New     string `arg:"" help:"Store to write; it must not exist."`
	JSON    bool   `name:"json" help:"Print the report as JSON."`
}

// Run prints what was rescued and what was not. What is lost is no fault of the rescue.
func (c *rescueCommand) Run(e env) error {
	if _, err := os.Stat(c.Damaged); err != nil {
		return invalid{err}
	}
	if _, err := os.Lstat(c.New); err == nil {
		return invalid{fmt.Errorf("%s exists already; nothing is overwritten", c.New)}
	} else if !errors.Is(err, fs.ErrNotExist) {
		return invalid{err}
	}
	report, err := store.Rescue(c.Damaged, c.New, store.RescueOptions{Now: time.Now()})
	if err != nil {
		return err
	}
	return tellRescue(e, report, c.JSON)
}

// tellRescue prints a report.
func tellRescue(e env, report store.Rescued, asJSON bool) (err error) {
	if asJSON {
		return json.NewEncoder(e.stdout).Encode(report)
	}
	line := func(format string, args ...any) {
		if err == nil {
			_, err = fmt.Fprintf(e.stdout, format+"\n", args...)
		}
	}
	line("%s", report.Sentence())
	line("records %d to %d, sent up to %d, state folded up to %d, %s set aside", report.First, report.Last, report.Sent, report.State, plural(report.Orders, "order"))
	line("the new store is %s, the damaged one was %s", report.ID, orUnknown(report.Was))
	for _, r := range report.Lost {
		line("lost: %s", r)
	}
	for _, d := range report.Doubts {
		line("not certain: %s", d)
	}
	return err
}

func orUnknown(id string) string {
	if id == "" {
		return "of an unknown id"
	}
	return id
}
