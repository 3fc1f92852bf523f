package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"time"

	"benchtally/store"
)

// verifyCommand checks a store whole.
type verifyCommand struct {
	Store string `arg:"" help:"Store's file."`
	JSON  bool   `name:"json" help:"Print the report as JSON."`
}

// Run prints the report; damage is a fault. Of a store in use a consistent copy
// is checked.
func (c *verifyCommand) Run(e env) error {
	if _, err := os.Stat(c.Store); errors.Is(err, fs.ErrNotExist) {
		return fmt.Errorf("there is no store %s", c.Store)
	}
	report, err := store.Verify(c.Store)
	if errors.Is(err, store.ErrLocked) {
		report, err = verifyCopy(e, c.Store, err)
	}
	if err != nil {
		return err
	}
	if c.JSON {
		err = json.NewEncoder(e.stdout).Encode(report)
	} else {
		if report.ID != "" { // it is a store at all
			_, err = fmt.Fprintf(e.stdout, "%s: %s (%d to %d), sent up to %d, %d bytes\n",
				c.Store, plural(int(report.Records), "record"), report.First, report.Last, report.Sent, report.Bytes)
		}
		for _, r := range report.Rescues {
			_, err = fmt.Fprintf(e.stdout, "rescued on %s: %s\n", r.At.Format(time.DateTime), r.Sentence())
		}
		for _, d := range report.Damage {
			_, _ = fmt.Fprintln(e.stdout, "damaged:", d) // err tells as well
		}
	}
	if n := len(report.Damage); n > 0 {
		err = errors.Join(err, fmt.Errorf("%s is damaged in %s: keep the file, restore a backup or move it aside to begin a new store", c.Store, plural(n, "place")))
	}
	return err
}

func verifyCopy(e env, path string, locked error) (report store.Report, err error) {
	dir, err := os.MkdirTemp("", "benchtally-verify-")
	if err != nil {
		return report, err
	}
	defer func() { err = errors.Join(err, os.RemoveAll(dir)) }()
	copied := filepath.Join(dir, "copy.db")
	if err := fetchBackup(e, path, copied); errors.Is(err, errNoAgent) {
		return report, locked
	} else if err != nil {
		return report, err
	}
	report, err = store.Verify(copied)
	report.Path = path
	return report, err
}
