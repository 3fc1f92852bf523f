//go:build linux

package machine

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"sync"
	"testing"
)

// findings are what was looked at.
type findings struct {
	early, stores, records, told, counts, resent int
}

func (f findings) String() string {
	return fmt.Sprintf("%d disks of which nothing had been told yet, %d stores with %d records in all, held against %d events and %d counts that had been told; %d events sent again by a start after the cut",
		f.early, f.stores, f.records, f.told, f.counts, f.resent)
}

// A checker looks at disks after cuts, one at a time.
type checker struct {
	t     *testing.T
	told  *promises
	dir   string // where disks are mounted
	plant *plant // of the agent that is started after a cut
	mu    sync.Mutex
	again []event // what came to it
	found findings
	aside int // disks kept
}

func newChecker(t *testing.T, told *promises) *checker {
	t.Helper()
	c := &checker{t: t, told: told, dir: t.TempDir()}
	c.plant = newPlant(t, anywhere, func(e event) {
		c.mu.Lock()
		defer c.mu.Unlock()
		c.again = append(c.again, e)
	}, nil)
	return c
}

// keep puts a disk aside, to be looked at; the first three.
func (c *checker) keep(image, name string) {
	if c.aside++; c.aside > 3 {
		return
	}
	path := filepath.Join(*machineDir, name)
	if err := copyFile(image, path); err != nil {
		c.t.Error(err)
		return
	}
	c.t.Logf("the disk is kept as %s", path)
}

// check mounts the disk and says what is wrong with it. size is that of the log
// when the power was cut.
func (c *checker) check(image string, size int64) (faults []string) {
	c.t.Helper()
	if out, err := exec.Command("mount", "-o", "loop,noatime", image, c.dir).CombinedOutput(); err != nil {
		return []string{fmt.Sprintf("mount: %v: %s", err, out)}
	}
	faults = c.store(size)
	do(c.t, "umount", c.dir)
	if out, err := exec.Command("/sbin/e2fsck", "-fn", image).CombinedOutput(); err != nil {
		faults = append(faults, fmt.Sprintf("e2fsck: %v: %s", err, out))
	}
	return faults
}

// store checks the installation on the mounted disk.
func (c *checker) store(size int64) []string {
	config, path := filepath.Join(c.dir, "bench.toml"), filepath.Join(c.dir, "benchtally.db")
	heard, counts := by(c.told.events, size), by(c.told.counts, size)
	var before []line
	if _, err := os.Stat(path); err == nil && len(heard)+len(counts) > 0 {
		var faults []string
		if before, faults = c.kept(config, path, heard, counts); len(faults) > 0 {
			return faults
		}
		c.found.stores++
		c.found.records += len(before)
		c.found.told += len(heard)
		c.found.counts += len(counts)
	} else if len(heard)+len(counts) > 0 {
		return []string{fmt.Sprintf("there is no store, and %d events had been told", len(heard))}
	} else {
		c.found.early++
	}
	return c.start(config, path, before, heard)
}

// kept checks the store as the cut left it, by what the commands say of it.
func (c *checker) kept(config, path string, heard []event, counts []count) (all []line, faults []string) {
	bad := func(format string, args ...any) { faults = append(faults, fmt.Sprintf(format, args...)) }
	if out, err := c.agent("", "verify", path); err != nil {
		bad("verify: %v: %s", err, out)
	}
	out, err := c.agent("", "log", "--json", "--config", config)
	if err != nil {
		bad("log: %v: %s", err, out)
	}
	if all, err = parseLog(out); err != nil {
		bad("log: %v", err)
	}
	for i, l := range all {
		if l.Seq != uint64(i+1) {
			bad("record %d has seq %d", i+1, l.Seq)
			break
		}
	}
	highest := map[uint64]bool{}
	for _, e := range heard {
		n := e.sequence()
		highest[n] = true
		switch {
		case n > uint64(len(all)):
			bad("event %d had been told, and the store ends with %d", n, len(all))
		case all[n-1].raw != canonical(e.Data):
			bad("event %d had been told as\n%s, and is kept as\n%s", n, e.Data, all[n-1].raw)
		}
	}
	counted := foldOf(all)
	for _, s := range counts {
		if got := counted.teardown[s.cage]; got < s.strokes {
			bad("%d strokes of cage %s had been shown, %d are kept", s.strokes, s.cage, got)
		}
		if got := len(counted.pieces[s.order]); s.order != "" && got < s.pieces {
			bad("%d pieces of order %s had been shown, %d are kept", s.pieces, s.order, got)
		}
	}
	var s standing
	if out, err := c.agent("", "status", "--json", "--config", config); err != nil {
		bad("status: %v: %s", err, out)
	} else if err := json.Unmarshal([]byte(out), &s); err != nil {
		bad("status: %v: %s", err, out)
	}
	faults = append(faults, counted.differs(s)...)
	if s.Seq != uint64(len(all)) {
		bad("status ends with record %d, the log with %d", s.Seq, len(all))
	}
	for n := uint64(1); n <= s.Sent; n++ {
		if !highest[n] {
			bad("event %d counts as sent, and had not come to the broker", n)
			break
		}
	}
	return all, faults
}

