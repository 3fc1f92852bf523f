package main

import (
	"bytes"
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"benchtally/agent/record"
	"benchtally/store"
)

// worked runs an agent for some pieces, and returns its folder, configuration and
// store.
func worked(t *testing.T, pieces int, change string) (dir, config, path string) {
	t.Helper()
	dir, config = shop(t, "[measure]\nplaces = 1\n"+change)
	a := startAgent(t, config)
	a.say(`{"do":"load","cage":"C-21"}`)
	a.say(`{"do":"start","order":"A-1001","spec":"hs-08","quantity":500,"setting":120}`)
	a.next(record.Start)
	for n := range pieces {
		a.say(`{"text":"+1.%04d\r\n"}`, 1000+n)
		a.next(record.Reading)
	}
	a.end()
	return dir, config, filepath.Join(dir, "bench.db")
}

// ruin overwrites what bbolt follows and leaves the records: both roots and the
// list of buckets.
func ruin(t *testing.T, path string) {
	t.Helper()
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	clear(b[:2*4096])
	if err := os.WriteFile(path, b, 0o600); err != nil {
		t.Fatal(err)
	}
}

// TestDamagedAtTheStart: a damaged store is set aside, what is left is rescued, the agent
// works on, and says so until somebody has taken the file away.
func TestDamagedAtTheStart(t *testing.T) {
	_, config, path := worked(t, 40, "")
	code, before, errs := command(t, "", "log", "--config", config, "--json")
	if code != exitDone {
		t.Fatal(errs)
	}
	ruin(t, path)
	evidence, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if code, _, errs := command(t, "", "verify", path); code != exitFault || !strings.Contains(errs, "damaged in 3 places") {
		t.Errorf("verify: exit %d, %s", code, errs)
	}
	a := startAgent(t, config)
	a.say(`{"text":"+1.2000\r\n"}`)
	a.next(record.Reading)
	aside, err := store.Aside(path)
	if err != nil || len(aside) != 1 {
		t.Fatalf("set aside: %v, %v; %s", aside, err, a.errs.String())
	}
	if kept, err := os.ReadFile(aside[0]); err != nil || !bytes.Equal(kept, evidence) {
		t.Errorf("the file set aside is not the damaged one (%v)", err)
	}
	status := func() (text string, st status) {
		t.Helper()
		code, out, errs := command(t, "", "status", "--config", config)
		if code != exitDone {
			t.Fatal(errs)
		}
		if code, j, errs := command(t, "", "status", "--config", config, "--json"); code != exitDone || json.Unmarshal([]byte(j), &st) != nil {
			t.Fatal(errs)
		}
		return out, st
	}
	text, st := status()
	for _, want := range []string{"rescued     on ", ": the store was damaged: ", "no loss is known; the damaged file is kept as " + aside[0], "A-1001"} {
		if !strings.Contains(text, want) {
			t.Errorf("status lacks %q:\n%s", want, text)
		}
	}
	if len(st.Rescues) != 1 || st.Rescues[0].LostCount > 0 || st.Rescues[0].From != aside[0] {
		t.Errorf("rescues: %+v", st.Rescues)
	}
	_, after, _ := command(t, "", "log", "--config", config, "--json")
	if !strings.HasPrefix(after, before) {
		t.Errorf("records were changed:\n%.500s\nwere\n%.500s", after, before)
	}
	if n := strings.Count(after, `"kind":"fault","state":"on","source":"store","reason":"the store was damaged: `); n != 1 {
		t.Errorf("%d faults of the store in\n%s", n, after)
	}
	// Whoever takes the file away has seen it.
	if err := os.Rename(aside[0], filepath.Join(t.TempDir(), "evidence")); err != nil {
		t.Fatal(err)
	}
	for end := time.Now().Add(20 * time.Second); ; time.Sleep(50 * time.Millisecond) { // another process would have no other way to hear of it
		text, _ := status()
		_, log, _ := command(t, "", "log", "--config", config, "--json")
		if strings.Contains(text, "store       ok") && strings.Contains(text, "rescued     on ") && strings.Contains(log, "nothing is wrong with the store any more") {
			break
		}
		if time.Now().After(end) {
			t.Fatalf("still told:\n%s", text)
		}
	}
	a.end()
	if code, out, errs := command(t, "", "verify", path); code != exitDone || !strings.Contains(out, "rescued") {
		t.Errorf("verify: exit %d, %s%s", code, out, errs)
	}
	// What the station knows is what its records say.
	b := startAgent(t, config)
	b.say(`{"do":"set","setting":118}`)
	b.next(record.Set)
	b.end()
}

