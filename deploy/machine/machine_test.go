//go:build linux

package machine

import (
	"flag"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

var (
	machineDir = flag.String("machine", "", "folder of kernel and Debian root, made by deploy/machine/run")
	agentFile  = flag.String("agent", "", "the agent to test, a static linux/amd64 program")
	insideFile = flag.String("inside", "", "the program that works inside of the machine, likewise")
	cuts       = flag.Int("cuts", 30, "power cuts that TestCuts makes")
	strokes    = flag.Int("strokes", 100, "strokes that TestStrokes makes")
)

// needMachine skips a test where there is nothing to run it on, and lets it run
// beside others where there is: each has a machine of its own.
func needMachine(t *testing.T) {
	t.Helper()
	switch {
	case *machineDir == "" || *agentFile == "" || *insideFile == "":
		t.Skip("wants an emulated machine: deploy/machine/run starts this test with all it needs")
	case os.Getuid() != 0:
		t.Fatal("wants root, for loop mounts")
	}
	t.Parallel()
}

// do runs a command of this machine, which must end well.
func do(t *testing.T, name string, args ...string) string {
	t.Helper()
	out, err := exec.Command(name, args...).CombinedOutput()
	if err != nil {
		t.Fatalf("%s %s: %v\n%s", name, strings.Join(args, " "), err, out)
	}
	return string(out)
}

// patience is how long something may take: far longer than it takes on a quiet
// machine, since an emulated one beside other work may be thirty times slower.
const patience = 10 * time.Minute

// await waits until something is so.
func await(t *testing.T, what string, so func() bool) {
	t.Helper()
	for end := time.Now().Add(patience); !so(); time.Sleep(50 * time.Millisecond) {
		if time.Now().After(end) {
			t.Fatalf("not within %s: %s", patience, what)
		}
	}
}

// install writes an installation as `init` does, with some lines of its
// configuration changed: pairs of how a line begins, and the whole new line.
func install(t *testing.T, dir string, changes ...string) {
	t.Helper()
	do(t, *agentFile, "init", dir)
	path := filepath.Join(dir, "bench.toml")
	text, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	lines := strings.Split(string(text), "\n")
	for i := 0; i < len(changes); i += 2 {
		found := false
		for n, l := range lines {
			if !found && strings.HasPrefix(l, changes[i]) {
				lines[n], found = changes[i+1], true
			}
		}
		if !found {
			t.Fatalf("no line of %s begins with %q", path, changes[i])
		}
	}
	if err := os.WriteFile(path, []byte(strings.Join(lines, "\n")), 0o644); err != nil {
		t.Fatal(err)
	}
	do(t, *agentFile, "check", path)
}

// makeDisk makes an ext4 file system with the files of a folder, in a file.
func makeDisk(t *testing.T, path, dir string, megabytes int64) {
	t.Helper()
	f, err := os.Create(path)
	if err == nil {
		err = f.Truncate(megabytes << 20)
	}
	if err != nil {
		t.Fatal(err)
	}
	if err := f.Close(); err != nil {
		t.Fatal(err)
	}
	do(t, "/sbin/mkfs.ext4", "-q", "-F", "-b", "4096", "-E", "lazy_itable_init=0,lazy_journal_init=0", "-d", dir, path)
}

// installed is the changes that make an installation work in the machine, with
// switch times for a machine that is pressed as fast as it goes.
func installed(broker string, settle, shortest, cycle time.Duration) []string {
	return []string{
		"settle", fmt.Sprintf("settle = %q", settle),
		"shortest", fmt.Sprintf("shortest = %q", shortest),
		"cycle", fmt.Sprintf("cycle = %q", cycle),
		"port", `port = "/dev/ttyUSB0"`,
		"broker", fmt.Sprintf("broker = %q", broker),
	}
}
