package main

import (
	"context"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
)

// date is that of all packages that tests make: 2026-03-02 06:00 UTC.
const date = "1772431200"

// Versions of the same code, one newer than the other.
const (
	older = "1.0.0"
	newer = "1.1.0"
)

// effort is enough for packages that are thrown away: a tenth of the time.
const effort = 0

// made are the packages of the tests, each made once.
var made struct {
	sync.Mutex
	dir  string
	done map[string]bool
}

func TestMain(m *testing.M) {
	dir, err := os.MkdirTemp("", "package-test-")
	if err != nil {
		panic(err)
	}
	made.dir, made.done = dir, map[string]bool{}
	if err := os.Setenv("SOURCE_DATE_EPOCH", date); err != nil {
		panic(err)
	}
	code := m.Run()
	_ = os.RemoveAll(dir)
	os.Exit(code)
}

// packageOf makes the agent's package of a version for an architecture, and
// returns its path.
func packageOf(t *testing.T, version, arch string) string {
	t.Helper()
	made.Lock()
	defer made.Unlock()
	key := version + "_" + arch
	dir := filepath.Join(made.dir, key)
	if !made.done[key] {
		var told strings.Builder
		if err := run(t.Context(), options{Version: version, Arch: []string{arch}, Effort: effort, Out: dir}, ".", &told); err != nil {
			t.Fatal(err)
		}
		made.done[key] = true
	}
	return filepath.Join(dir, fmt.Sprintf("benchtally_%s-1_%s.deb", version, arch))
}

// kioskOf is the path of the other package of a version.
func kioskOf(t *testing.T, version string) string {
	t.Helper()
	return filepath.Join(filepath.Dir(packageOf(t, version, "amd64")), "benchtally-kiosk_"+version+"-1_all.deb")
}

// unpacked is a folder with what is in a package.
func unpacked(t *testing.T, deb string) string {
	t.Helper()
	dir := t.TempDir()
	ask(t, "", "dpkg-deb", "--extract", deb, dir)
	return dir
}

// ask runs a program, which must end well, and returns what it prints.
func ask(t *testing.T, dir, name string, args ...string) string {
	t.Helper()
	out, err := output(t.Context(), dir, nil, name, args...)
	if err != nil {
		t.Fatal(err)
	}
	return out
}

// wants skips the test where a program is not installed, and fails it in CI.
func wants(t *testing.T, programs ...string) {
	t.Helper()
	for _, p := range programs {
		if _, err := exec.LookPath(p); err == nil {
			continue
		}
		if os.Getenv("CI") != "" {
			t.Fatalf("%s is not installed", p)
		}
		t.Skipf("%s is not installed", p)
	}
}

// long skips the test where little time is given.
func long(t *testing.T) {
	t.Helper()
	if testing.Short() {
		t.Skip("builds packages")
	}
}

func root(t *testing.T) string {
	t.Helper()
	dir, err := moduleRoot(context.Background(), ".")
	if err != nil {
		t.Fatal(err)
	}
	return dir
}
