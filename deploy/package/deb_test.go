package main

import (
	"crypto/sha256"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
)

// tree is every line of a package's contents without its size: mode, owner, date,
// path.
func tree(t *testing.T, deb string) (lines []string) {
	t.Helper()
	blanks := regexp.MustCompile(`\s+[0-9]+ `)
	for line := range strings.Lines(ask(t, "", "env", "TZ=UTC", "dpkg-deb", "--contents", deb)) {
		if line = blanks.ReplaceAllString(strings.TrimSpace(line), " "); !strings.HasPrefix(line, "d") {
			lines = append(lines, line)
		} else if !strings.HasPrefix(line, "drwxr-xr-x root/root 2026-03-02 06:00 ./") {
			t.Errorf("%s: folder %s", filepath.Base(deb), line)
		}
	}
	return lines
}

func TestContents(t *testing.T) {
	long(t)
	wants(t, "dpkg-deb")
	const texts, programs = "-rw-r--r-- root/root 2026-03-02 06:00 ./", "-rwxr-xr-x root/root 2026-03-02 06:00 ./"
	for arch := range targets {
		got, want := tree(t, packageOf(t, older, arch)), []string{
			programs + "usr/bin/benchtally",
			texts + "usr/lib/modules-load.d/benchtally.conf",
			texts + "usr/lib/systemd/system/benchtally.service",
			texts + "usr/lib/sysusers.d/benchtally.conf",
			texts + "usr/lib/tmpfiles.d/benchtally.conf",
			texts + "usr/lib/udev/rules.d/60-benchtally.rules",
			texts + "usr/share/doc/benchtally/README.txt",
			texts + "usr/share/doc/benchtally/benchtally.cdx.json",
			texts + "usr/share/doc/benchtally/changelog.Debian.gz",
			texts + "usr/share/doc/benchtally/changelog.gz",
			texts + "usr/share/doc/benchtally/copyright",
			texts + "usr/share/lintian/overrides/benchtally",
			texts + "usr/share/man/man1/benchtally.1.gz",
		}
		if !slices.Equal(got, want) {
			t.Errorf("%s: got\n%s\nwant\n%s", arch, strings.Join(got, "\n"), strings.Join(want, "\n"))
		}
	}
	got, want := tree(t, kioskOf(t, older)), []string{
		texts + "etc/pam.d/benchtally-kiosk",
		texts + "usr/lib/systemd/system/benchtally-kiosk.service",
		texts + "usr/lib/sysusers.d/benchtally-kiosk.conf",
		programs + "usr/libexec/benchtally-kiosk/browser",
		texts + "usr/share/benchtally-kiosk/wait.html",
		texts + "usr/share/doc/benchtally-kiosk/changelog.Debian.gz",
		texts + "usr/share/doc/benchtally-kiosk/copyright",
		texts + "usr/share/lintian/overrides/benchtally-kiosk",
	}
	if !slices.Equal(got, want) {
		t.Errorf("kiosk: got\n%s\nwant\n%s", strings.Join(got, "\n"), strings.Join(want, "\n"))
	}
}

// The configuration is the shop's from the first line on: a package that brought
// one would ask about it at an upgrade, or have invented figures taken for real.
func TestPackageBringsNoConfiguration(t *testing.T) {
	long(t)
	wants(t, "dpkg-deb")
	control := t.TempDir()
	ask(t, "", "dpkg-deb", "--control", packageOf(t, older, "amd64"), control)
	if data, err := os.ReadFile(filepath.Join(control, "conffiles")); err == nil {
		t.Errorf("configuration: %s", data)
	}
	ask(t, "", "dpkg-deb", "--control", kioskOf(t, older), control)
	if data, err := os.ReadFile(filepath.Join(control, "conffiles")); string(data) != "/etc/pam.d/benchtally-kiosk\n" {
		t.Errorf("of the kiosk: %q, %v", data, err)
	}
}

// Another folder, another umask, another time zone, another language: the same bytes.
func TestSameCommitSameBytes(t *testing.T) {
	long(t)
	wants(t, "git", "dpkg-deb", "bash")
	from := root(t)
	there := filepath.Join(t.TempDir(), "another folder", "benchtally")
	if err := os.MkdirAll(there, 0o750); err != nil {
		t.Fatal(err)
	}
	ask(t, from, "bash", "-c", `set -o pipefail; git ls-files -z -c -o --exclude-standard | tar c --null -T - --ignore-failed-read 2>/dev/null | tar x -C "$1"`, "copy", there)
	out := filepath.Join(there, "out")
	ask(t, there, "bash", "-c", `umask 077; TZ=Asia/Tokyo LC_ALL=C GOFLAGS=-mod=mod exec go run ./deploy/package --version "$1" --arch amd64 --effort "$2" --out "$3"`, "build", older, strconv.Itoa(effort), out)
	for _, first := range []string{packageOf(t, older, "amd64"), kioskOf(t, older)} {
		a, err := os.ReadFile(first) //nolint:gosec // just made
		if err != nil {
			t.Fatal(err)
		}
		b, err := os.ReadFile(filepath.Join(out, filepath.Base(first)))
		if err != nil {
			t.Fatal(err)
		}
		if sha256.Sum256(a) != sha256.Sum256(b) {
			t.Errorf("%s differs when it is made elsewhere: compare %s", filepath.Base(first), out)
		}
	}
}