// TestDamagedAtWork: a store that turns out to be damaged in the middle of the work ends the
// agent with what came in kept; the next start finds out and sets it aside, although it
// could open it.
func TestDamagedAtWork(t *testing.T) {
	_, config, path := worked(t, 3, "")
	if err := store.Suspect(path, store.ErrCorrupt); err != nil {
		t.Fatal(err)
	}
	a := startAgent(t, config) // looked through and found sound
	a.say(`{"do":"set","setting":118}`)
	a.next(record.Set)
	a.end()
	if aside, err := store.Aside(path); err != nil || len(aside) != 0 {
		t.Fatalf("a sound store was set aside: %v, %v", aside, err)
	}

	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	at := bytes.Index(b, []byte("A-1001")) // a record that no start reads
	if at < 0 {
		t.Fatal("no record is in the file")
	}
	for ; at >= 0 && at < len(b); at++ {
		i := bytes.Index(b[at:], []byte("A-1001"))
		if i < 0 {
			break
		}
		at += i
		b[at] = 'X'
	}
	if err := os.WriteFile(path, b, 0o600); err != nil {
		t.Fatal(err)
	}
	if err := store.Suspect(path, store.ErrCorrupt); err != nil {
		t.Fatal(err)
	}
	a = startAgent(t, config)
	a.say(`{"do":"set","setting":119}`)
	a.next(record.Set)
	a.end()
	if aside, err := store.Aside(path); err != nil || len(aside) != 1 {
		t.Errorf("set aside: %v, %v", aside, err)
	}
}

// TestNewerStore: a store of a newer version is left alone, and the service manager is
// told not to try again.
func TestNewerStore(t *testing.T) {
	_, config, path := worked(t, 1, "")
	makeNewer(t, path)
	before, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	code, _, errs := command(t, "", "run", "--config", config, "--inputs", "-")
	if code != exitUsage || !strings.Contains(errs, "was written by a newer benchtally; install that one") {
		t.Errorf("exit %d: %s", code, errs)
	}
	if after, err := os.ReadFile(path); err != nil || !bytes.Equal(before, after) {
		t.Errorf("the store was changed (%v)", err)
	}
	if aside, err := store.Aside(path); err != nil || len(aside) != 0 {
		t.Errorf("it was set aside: %v, %v", aside, err)
	}
}

// TestNotAStore: a file that is none is left where it is.
func TestNotAStore(t *testing.T) {
	_, config := shop(t, "[store]\npath = \"specs.csv\"\n")
	code, _, errs := command(t, "", "run", "--config", config, "--inputs", "-")
	if code == exitDone || !strings.Contains(errs, "holds nothing that benchtally wrote") && !strings.Contains(errs, "specs") {
		t.Errorf("exit %d: %s", code, errs)
	}
	if _, err := os.Stat(filepath.Join(filepath.Dir(config), "specs.csv")); err != nil {
		t.Error(err)
	}
}

// TestStoreNotMounted: where there was a store on a card of its own, none is begun in
// the empty folder that is left without the card.
func TestStoreNotMounted(t *testing.T) {
	card := t.TempDir()
	path := filepath.Join(card, "bench.db")
	_, config := shop(t, "[store]\npath = \""+path+"\"\n")
	a := startAgent(t, config)
	a.say(`{"do":"load","cage":"C-21"}`)
	a.next(record.Load)
	a.end()
	away := filepath.Join(t.TempDir(), "away.db")
	if err := os.Rename(path, away); err != nil {
		t.Fatal(err)
	}
	code, _, errs := command(t, "", "run", "--config", config, "--inputs", "-")
	marker := config + ".store"
	if code != exitFault || !strings.Contains(errs, "mount its card") || !strings.Contains(errs, marker) {
		t.Errorf("exit %d: %s", code, errs)
	}
	if _, err := os.Stat(path); err == nil {
		t.Error("a store was begun")
	}
	if err := os.Remove(marker); err != nil { // for good
		t.Fatal(err)
	}
	b := startAgent(t, config)
	b.say(`{"do":"load","cage":"C-21"}`)
	if r := b.next(record.Load); r.Seq != 1 {
		t.Errorf("%+v, want the first record of a new store", r)
	}
	b.end()
	if err := os.Remove(path); err != nil {
		t.Fatal(err)
	}
	if err := os.Rename(away, path); err != nil { // the card is back
		t.Fatal(err)
	}
	c := startAgent(t, config)
	c.say(`{"do":"load","cage":"C-21"}`)
	if r := c.next(record.Load); r.Seq != 2 {
		t.Errorf("%+v, want the second record of the first store", r)
	}
	c.end()
}
