package deploy

import (
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
)

// exposed is the exposure of the service as "systemd-analyze security" of systemd
// 252 counts it, from 0 to 10. What is left of it are the devices, the network, the
// calls that ask how good the clock is, and the machine's own files.
const exposed = 1.7

// analyze runs systemd-analyze, and skips the test where there is none.
func analyze(t *testing.T, args ...string) (string, error) {
	t.Helper()
	path, err := exec.LookPath("systemd-analyze")
	if err != nil {
		t.Skip("systemd-analyze is not here")
	}
	out, err := exec.Command(path, args...).CombinedOutput()
	return string(out), err
}

// unitWithProgram writes the unit into a folder, with a program that is there.
func unitWithProgram(t *testing.T) string {
	t.Helper()
	text := embedded(t, "benchtally.service")
	start := regexp.MustCompile(`(?m)^ExecStart=\S+`)
	if !start.MatchString(text) {
		t.Fatal("the unit starts nothing")
	}
	path := filepath.Join(t.TempDir(), "benchtally.service")
	if err := os.WriteFile(path, []byte(start.ReplaceAllString(text, "ExecStart=/bin/true")), 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

// TestUnitIsUnderstoodWhole: systemd knows every line of it.
func TestUnitIsUnderstoodWhole(t *testing.T) {
	out, err := analyze(t, "verify", "--man=no", unitWithProgram(t))
	if err != nil || strings.TrimSpace(out) != "" {
		t.Errorf("systemd-analyze verify: %v\n%s", err, out)
	}
}

// TestUnitIsAsClosedAsStated: whoever opens the service further sees it here.
func TestUnitIsAsClosedAsStated(t *testing.T) {
	path := unitWithProgram(t)
	out, err := analyze(t, "security", "--offline=true", "--no-pager", path)
	m := regexp.MustCompile(`Overall exposure level for \S+: ([0-9.]+)`).FindStringSubmatch(out)
	if err != nil || m == nil {
		t.Fatalf("systemd-analyze security: %v\n%s", err, out)
	}
	got, err := strconv.ParseFloat(m[1], 64)
	if err != nil || got > exposed {
		t.Errorf("exposure %v, stated are %v (%v)\n%s", got, exposed, err, out)
	}
	t.Logf("exposure %v", got)
}
