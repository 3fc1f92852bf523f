package port

import (
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"

	"golang.org/x/sys/unix"
)

// The kinds of port.
const (
	KindSerial   = "serial"
	KindKeyboard = "keyboard" // a device that types, or a keyboard: the kernel cannot tell them apart
)

// Info is a port that the machine has, as it can be known without opening it.
type Info struct {
	Name    string // the steadiest name: by-id if no other device has the same, else by-path, else the device
	Kind    string // KindSerial or KindKeyboard
	Device  string // /dev/ttyUSB0, /dev/input/event3
	ByID    string // link named after the device, "" if none
	ByPath  string // link named after the USB socket, "" if none
	Vendor  string // USB ids, four hexadecimal digits; "" for what is no USB device
	Product string
	Serial  string // of the USB device, often empty
	Text    string // the device's own name
	Twins   int    // other devices that differ from it in nothing but the socket
	Console bool   // the system writes its messages there
	Problem string // why this user cannot open it and the remedy, "" if nothing is known
}

// List lists the serial ports, then the keyboards. It opens none of them, so
// nothing is reset and nothing disturbed. An error means that this is no Linux
// machine with /sys.
func List() ([]Info, error) {
	if _, err := os.Stat(filepath.Join(thisMachine.sys, "class")); err != nil {
		return nil, err
	}
	return thisMachine.ports(), nil
}

func (m machine) ports() []Info {
	var out []Info
	for _, n := range m.nodes("tty") {
		if p, ok := m.port(n, filepath.Join(m.dev, "serial")); ok {
			out = append(out, p)
		}
	}
	for _, n := range m.nodes("input") {
		if !m.typesDigits(n) {
			continue
		}
		if p, ok := m.port(n, filepath.Join(m.dev, "input")); ok {
			p.Kind = KindKeyboard
			if name := m.fact(filepath.Join(m.sys, "class", "input", n.name, "device"), "name"); name != "" {
				p.Text = name
			}
			out = append(out, p)
		}
	}
	return out
}

// port describes a device; false when it has no file.
func (m machine) port(n node, links string) (Info, bool) {
	path := m.path(n)
	if _, err := os.Stat(path); err != nil {
		return Info{}, false
	}
	id := m.identify(n)
	p := Info{
		Kind: KindSerial, Device: path,
		ByID: m.link(filepath.Join(links, "by-id"), n), ByPath: m.link(filepath.Join(links, "by-path"), n),
		Vendor: id.vendor, Product: id.product, Serial: id.serial, Text: id.text,
	}
	p.Name = p.Device
	if p.ByPath != "" {
		p.Name = p.ByPath
	}
	if p.Twins = len(m.twins(n.class, id)); p.ByID != "" && p.Twins == 0 {
		p.Name = p.ByID
	}
	p.Console = slices.Contains(strings.Fields(m.fact(filepath.Join(m.sys, "class", "tty", "console"), "active")), n.name)
	if unix.Access(path, unix.R_OK|unix.W_OK) != nil {
		p.Problem = "this user may not open it; " + m.remedy(path)
	}
	return p, true
}

// link finds the link in dir that leads to the device.
func (m machine) link(dir string, n node) string {
	entries, _ := os.ReadDir(dir) // no such folder: no links
	for _, e := range entries {
		name := filepath.Join(dir, e.Name())
		if to, ok := m.node(name); ok && to == n {
			return name
		}
	}
	return ""
}

// typesDigits tells input devices that have the digits and Enter: the lowest
// word of the kernel's bit field holds the key codes 2 to 11 and 28.
func (m machine) typesDigits(n node) bool {
	words := strings.Fields(m.fact(filepath.Join(m.sys, "class", "input", n.name, "device", "capabilities"), "key"))
	if len(words) == 0 {
		return false
	}
	low, err := strconv.ParseUint(words[len(words)-1], 16, 64)
	const wanted = 0x3FF<<2 | 1<<keyEnter
	return err == nil && low&wanted == wanted
}
