package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// TestInitByFlags: all that the walk finds can be said by flags, and nothing is
// written when one of them is wrong.
func TestInitByFlags(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "station")
	code, _, errs := command(t, "", "init", dir, "--name", "Press 7", "--baud", "9601000")
	if code != exitUsage || !strings.Contains(errs, filepath.Join(dir, "bench.toml")) || !strings.Contains(errs, "[press] name") || !strings.Contains(errs, "[caliper] baud") {
		t.Errorf("exit %d, %s", code, errs)
	}
	if _, err := os.Stat(dir); err == nil {
		t.Error("something was written")
	}
	args := []string{"init", dir, "--name", "press-7", "--topic", "", "--line", "GPIO5", "--rest", "GPIO6", "--active", "high",
		"--port", "/dev/caliper7", "--baud", "4800", "--data-bits", "7", "--parity", "even", "--stop-bits", "2", "--format", "decimal", "--unit", "mm",
		"--trigger", "stream", "--broker", "tcp://plant:1883"}
	code, out, errs := command(t, "", args...)
	if code != exitDone || !strings.Contains(out, "no faults") || !strings.Contains(out, "topics below press-7") {
		t.Fatalf("exit %d, %s%s", code, out, errs)
	}
	cfg, err := loadConfig(filepath.Join(dir, "bench.toml"))
	if err != nil {
		t.Fatal(err)
	}
	if got := caliperPort(cfg).Line(); got != "4800 7E2" || cfg.Caliper.Trigger != "stream" || cfg.Switch.ActiveLow || cfg.Switch.Rest != "GPIO6" || cfg.MQTT.Broker != "tcp://plant:1883" {
		t.Errorf("line %s, %+v, %+v", got, cfg.Caliper, cfg.Switch)
	}
	if code, out, errs := command(t, "", args...); code != exitDone || strings.Contains(out, "written") || strings.Contains(out, "--change") {
		t.Errorf("the same once more: exit %d, %s%s", code, out, errs)
	}
}

// TestInitChange: a configuration that is there stays as it is, or is changed where
// that is wanted and kept beside; one that the change would spoil stays in any case.
func TestInitChange(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "bench.toml")
	if code, _, errs := command(t, "", "init", dir); code != exitDone {
		t.Fatal(errs)
	}
	text, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	mine := strings.Replace(string(text), "places = 3 ", "places = 4 ", 1) + "# mine\n"
	if err := os.WriteFile(path, []byte(mine), 0o640); err != nil {
		t.Fatal(err)
	}
	if err := os.Chmod(path, 0o640); err != nil {
		t.Fatal(err)
	}
	holds := func(name, want string) {
		t.Helper()
		if got, err := os.ReadFile(filepath.Join(dir, name)); err != nil || string(got) != want {
			t.Errorf("%s is not as it should be, %v", name, err)
		}
	}
	code, out, errs := command(t, "", "init", dir, "--line", "GPIO5")
	if code != exitDone || !strings.Contains(out, `switch.line = "GPIO5"`) || !strings.Contains(out, "stays as it is") {
		t.Errorf("exit %d, %s%s", code, out, errs)
	}
	holds("bench.toml", mine)
	for i, line := range []string{"GPIO5", "GPIO6"} {
		code, out, errs := command(t, "", "init", dir, "--change", "--line", line)
		if code != exitDone || !strings.Contains(out, "changed "+path) {
			t.Errorf("exit %d, %s%s", code, out, errs)
		}
		next := strings.Replace(strings.Replace(mine, `"GPIO17"`, `"`+line+`" `, 1), `"GPIO5"`, `"`+line+`"`, 1)
		holds("bench.toml", next)
		holds([]string{"bench.toml.before-1", "bench.toml.before-2"}[i], mine)
		mine = next
	}
	info, err := os.Stat(path)
	if err != nil || info.Mode().Perm() != 0o640 {
		t.Errorf("rights %v, %v", info.Mode(), err)
	}
	broken := strings.Replace(mine, "places = 4 ", "places = 0 ", 1)
	write(t, path, broken)
	code, out, errs = command(t, "", "init", dir, "--change", "--line", "GPIO7")
	if code != exitUsage || !strings.Contains(errs, path+":") || !strings.Contains(errs, "places") {
		t.Errorf("a faulty file: exit %d, %s%s", code, out, errs)
	}
	holds("bench.toml", broken)
	if left, _ := filepath.Glob(path + ".new"); len(left) > 0 {
		t.Errorf("left behind: %v", left)
	}
}

// TestInitFindsInAScript: without a person the walk takes what is unmistakable, and
// the defaults.
func TestInitFindsInAScript(t *testing.T) {
	before := hardware
	t.Cleanup(func() { hardware = before })
	hardware = devices{ports: noPorts, board: noBoard}
	dir := t.TempDir()
	code, out, errs := command(t, "", "init", dir, "--find", "--name", "press-7")
	if code != exitDone || !strings.Contains(out, "no faults") || !strings.Contains(errs, "No input can be looked at") {
		t.Errorf("exit %d, %s%s", code, out, errs)
	}
	if code, _, errs := command(t, "", "init", dir, "--find", "--wait", "0s"); code != exitUsage || !strings.Contains(errs, "--wait") {
		t.Errorf("exit %d, %s", code, errs)
	}
}
