package port

import (
	"os"
	"path/filepath"
	"strings"
	"unicode"
)

// machine is where devices are looked up; tests put folders of their own there.
type machine struct {
	dev, sys, proc string
	locks          string // folder of lock files
	grab           func(*os.File) error
}

var thisMachine = machine{dev: "/dev", sys: "/sys", proc: "/proc", locks: "/run/lock", grab: grabKeys}

// node is a device as the kernel names it.
type node struct {
	class string // "tty" or "input"
	name  string // ttyUSB0, event3
}

// path is the device's own file.
func (m machine) path(n node) string {
	if n.class == "input" {
		return filepath.Join(m.dev, "input", n.name)
	}
	return filepath.Join(m.dev, n.name)
}

// isInput tells the names of input devices.
func (m machine) isInput(name string) bool {
	return strings.HasPrefix(filepath.Clean(name), filepath.Join(m.dev, "input")+string(filepath.Separator))
}

// node follows links from name to a device that the kernel knows.
func (m machine) node(name string) (node, bool) {
	class := "tty"
	if m.isInput(name) {
		class = "input"
	}
	for range 8 { // links to links; udev makes one
		n := node{class, filepath.Base(name)}
		if filepath.Clean(name) == m.path(n) {
			if _, err := os.Stat(filepath.Join(m.sys, "class", class, n.name)); err == nil {
				return n, true
			}
		}
		target, err := os.Readlink(name)
		if err != nil {
			return node{}, false
		}
		if !filepath.IsAbs(target) {
			target = filepath.Join(filepath.Dir(name), target)
		}
		name = target
	}
	return node{}, false
}

// nodes lists the devices of a class that have hardware behind them.
func (m machine) nodes(class string) []node {
	entries, _ := os.ReadDir(filepath.Join(m.sys, "class", class)) // no such folder: no devices
	var ns []node
	for _, e := range entries {
		n := node{class, e.Name()}
		if class == "input" && !strings.HasPrefix(n.name, "event") {
			continue
		}
		if _, err := os.Stat(filepath.Join(m.sys, "class", class, n.name, "device")); err != nil {
			continue
		}
		// The kernel lists four or more 8250 ports that do not exist; their
		// type is 0 (PORT_UNKNOWN of linux/serial_core.h).
		if m.fact(filepath.Join(m.sys, "class", class, n.name), "type") == "0" {
			continue
		}
		ns = append(ns, n)
	}
	return ns
}

// identity is what a USB device keeps when it comes back under another name.
type identity struct {
	vendor, product, serial, iface string
	socket                         string // where it is plugged in
	text                           string // maker's words, for people
}

// identify reads the identity from the kernel's tree, upwards from the device.
// Devices that are no USB devices have an empty one.
func (m machine) identify(n node) identity {
	dir, err := filepath.EvalSymlinks(filepath.Join(m.sys, "class", n.class, n.name, "device"))
	if err != nil {
		return identity{}
	}
	var id identity
	for range 16 { // deeper than any tree of hubs
		if id.iface == "" {
			id.iface = m.fact(dir, "bInterfaceNumber")
		}
		if id.vendor = m.fact(dir, "idVendor"); id.vendor != "" {
			id.product, id.serial, id.socket = m.fact(dir, "idProduct"), m.fact(dir, "serial"), filepath.Base(dir)
			id.text = strings.TrimSpace(m.fact(dir, "manufacturer") + " " + m.fact(dir, "product"))
			return id
		}
		if dir = filepath.Dir(dir); len(dir) <= len(m.sys) {
			break
		}
	}
	return identity{}
}

// fact reads a one-line file of the kernel's tree, empty when there is none.
// Devices tell these words themselves, so what is not printable is left out.
func (m machine) fact(dir, name string) string {
	b, err := os.ReadFile(filepath.Join(dir, name))
	if err != nil || len(b) > 4096 {
		return ""
	}
	return strings.TrimSpace(strings.Map(func(c rune) rune {
		if !unicode.IsPrint(c) {
			return -1
		}
		return c
	}, string(b)))
}

// same tells that two devices can be the same one, wherever it is plugged in.
func (id identity) same(other identity) bool {
	return id.vendor != "" && id.vendor == other.vendor && id.product == other.product &&
		id.serial == other.serial && id.iface == other.iface
}

// here tells that it is the same one in the same place.
func (id identity) here(other identity) bool {
	return id.same(other) && id.socket == other.socket
}