var brokerLine, pageLine = regexp.MustCompile(`(?m)^broker = "tcp.*$`), regexp.MustCompile(`(?m)^listen = .*$`)

// start starts the agent on the store that the cut left: it must take a record
// more, lose none, and send again what had not been sent, under the same ids.
func (c *checker) start(config, path string, before []line, heard []event) (faults []string) {
	bad := func(format string, args ...any) { faults = append(faults, fmt.Sprintf(format, args...)) }
	text, err := os.ReadFile(config)
	if err != nil {
		return []string{err.Error()}
	}
	text = brokerLine.ReplaceAll(text, fmt.Appendf(nil, "broker = %q", "tcp://"+c.plant.address))
	text = pageLine.ReplaceAll(text, []byte(`listen = ""`))
	again := filepath.Join(c.dir, "again.toml")
	if err := os.WriteFile(again, text, 0o644); err != nil {
		return []string{err.Error()}
	}
	c.mu.Lock()
	c.again = nil
	c.mu.Unlock()
	out, err := c.agent(`{"do":"care","cage":"C-16","work":"lubricate"}`+"\n", "run", "--inputs", "-", "--config", again)
	if err != nil {
		bad("a start after the cut: %v: %s", err, out)
		return faults
	}
	if !strings.Contains(out, `"kind":"care"`) {
		bad("a start after the cut takes no record: %s", out)
	}
	if out, err := c.agent("", "verify", path); err != nil {
		bad("verify after a start: %v: %s", err, out)
	}
	out, err = c.agent("", "log", "--json", "--config", again)
	if err != nil {
		bad("log after a start: %v: %s", err, out)
	}
	after, err := parseLog(out)
	if err != nil {
		bad("log after a start: %v", err)
	}
	if len(after) <= len(before) {
		bad("%d records before a start, %d after it took one more", len(before), len(after))
		return faults
	}
	for i := range before {
		if before[i].raw != after[i].raw {
			bad("record %d was\n%s, and is after a start\n%s", i+1, before[i].raw, after[i].raw)
			break
		}
	}
	wasHeard := map[uint64]string{}
	for _, e := range heard {
		wasHeard[e.sequence()] = e.ID
	}
	c.mu.Lock()
	defer c.mu.Unlock()
	c.found.resent += len(c.again)
	for _, e := range c.again {
		n, was := e.sequence(), canonical(e.Data)
		if n == 0 || n > uint64(len(after)) || after[n-1].raw != was {
			bad("event %d is sent after a start as %s, and kept otherwise", n, e.Data)
			continue
		}
		if id, ok := wasHeard[n]; ok && id != e.ID {
			bad("event %d had been sent as %s, and is sent again as %s", n, id, e.ID)
		}
		if other, ok := c.told.ids[n][e.ID]; ok && other != was {
			bad("two events are sent as %s:\n%s\n%s", e.ID, other, was)
		}
	}
	return faults
}

// agent runs the agent here. Without an error the answer is what it printed, else
// what it said of the fault.
func (c *checker) agent(in string, args ...string) (string, error) {
	var out, errs bytes.Buffer
	cmd := exec.Command(*agentFile, args...)
	cmd.Stdin, cmd.Stdout, cmd.Stderr = strings.NewReader(in), &out, &errs
	err := cmd.Run()
	var exit *exec.ExitError
	if errors.As(err, &exit) {
		return out.String() + errs.String(), err
	}
	return out.String(), err
}
