package port

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"

	"golang.org/x/sys/unix"
)

func TestPorts(t *testing.T) {
	tr := newTree(t)
	tr.usb("ttyUSB0", "1-1", "A1", "/dev/null")
	tr.link("../../ttyUSB0", filepath.Join(tr.dev, "serial", "by-id", "usb-adapter-A1-if00-port0"))
	tr.link("../../ttyUSB0", filepath.Join(tr.dev, "serial", "by-path", "platform-usb-1-1"))
	tr.file(filepath.Join(tr.sys, "class", "tty", "ttyS0", "type"), "0") // listed, but not there
	tr.file(filepath.Join(tr.sys, "class", "tty", "ttyS0", "device", "x"), "")
	tr.file(filepath.Join(tr.dev, "ttyS0"), "")
	tr.file(filepath.Join(tr.sys, "class", "tty", "console", "active"), "tty0") // no hardware
	for name, keys := range map[string]string{"event0": "10000000000000 0", "event1": "e080ffdf01cfffff fffffffffffffffe"} {
		tr.file(filepath.Join(tr.sys, "class", "input", name, "device", "capabilities", "key"), keys)
		tr.file(filepath.Join(tr.sys, "class", "input", name, "device", "name"), "Caliper Plug")
		tr.file(filepath.Join(tr.dev, "input", name), "")
	}
	got := tr.ports()
	for i := range got {
		got[i].Problem = ""
	}
	want := []Info{
		{Name: filepath.Join(tr.dev, "serial/by-id/usb-adapter-A1-if00-port0"), Kind: KindSerial, Device: filepath.Join(tr.dev, "ttyUSB0"),
			ByID:   filepath.Join(tr.dev, "serial/by-id/usb-adapter-A1-if00-port0"),
			ByPath: filepath.Join(tr.dev, "serial/by-path/platform-usb-1-1"),
			Vendor: "1a2b", Product: "3c4d", Serial: "A1", Text: "Serial Adapter"},
		{Name: filepath.Join(tr.dev, "input/event1"), Kind: KindKeyboard, Device: filepath.Join(tr.dev, "input/event1"), Text: "Caliper Plug"},
	}
	if fmt.Sprintf("%+v", got) != fmt.Sprintf("%+v", want) {
		t.Errorf("got\n%+v\nwant\n%+v", got, want)
	}
	if err := tr.trouble("caliper", "/dev/ttyUSB7", syscall.ENOENT); !strings.Contains(err.Error(), "plug the caliper's cable in, or name one of the ports that are: "+want[0].Name) {
		t.Errorf("absent: %v", err)
	}
}

func TestPattern(t *testing.T) {
	tr := newTree(t)
	f := finder{m: tr.machine, name: filepath.Join(tr.dev, "serial", "by-id", "*")}
	if _, err := f.find(); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("nothing there: %v", err)
	}
	one := filepath.Join(tr.dev, "serial", "by-id", "one")
	tr.link("/dev/null", one)
	if got, err := f.find(); err != nil || got != one {
		t.Errorf("got %q, %v", got, err)
	}
	tr.link("/dev/zero", filepath.Join(tr.dev, "serial", "by-id", "two"))
	if _, err := f.find(); err == nil || !strings.Contains(err.Error(), "fits 2 devices") {
		t.Errorf("two devices: %v", err)
	}
}

func TestTrouble(t *testing.T) {
	tr := newTree(t)
	path := filepath.Join(tr.dev, "ttyUSB0")
	tr.file(path, "")
	real, err := filepath.EvalSymlinks(path)
	if err != nil {
		t.Fatal(err)
	}
	tr.file(filepath.Join(tr.proc, "812", "comm"), "terminal")
	tr.link(real, filepath.Join(tr.proc, "812", "fd", "3"))
	for _, row := range []struct {
		name string
		err  error
		want string
	}{
		{"busy", unix.EBUSY, "another program has it: device or resource busy; end the program terminal, process 812"},
		{"not allowed, no group may", os.ErrPermission, "install the udev rule that gives it to the group dialout"},
		{"dead", unix.EIO, "the device does not answer"},
		{"absent, nothing else there", os.ErrNotExist, "no other port is: file does not exist; plug the scanner's cable in"},
		{"anything else", unix.EINVAL, "open " + path + ": invalid argument"},
	} {
		t.Run(row.name, func(t *testing.T) {
			err := tr.trouble("scanner", path, row.err)
			if !errors.Is(err, row.err) || !strings.Contains(err.Error(), row.want) {
				t.Errorf("got %v, want %s", err, row.want)
			}
		})
	}
	if err := os.Chown(path, -1, 20); err == nil { // only root can
		if err := os.Chmod(path, 0o660); err != nil {
			t.Fatal(err)
		}
		if got := tr.remedy(path); !strings.Contains(got, "usermod -aG dialout") {
			t.Errorf("remedy %q", got)
		}
	}
}
