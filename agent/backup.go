package main

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"benchtally/store"
)

// backupCommand copies the store.
type backupCommand struct {
	Dest   string `arg:"" help:"File to write; it must not exist."`
	Config string `default:"${config}" placeholder:"FILE" help:"Configuration; ${default}."`
}

// Run writes the copy and checks it.
func (c *backupCommand) Run(e env) error {
	cfg, err := loadConfig(c.Config)
	if err != nil {
		return err
	}
	if _, err := os.Lstat(c.Dest); err == nil {
		return invalid{fmt.Errorf("%s exists already; nothing is overwritten", c.Dest)}
	} else if !errors.Is(err, fs.ErrNotExist) {
		return invalid{err}
	}
	err = fetchBackup(e, cfg.Store.Path, c.Dest)
	if errors.Is(err, errNoAgent) {
		kept, err := openKept(cfg.Store.Path, store.Options{ReadOnly: true})
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
	file, err := os.CreateTemp(filepath.Dir(dest), ".benchtally-backup-")
	if err != nil {
		return err
	}
	defer func() { _ = os.Remove(file.Name()) }() // gone already when all went well
	_, err = io.Copy(file, body)
	if err = errors.Join(err, file.Sync(), file.Close()); err != nil {
		return fmt.Errorf("write the backup: %w", err)
	}
	// Unlike a rename, a link overwrites nothing; but a stick's file system has none.
	if err := os.Link(file.Name(), dest); errors.Is(err, fs.ErrExist) {
		return err
	} else if err != nil {
		if _, err := os.Lstat(dest); err == nil {
			return fmt.Errorf("%s: %w", dest, fs.ErrExist)
		}
		if err := os.Rename(file.Name(), dest); err != nil {
			return err
		}
	}
	dir, err := os.Open(filepath.Dir(dest))
	if err != nil {
		return err
	}
	return errors.Join(dir.Sync(), dir.Close())
}
