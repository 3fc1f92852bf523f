package main

import (
	"errors"
	"fmt"
	"io/fs"
	"log/slog"
	"os"
	"path/filepath"

	"benchtally/agent/config"
)

// markerSuffix ends the name of a file beside the configuration that says that its
// store was made already.
const markerSuffix = ".store"

// apart says whether the store has another folder than the configuration, such as
// that of another card. A folder that the service manager sees to is none: it does
// not start the service before what is to be mounted there is (systemd.exec(5),
// StateDirectory).
func apart(cfg *config.Config) bool {
	file, err1 := filepath.Abs(cfg.File)
	at, err2 := filepath.Abs(cfg.Store.Path)
	if err1 != nil || err2 != nil || filepath.Dir(at) == os.Getenv("STATE_DIRECTORY") {
		return false
	}
	return filepath.Dir(file) != filepath.Dir(at)
}

// missingStore refuses to begin a new store where there was one before: when a card
// is not mounted, its folder is there and empty. The marker lies beside the
// configuration, so a store in the same folder needs none: without its card there is
// no configuration either.
func missingStore(cfg *config.Config) error {
	marker := cfg.File + markerSuffix
	at, err := os.ReadFile(marker)
	if err != nil || !apart(cfg) || string(at) != markerText(cfg.Store.Path) {
		return nil
	}
	for _, name := range []string{cfg.Store.Path, cfg.Store.Path + ".rescued"} {
		if _, err := os.Lstat(name); !errors.Is(err, fs.ErrNotExist) {
			return nil
		}
	}
	return fmt.Errorf("the store %s was made before and is not there: mount its card; "+
		"if it was taken away for good, remove %s, and a new store is begun", cfg.Store.Path, marker)
}

func markerText(path string) string {
	return "The store of this configuration was made already. Where it is missing, no other is begun: its card may not be mounted.\n" + path + "\n"
}

// markStore notes that the store was made.
func markStore(cfg *config.Config) {
	if !apart(cfg) {
		return
	}
	marker, text := cfg.File+markerSuffix, markerText(cfg.Store.Path)
	if at, err := os.ReadFile(marker); err == nil && string(at) == text {
		return
	}
	if err := os.WriteFile(marker, []byte(text), 0o644); err != nil {
		slog.Warn("a store whose card is not mounted would not be noticed", "err", err)
	}
}