// Nothing of how packages are made is in the agent.
func TestAgentIsUnaffected(t *testing.T) {
	out, err := output(t.Context(), root(t), buildEnv("arm64"), "go", "list", "-deps", "./agent")
	if err != nil {
		t.Fatal(err)
	}
	if !strings.Contains(out, "go.etcd.io/bbolt\n") {
		t.Fatalf("the agent has only\n%s", out)
	}
	for _, never := range []string{"benchtally/deploy/package", "licensecheck", "cyclonedx"} {
		if strings.Contains(strings.ToLower(out), never) {
			t.Errorf("%s is in the agent", never)
		}
	}
}

// What Debian's own checker has against a package is mended, or overridden with
// its reason in lintian-overrides.
func TestLintian(t *testing.T) {
	long(t)
	wants(t, "lintian")
	for _, deb := range []string{packageOf(t, older, "amd64"), packageOf(t, older, "armhf"), packageOf(t, older, "arm64"), kioskOf(t, older)} {
		out, err := output(t.Context(), "", nil, "lintian", "--allow-root", "--fail-on", "error,warning", "--tag-display-limit", "0", deb)
		if err != nil {
			t.Errorf("%s: %v", filepath.Base(deb), err)
		}
		if strings.TrimSpace(out) != "" {
			t.Errorf("%s:\n%s", filepath.Base(deb), out)
		}
	}
}

// The manual page has every command that the program has.
func TestManualHasEveryCommand(t *testing.T) {
	long(t)
	manual := string(content("benchtally/benchtally.1"))
	program := filepath.Join(unpacked(t, packageOf(t, older, "amd64")), "usr/bin/benchtally")
	help := ask(t, "", program, "--help")
	_, commands, ok := strings.Cut(help, "\nCommands:\n")
	names := regexp.MustCompile(`(?m)^  ([a-z]+)`).FindAllStringSubmatch(commands, -1)
	if !ok || len(names) < 20 {
		t.Fatalf("commands %q in\n%s", names, help)
	}
	for _, n := range names {
		if !strings.Contains(manual, "\n.B "+n[1]+"\n") {
			t.Errorf("benchtally.1 does not name %s", n[1])
		}
	}
	if n := strings.Count(manual, "\n.TP\n.B "); n != len(slices.Compact(slices.Sorted(slices.Values(flat(names))))) {
		t.Errorf("benchtally.1 names %d commands, the program has %q", n, flat(names))
	}
	if got := ask(t, "", program, "--version"); got != older+"\n" {
		t.Errorf("the program says that it is version %q", got)
	}
}

func flat(matches [][]string) (names []string) {
	for _, m := range matches {
		names = append(names, m[1])
	}
	return names
}

// Each board runs what is meant for it: on this machine by emulation, armhf as the
// processor of the first Pi and the Pi Zero.
func TestProgramsRunOnTheirProcessors(t *testing.T) {
	long(t)
	wants(t, "qemu-aarch64-static", "qemu-arm-static")
	for _, c := range []struct{ arch, emulator, processor string }{
		{"arm64", "qemu-aarch64-static", "cortex-a53"},
		{"armhf", "qemu-arm-static", "arm1176"},
	} {
		program := filepath.Join(unpacked(t, packageOf(t, older, c.arch)), "usr/bin/benchtally")
		as := func(args ...string) string {
			return ask(t, "", c.emulator, append([]string{"-cpu", c.processor, program}, args...)...)
		}
		if got := as("--version"); got != older+"\n" {
			t.Errorf("%s: version %q", c.arch, got)
		}
		dir := filepath.Join(t.TempDir(), "press")
		as("init", dir)
		if got := as("check", filepath.Join(dir, "bench.toml")); !strings.Contains(got, ": no faults, 6 specs") {
			t.Errorf("%s: check says %q", c.arch, got)
		}
		got := as("judge", "--target", "1.204in", "--plus", "0.010in", "--minus", "0.010in", "--setting", "120", "1.2050in", "1.2042in", "1.2046in")
		if !strings.Contains(got, `"outcome":"pass"`) || !strings.Contains(got, `"next_setting":`) {
			t.Errorf("%s: judge says %s", c.arch, got)
		}
	}
}
