package main

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"time"

	"benchtally/store"
)

// restoreCommand puts a backup in the place of the store.
type restoreCommand struct {
	Backup string `arg:"" help:"Copy that \"benchtally backup\" wrote; it is only read."`
	Config string `default:"${config}" placeholder:"FILE" help:"Configuration; ${default}."`
	JSON   bool   `name:"json" help:"Print the report as JSON."`
}

// Run restores and prints what was restored. The agent must not run.
func (c *restoreCommand) Run(e env) error {
	cfg, err := loadConfig(c.Config)
	if err != nil {
		return err
	}
	if _, err := os.Stat(c.Backup); err != nil {
		return invalid{err}
	}
	checked, err := store.Verify(c.Backup)
	if err != nil {
		return err
	}
	if len(checked.Damage) > 0 {
		return fmt.Errorf("the copy %s is damaged itself: %s; take an older one, or see what \"benchtally rescue\" makes of this one",
			c.Backup, strings.Join(checked.Damage, "; "))
	}
	path := cfg.Store.Path
	owner := ownerOf(path)
	report, err := store.Restore(path, c.Backup, store.RescueOptions{Now: time.Now()})
	if errors.Is(err, store.ErrLocked) {
		return fmt.Errorf("%w: stop the agent first, such as with systemctl stop benchtally", err)
	}
	if err != nil {
		return err
	}
	if err := errors.Join(store.Clear(path), owner.give(path)); err != nil {
		return err
	}
	return tellRescue(e, report, c.JSON)
}

// owner is whose a file is.
type owner struct {
	uid, gid int
	known    bool
}

// ownerOf is whose the file is, or the folder where there is no such file: restoring is
// done as root, and the agent is another user.
func ownerOf(path string) owner {
	for _, name := range []string{path, filepath.Dir(path)} {
		if info, err := os.Stat(name); err == nil {
			if st, ok := info.Sys().(*syscall.Stat_t); ok {
				return owner{int(st.Uid), int(st.Gid), true}
			}
		}
	}
	return owner{}
}

// give gives a file to its owner.
func (o owner) give(path string) error {
	if !o.known || o == ownerOf(path) {
		return nil
	}
	return os.Chown(path, o.uid, o.gid)
}
