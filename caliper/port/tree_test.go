package port

import (
	"os"
	"path/filepath"
	"testing"

	"github.com/creack/pty"
)

// tree is a machine in a folder: devices are links to pseudo terminals.
type tree struct {
	t *testing.T
	machine
}

func newTree(t *testing.T) tree {
	t.Helper()
	root := t.TempDir()
	m := machine{dev: filepath.Join(root, "dev"), sys: filepath.Join(root, "sys"), proc: filepath.Join(root, "proc"),
		grab: func(*os.File) error { return nil }}
	return tree{t, m}
}

func (tr tree) link(target, name string) {
	tr.t.Helper()
	if err := os.MkdirAll(filepath.Dir(name), 0o755); err != nil {
		tr.t.Fatal(err)
	}
	if err := os.Symlink(target, name+".new"); err != nil {
		tr.t.Fatal(err)
	}
	if err := os.Rename(name+".new", name); err != nil {
		tr.t.Fatal(err)
	}
}

func (tr tree) file(name, text string) {
	tr.t.Helper()
	if err := os.MkdirAll(filepath.Dir(name), 0o755); err != nil {
		tr.t.Fatal(err)
	}
	if err := os.WriteFile(name, []byte(text+"\n"), 0o644); err != nil {
		tr.t.Fatal(err)
	}
}

func (tr tree) remove(name string) {
	tr.t.Helper()
	if err := os.RemoveAll(name); err != nil {
		tr.t.Fatal(err)
	}
}

// usb puts a USB device into the tree: an adapter in a socket, seen as a tty.
func (tr tree) usb(name, socket, serial, behind string) {
	tr.t.Helper()
	device := filepath.Join(tr.sys, "devices", "usb1", socket)
	tr.file(filepath.Join(device, "idVendor"), "1a2b")
	tr.file(filepath.Join(device, "idProduct"), "3c4d")
	tr.file(filepath.Join(device, "product"), "Serial Adapter")
	if serial != "" {
		tr.file(filepath.Join(device, "serial"), serial)
	}
	tr.file(filepath.Join(device, socket+":1.0", "bInterfaceNumber"), "00")
	tr.file(filepath.Join(device, socket+":1.0", name, "port_number"), "0")
	tr.link(filepath.Join(device, socket+":1.0", name), filepath.Join(tr.sys, "class", "tty", name, "device"))
	tr.link(behind, filepath.Join(tr.dev, name))
}

// unplug takes it out again.
func (tr tree) unplug(name, socket string) {
	tr.t.Helper()
	tr.remove(filepath.Join(tr.dev, name))
	tr.remove(filepath.Join(tr.sys, "class", "tty", name))
	tr.remove(filepath.Join(tr.sys, "devices", "usb1", socket))
}

// terminal makes a pseudo terminal. Closing the master is pulling the cable.
func terminal(t *testing.T) (master *os.File, name string) {
	t.Helper()
	master, slave, err := pty.Open()
	if err != nil {
		t.Skipf("no pseudo terminals here: %v", err)
	}
	name = slave.Name()
	t.Cleanup(func() { _ = master.Close() }) // closed by most tests
	if err := slave.Close(); err != nil {
		t.Fatal(err)
	}
	return master, name
}
