package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"net/url"
	"os"
	"path/filepath"
	"strconv"
	"strings"

	"benchtally/agent/config"
	"benchtally/agent/record"
	"benchtally/agent/tape"
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
		_, err = fmt.Fprintf(e.stdout, "%s: %d records (%d to %d), sent up to %d, %d bytes\n",
			c.Store, report.Records, report.First, report.Last, report.Sent, report.Bytes)
		for _, d := range report.Damage {
			_, _ = fmt.Fprintln(e.stdout, "damaged:", d) // err tells as well
		}
	}
	if n := len(report.Damage); n > 0 {
		err = errors.Join(err, fmt.Errorf("%s is damaged in %d places: keep the file, restore a backup or move it aside to begin a new store", c.Store, n))
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

// backupCommand copies the store.
type backupCommand struct {
	Dest   string `arg:"" help:"File to write; it must not exist."`
	Config string `default:"${config}" placeholder:"FILE" help:"Configuration."`
}

// Run writes the copy and checks it.
func (c *backupCommand) Run(e env) error {
	cfg, err := config.Load(c.Config)
	if err != nil {
		return err
	}
	err = fetchBackup(e, cfg.Store.Path, c.Dest)
	if errors.Is(err, errNoAgent) {
		kept, err := store.Open(cfg.Store.Path, store.Options{ReadOnly: true})
		if err != nil {
			return err
		}
		if err := errors.Join(kept.BackupFile(c.Dest), kept.Close()); err != nil {
			return err
		}
	} else if err != nil {
		return err
	}
	report, err := store.Verify(c.Dest)
	if err != nil {
		return err
	}
	if len(report.Damage) > 0 {
		return fmt.Errorf("the copy %s is damaged: %s", c.Dest, strings.Join(report.Damage, "; "))
	}
	_, err = fmt.Fprintf(e.stdout, "%s: %d records, up to %d\n", c.Dest, report.Records, report.Last)
	return err
}

// fetchBackup lets the running agent write a copy of its store, whole or not at all.
func fetchBackup(e env, path, dest string) (err error) {
	body, err := askAgent(e.ctx, path, "GET", "/backup", nil, nil)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, body.Close()) }()
	if _, err := os.Lstat(dest); err == nil {
		return invalid{fmt.Errorf("%s exists already; nothing is overwritten", dest)}
	} else if !errors.Is(err, fs.ErrNotExist) {
		return invalid{err}
	}
	file, err := os.CreateTemp(filepath.Dir(dest), ".benchtally-backup-")
	if err != nil {
		return err
	}
	defer func() { _ = os.Remove(file.Name()) }() // gone already when all went well
	_, err = io.Copy(file, body)
	if err = errors.Join(err, file.Sync(), file.Close()); err != nil {
		return fmt.Errorf("write the backup: %w", err)
	}
	if err := os.Link(file.Name(), dest); err != nil { // unlike a rename, it overwrites nothing
		return err
	}
	dir, err := os.Open(filepath.Dir(dest))
	if err != nil {
		return err
	}
	return errors.Join(dir.Sync(), dir.Close())
}

// resendCommand publishes kept events again.
type resendCommand struct {
	From   uint64 `required:"" placeholder:"SEQ" help:"First record."`
	To     uint64 `required:"" placeholder:"SEQ" help:"Last record."`
	Config string `default:"${config}" placeholder:"FILE" help:"Configuration."`
}

// Run asks the running agent, or leaves the wish in the store for its next start.
func (c *resendCommand) Run(e env) error {
	if c.From < 1 || c.From > c.To {
		return invalid{fmt.Errorf("--from %d --to %d: want 1 or more, the first not after the last", c.From, c.To)}
	}
	cfg, err := config.Load(c.Config)
	if err != nil {
		return err
	}
	when := "now"
	query := url.Values{"from": {strconv.FormatUint(c.From, 10)}, "to": {strconv.FormatUint(c.To, 10)}}
	body, err := askAgent(e.ctx, cfg.Store.Path, "POST", "/resend", query, nil)
	switch {
	case errors.Is(err, errNoAgent):
		when = "when the agent runs again"
		kept, err := store.Open(cfg.Store.Path, store.Options{})
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

// doCommand does an operator's action at the running agent.
type doCommand struct {
	Action string `arg:"" help:"As on a tape, such as '{\"do\":\"start\",\"order\":\"A-1001\",\"spec\":\"hs-08\",\"quantity\":6,\"setting\":120}'."`
	Config string `default:"${config}" placeholder:"FILE" help:"Configuration."`
	JSON   bool   `name:"json" help:"Print the records as JSON, one a line."`
}

// Run prints the records that the action made.
func (c *doCommand) Run(e env) error {
	cfg, err := config.Load(c.Config)
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
	for _, r := range records {
		if c.JSON {
			_, err = fmt.Fprintf(e.stdout, "%s\n", r.AppendJSON(nil))
		} else {
			_, err = fmt.Fprintln(e.stdout, tell(r))
		}
		if err != nil {
			return err
		}
	}
	if why := refusal(records); why != "" {
		return fmt.Errorf("refused: %s", why)
	}
	return nil
}
