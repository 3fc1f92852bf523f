package main

import (
	"os"
	"path/filepath"
	"testing"
)

// Whoever installed version 0.1 by hand has his configuration beside the store,
// and asks without --config as before.
func TestDefaultConfigIsTheOneThatIsThere(t *testing.T) {
	if installedConfigs[0] != "/etc/benchtally/bench.toml" || installedConfigs[1] != "/var/lib/benchtally/bench.toml" {
		t.Fatalf("looks in %q", installedConfigs)
	}
	before := installedConfigs
	defer func() { installedConfigs = before }()
	dir := t.TempDir()
	now, once := filepath.Join(dir, "etc", "bench.toml"), filepath.Join(dir, "lib", "bench.toml")
	installedConfigs = []string{now, once}
	if got := defaultConfig(); got != now {
		t.Errorf("with none it is %s, want where one belongs, %s", got, now)
	}
	for _, path := range []string{once, now} {
		if err := os.Mkdir(filepath.Dir(path), 0o750); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(path, nil, 0o600); err != nil {
			t.Fatal(err)
		}
		if got := defaultConfig(); got != path {
			t.Errorf("it is %s, want %s", got, path)
		}
	}
}
