package main

import (
	"os"
	"path/filepath"
	"testing"
)

// In a folder that the service manager mounts before it starts the agent, no marker is
// wanted, and a store that is away is begun anew.
func TestMissingStoreOfTheService(t *testing.T) {
	card := t.TempDir()
	path := filepath.Join(card, "bench.db")
	_, config := shop(t, "[store]\npath = \""+path+"\"\n")
	t.Setenv("STATE_DIRECTORY", card)
	for range 2 {
		if code, _, errs := command(t, "", "run", "--config", config, "--inputs", "-"); code != exitDone {
			t.Fatalf("exit %d, %s", code, errs)
		}
		if _, err := os.Lstat(config + markerSuffix); err == nil {
			t.Error("a marker was left")
		}
		if err := os.Remove(path); err != nil {
			t.Fatal(err)
		}
	}
}
