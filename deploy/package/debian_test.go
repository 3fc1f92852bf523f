package main

import (
	"bytes"
	"context"
	"errors"
	"flag"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"
)

// debian is a Debian with nothing but its base and systemd, booted in namespaces
// of its own: its processes, mounts, host name and network are not this machine's.
// What is written goes to memory, and is gone with it.
type debian struct {
	t   *testing.T
	pid int // its first process
}

// boot asks for the tests that boot a Debian: they take minutes, and the first
// time some more for its packages.
var boot = flag.Bool("boot", false, "run the tests in a booted clean Debian; wants root")

// base is what is in a clean Debian beyond the smallest one: what every Raspberry Pi
// OS has.
const base = "systemd,udev,kmod"

// bootScript lays a writable layer over the folder $1 and has systemd start in it.
// Devices are the few that a container has.
const bootScript = `set -e
lower=$1 at=$2
mount -t tmpfs tmpfs "$at"
mkdir "$at"/up "$at"/work "$at"/root
mount -t overlay overlay -o "lowerdir=$lower,upperdir=$at/up,workdir=$at/work" "$at/root"
cd "$at/root"
mount -t proc proc proc
mount -t sysfs -o ro sysfs sys
mount -t cgroup2 cgroup2 sys/fs/cgroup
mount -t tmpfs tmpfs run
mount -t tmpfs tmpfs tmp
mount -t tmpfs tmpfs dev
for n in null zero full random urandom tty; do touch dev/$n; mount --bind /dev/$n dev/$n; done
mkdir dev/pts dev/shm
mount -t devpts -o newinstance,ptmxmode=0666 devpts dev/pts
ln -s pts/ptmx dev/ptmx
container=test exec chroot . /lib/systemd/systemd`

// cleanDebian boots a clean Debian. Root is needed, and the network once.
func cleanDebian(t *testing.T) *debian {
	t.Helper()
	if !*boot {
		t.Skip("boots a Debian of its own: -boot")
	}
	if os.Geteuid() != 0 {
		t.Skip("only root can boot a Debian of its own")
	}
	wants(t, "debootstrap", "unshare", "nsenter", "dpkg-deb")
	lower, err := cleanRoot(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	var said bytes.Buffer
	c := exec.CommandContext(t.Context(), "unshare", "--mount", "--pid", "--fork", "--net", "--ipc", "--uts", "--cgroup", //nolint:gosec // the test's own words
		"--kill-child=KILL", "bash", "-c", bootScript, "boot", lower, t.TempDir())
	c.Stdout, c.Stderr = &said, &said
	c.Cancel = func() error { return c.Process.Kill() } // its child, the first process, ends with it, and all others with that one
	c.SysProcAttr = &syscall.SysProcAttr{Setsid: true, Pdeathsig: syscall.SIGKILL}
	if err := c.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		_ = c.Process.Kill()
		_ = c.Wait()
	})
	d := &debian{t: t}
	d.until("it boots", func() bool {
		first, err := os.ReadFile(fmt.Sprintf("/proc/%d/task/%[1]d/children", c.Process.Pid))
		if err != nil {
			t.Fatal(err)
		}
		if d.pid, err = strconv.Atoi(strings.TrimSpace(string(first))); err != nil {
			return false
		}
		out, _ := d.try("systemctl is-system-running")
		return out == "running\n" || out == "degraded\n"
	})
	if out := d.sh("systemctl --failed --no-legend"); out != "" {
		t.Fatalf("the clean Debian has failed units:\n%s", out)
	}
	return d
}

// until waits until something is so, for at most two minutes: a boot beside other
// work.
func (d *debian) until(what string, so func() bool) {
	d.t.Helper()
	for end := time.Now().Add(2 * time.Minute); !so(); time.Sleep(100 * time.Millisecond) {
		if time.Now().After(end) {
			d.t.Fatalf("waited two minutes until %s", what)
		}
	}
}

// try runs a shell script in it, as root, and returns all that it says.
func (d *debian) try(script string) (string, error) {
	return d.enter(nil, script)
}

// sh is try for a script that must end well.
func (d *debian) sh(script string) string {
	d.t.Helper()
	out, err := d.try(script)
	if err != nil {
		d.t.Fatalf("%s\n%v\n%s", script, err, out)
	}
	return out
}

// bring copies a file into its /root and returns its path there.
func (d *debian) bring(path string) string {
	d.t.Helper()
	data, err := os.ReadFile(path) //nolint:gosec // the test's own
	if err != nil {
		d.t.Fatal(err)
	}
	there := "/root/" + filepath.Base(path)
	if out, err := d.enter(data, "cat >"+there); err != nil {
		d.t.Fatalf("%v\n%s", err, out)
	}
	return there
}

func (d *debian) enter(stdin []byte, script string) (string, error) {
	ctx, cancel := context.WithTimeout(d.t.Context(), 3*time.Minute)
	defer cancel()
	c := exec.CommandContext(ctx, "nsenter", "--target", strconv.Itoa(d.pid), "--mount", "--pid", "--net", "--ipc", "--uts", "--cgroup", "--root", "--wd", //nolint:gosec // the test's own words
		"env", "-i", "PATH=/usr/sbin:/usr/bin:/sbin:/bin", "HOME=/root", "LC_ALL=C.UTF-8", "DEBIAN_FRONTEND=noninteractive", "sh", "-ec", script)
	var out bytes.Buffer
	c.Stdin, c.Stdout, c.Stderr = bytes.NewReader(stdin), &out, &out
	c.WaitDelay = 10 * time.Second // what it started may hold its output open
	err := c.Run()
	return strings.ReplaceAll(out.String(), "\r\n", "\n"), err // apt writes for a terminal
}

// cleanRoot is a folder with a clean Debian of this machine's release. It is made
// once, of the packages that this machine's apt gets, and kept in the user's cache.
func cleanRoot(ctx context.Context) (string, error) {
	cache, err := os.UserCacheDir()
	if err != nil {
		return "", err
	}
	release, err := output(ctx, "", nil, "sh", "-c", `. /etc/os-release && echo "$VERSION_CODENAME"`)
	if err != nil {
		return "", err
	}
	release = strings.TrimSpace(release)
	kept := filepath.Join(cache, "benchtally-debian", release+"-"+strings.ReplaceAll(base, ",", "-"))
	if _, err := os.Stat(kept); err == nil {
		return kept, nil
	}
	if err := os.MkdirAll(filepath.Dir(kept), 0o755); err != nil {
		return "", err
	}
	mirror, err := output(ctx, "", nil, "apt-get", "indextargets", "--format", "$(REPO_URI)", "Codename: "+release, "Created-By: Packages", "Component: main")
	if err != nil {
		return "", err
	}
	if mirror, _, _ = strings.Cut(mirror, "\n"); mirror == "" {
		return "", errors.New("apt has no packages of " + release + ": run apt-get update")
	}
	fresh, err := os.MkdirTemp(filepath.Dir(kept), "new-")
	if err != nil {
		return "", err
	}
	if _, err = output(ctx, "", nil, "debootstrap", "--variant=minbase", "--include="+base, release, fresh, mirror); err == nil {
		if err = os.Chmod(fresh, 0o755); err == nil { //nolint:gosec // the root of a system
			err = os.Rename(fresh, kept)
		}
	}
	if err != nil {
		return "", errors.Join(fmt.Errorf("make a clean Debian: %w", err), os.RemoveAll(fresh))
	}
	return kept, nil
}
