//go:build linux

package main

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"time"

	"benchtally/deploy/machine/hand"
)

// header is the kernel's simulated chip (gpio-sim) with the lines of a Pi's
// header: what it reads is what is written to a file of each line.
const header = "/sys/kernel/config/gpio-sim/header"

// makeLines makes the chip, unless it is there. All lines are high, as with a
// pull-up and nothing pressed.
func makeLines() error {
	if _, err := os.Stat(header); err == nil {
		return nil
	}
	if err := mount("configfs", "configfs", "/sys/kernel/config", 0, ""); err != nil {
		return err
	}
	bank := header + "/bank0"
	files := []struct{ path, text string }{{bank + "/num_lines", "28"}, {bank + "/label", "pinctrl-bcm2711"}}
	for n := range 28 {
		files = append(files, struct{ path, text string }{fmt.Sprintf("%s/line%d/name", bank, n), fmt.Sprintf("GPIO%d", n)})
	}
	files = append(files, struct{ path, text string }{header + "/live", "1"})
	for _, f := range files {
		if err := os.MkdirAll(filepath.Dir(f.path), 0o755); err != nil {
			return err
		}
		if err := os.WriteFile(f.path, []byte(f.text), 0); err != nil {
			return err
		}
	}
	for n := range 28 {
		path, err := pullOf(fmt.Sprintf("GPIO%d", n))
		if err != nil {
			return err
		}
		if err := os.WriteFile(path, []byte("pull-up"), 0); err != nil {
			return err
		}
	}
	return nil
}

// pullOf is the file that says what a line reads.
func pullOf(line string) (string, error) {
	device, err := os.ReadFile(header + "/dev_name")
	if err != nil {
		return "", err
	}
	pattern := fmt.Sprintf("/sys/devices/platform/%s/gpiochip*/sim_gpio%s/pull", strings.TrimSpace(string(device)), strings.TrimPrefix(line, "GPIO"))
	found, err := filepath.Glob(pattern)
	if err != nil || len(found) != 1 {
		return "", fmt.Errorf("%s: %d lines are found, want one", pattern, len(found))
	}
	return found[0], nil
}

var pressing sync.Mutex // one course at a time

// press puts a course on a line. Each level stays at least as long as the course
// wants; a slow machine makes it longer.
func press(line string, course []hand.Level) error {
	pressing.Lock()
	defer pressing.Unlock()
	path, err := pullOf(line)
	if err != nil {
		return err
	}
	f, err := os.OpenFile(path, os.O_WRONLY, 0)
	if err != nil {
		return err
	}
	defer func() { _ = f.Close() }() // each write was looked at
	for _, l := range course {
		time.Sleep(l.After)
		text := "pull-down"
		if l.High {
			text = "pull-up"
		}
		if _, err := f.WriteAt([]byte(text), 0); err != nil {
			return err
		}
	}
	return nil
}
