package main

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"

	"benchtally/deploy"
)

// installedConfigs are where an installed agent may have its configuration: in a
// folder of its own, or beside its store, as version 0.1 had it.
var installedConfigs = []string{
	filepath.Join(deploy.Folder, "bench.toml"),
	filepath.Join(deploy.State, "bench.toml"),
}

// defaultConfig is the configuration of the agent that is installed here: the
// first that is there, or cannot be looked for without more rights. Where there
// is none it is where one belongs.
func defaultConfig() string {
	for _, path := range installedConfigs {
		if _, err := os.Stat(path); !errors.Is(err, fs.ErrNotExist) {
			return path
		}
	}
	return installedConfigs[0]
}
