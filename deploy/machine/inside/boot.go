//go:build linux

package main

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"time"

	"golang.org/x/sys/unix"
)

// boot mounts what a system needs and loads the drivers. With root= among the
// kernel's parameters it then hands over to the system on that disk and does not
// return; else it mounts the disk named by data= on the folder of the agent.
func boot() error {
	for _, m := range []struct{ kind, at string }{
		{"devtmpfs", "/dev"}, {"proc", "/proc"}, {"sysfs", "/sys"}, {"tmpfs", "/tmp"}, {"tmpfs", "/run"},
	} {
		if err := mount(m.kind, m.kind, m.at, 0, ""); err != nil {
			return err
		}
	}
	if err := loadDrivers("/modules"); err != nil {
		return err
	}
	line, err := os.ReadFile("/proc/cmdline")
	if err != nil {
		return err
	}
	disks := map[string]string{}
	for _, word := range strings.Fields(string(line)) {
		if name, value, ok := strings.Cut(word, "="); ok {
			disks[name] = value
		}
	}
	if disk := disks["root"]; disk != "" {
		return handOver(disk)
	}
	if disk := disks["data"]; disk != "" {
		// As the notes of an installation have it; data=ordered is ext4's own default.
		return mount("ext4", disk, "/var/lib/benchtally", unix.MS_NOATIME, "data=ordered")
	}
	return nil
}

func mount(kind, what, at string, flags uintptr, options string) error {
	if err := os.MkdirAll(at, 0o755); err != nil {
		return err
	}
	if kind == "ext4" {
		if _, err := await(what); err != nil {
			return err
		}
	}
	if err := unix.Mount(what, at, kind, flags, options); err != nil && !errors.Is(err, unix.EBUSY) {
		return fmt.Errorf("mount %s on %s: %w", what, at, err)
	}
	return nil
}

// await waits until the one device of a pattern is there, at most 30 s.
func await(pattern string) (string, error) {
	for range 3000 {
		found, err := filepath.Glob(pattern)
		if err != nil {
			return "", err
		}
		if len(found) == 1 {
			return found[0], nil
		}
		time.Sleep(10 * time.Millisecond)
	}
	return "", fmt.Errorf("%s is not there, or several are", pattern)
}

// loadDrivers loads the modules of a folder in the order of their names.
func loadDrivers(dir string) error {
	files, err := filepath.Glob(dir + "/*.ko")
	if err != nil {
		return err
	}
	for _, name := range files {
		f, err := os.Open(name)
		if err != nil {
			return err
		}
		err = unix.FinitModule(int(f.Fd()), "", 0)
		if err := errors.Join(err, f.Close()); err != nil && !errors.Is(err, unix.EEXIST) {
			return fmt.Errorf("load %s: %w", name, err)
		}
	}
	return nil
}

// service has the program inside started by systemd.
const service = `[Unit]
Description=The world around the agent
[Service]
ExecStart=/opt/machine/inside
[Install]
WantedBy=multi-user.target
`

// handOver makes the system on the disk the machine's own, as switch_root does,
// with this program as one of its services and the agent beside it, to be
// installed.
func handOver(disk string) error {
	if err := mount("ext4", disk, "/root", 0, ""); err != nil {
		return err
	}
	for from, to := range map[string]string{"/init": "/root/opt/machine/inside", "/benchtally": "/root/opt/machine/benchtally"} {
		program, err := os.ReadFile(from)
		if err != nil {
			return err
		}
		if err := os.MkdirAll(filepath.Dir(to), 0o755); err != nil {
			return err
		}
		if err := os.WriteFile(to, program, 0o755); err != nil {
			return err
		}
	}
	const units = "/root/etc/systemd/system"
	if err := os.WriteFile(units+"/inside.service", []byte(service), 0o644); err != nil {
		return err
	}
	if err := os.Symlink("../inside.service", units+"/multi-user.target.wants/inside.service"); err != nil {
		return err
	}
	for _, at := range []string{"/dev", "/proc", "/sys", "/run"} {
		if err := unix.Mount(at, "/root"+at, "", unix.MS_MOVE, ""); err != nil {
			return fmt.Errorf("move %s: %w", at, err)
		}
	}
	if err := os.Chdir("/root"); err != nil {
		return err
	}
	if err := unix.Mount(".", "/", "", unix.MS_MOVE, ""); err != nil {
		return fmt.Errorf("move the root: %w", err)
	}
	if err := unix.Chroot("."); err != nil {
		return err
	}
	return unix.Exec("/sbin/init", []string{"/sbin/init"}, []string{"PATH=/usr/sbin:/usr/bin:/sbin:/bin", "TERM=dumb"})
}

// powerOff ends the machine; what was not written is lost.
func powerOff() {
	_ = unix.Reboot(unix.LINUX_REBOOT_CMD_POWER_OFF) // nothing is left to tell
}
