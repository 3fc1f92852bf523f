package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// A store that was made is not begun anew where its card is not mounted; where the
// service manager sees to the folder, it is not looked for.
func TestMissingStore(t *testing.T) {
	card := t.TempDir()
	path := filepath.Join(card, "bench.db")
	_, config := shop(t, "[store]\npath = \""+path+"\"\n")
	start := func() (int, string) {
		code, _, errs := command(t, "", "run", "--config", config, "--inputs", "-")
		return code, errs
	}
	if code, errs := start(); code != exitDone {
		t.Fatalf("the first start: exit %d, %s", code, errs)
	}
	if code, errs := start(); code != exitDone {
		t.Fatalf("the second: exit %d, %s", code, errs)
	}
	if err := os.Rename(path, path+".away"); err != nil {
		t.Fatal(err)
	}
	code, errs := start()
	if code == exitDone || !strings.Contains(errs, "the store "+path+" was made before and is not there: mount its card") {
		t.Errorf("without the card: exit %d, %s", code, errs)
	}
	if _, err := os.Lstat(path); err == nil {
		t.Error("a store was begun all the same")
	}
	if err := os.Remove(config + markerSuffix); err != nil {
		t.Fatal(err)
	}
	t.Setenv("STATE_DIRECTORY", card)
	if code, errs := start(); code != exitDone {
		t.Errorf("on purpose: exit %d, %s", code, errs)
	}
	if _, err := os.Lstat(config + markerSuffix); err == nil {
		t.Error("a marker was left where the service manager sees to the folder")
	}
}
