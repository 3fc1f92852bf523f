package main

import (
	"os"
	"path/filepath"
	"regexp"
	"testing"

	"benchtally/store"
)

// TestClonedCards: a card that is copied before its first run makes two presses
// with client ids of their own, because the id is made with the store; a copy of a
// card that has run is the same client once more, which the page then tells (see
// TestRivals in package mqtt).
func TestClonedCards(t *testing.T) {
	_, config := shop(t, "[mqtt]\nbroker = \"tcp://127.0.0.1:1\"\n[sparkplug]\ngroup = \"riverside-hose-shop\"\n")
	card, err := os.ReadFile(config)
	if err != nil {
		t.Fatal(err)
	}
	// run is the first start of a card, with what is on it beside the
	// configuration, and returns its client ids and its store.
	run := func(kept []byte) (id, node, path string) {
		t.Helper()
		dir := t.TempDir()
		for name, b := range map[string][]byte{"bench.toml": card, "bench.db": kept} {
			if b == nil {
				continue
			}
			if err := os.WriteFile(filepath.Join(dir, name), b, 0o600); err != nil {
				t.Fatal(err)
			}
		}
		specs, err := os.ReadFile(filepath.Join(filepath.Dir(config), "specs.csv"))
		if err != nil {
			t.Fatal(err)
		}
		write(t, filepath.Join(dir, "specs.csv"), string(specs))
		cfg, err := loadConfig(filepath.Join(dir, "bench.toml"))
		if err != nil {
			t.Fatal(err)
		}
		s, err := store.Open(cfg.Store.Path, store.Options{})
		if err != nil {
			t.Fatal(err)
		}
		id, node = publisherSettings(cfg, s.ID()).ClientID, nodeSettings(cfg, s.ID()).ClientID
		if err := s.Close(); err != nil {
			t.Fatal(err)
		}
		return id, node, cfg.Store.Path
	}
	id, node, path := run(nil)
	if !regexp.MustCompile(`^north-bench-[0-9a-z]{8}$`).MatchString(id) || node != id+"-node" {
		t.Errorf("client ids %q and %q", id, node)
	}
	if other, otherNode, _ := run(nil); other == id || otherNode == node {
		t.Errorf("a card copied before its first run has the client ids %q and %q too", other, otherNode)
	}
	used, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if same, sameNode, _ := run(used); same != id || sameNode != node {
		t.Errorf("a card copied after its first run has %q and %q, want %q and %q: then the notes can say so", same, sameNode, id, node)
	}
}
