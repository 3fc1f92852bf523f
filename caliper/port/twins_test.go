package port

import (
	"path/filepath"
	"strings"
	"testing"
)

// byPath names a device of the tree by its socket.
func (tr tree) byPath(name, socket string) string {
	link := filepath.Join(tr.dev, "serial", "by-path", "platform-usb-0:"+socket+":1.0-port0")
	tr.link(filepath.Join(tr.dev, name), link)
	return link
}

// Of two adapters without a serial number the name by id leads to either. It is
// refused from the first, with the names that tell them apart.
func TestTwinsByID(t *testing.T) {
	tr := newTree(t)
	_, one := terminal(t)
	_, two := terminal(t)
	tr.usb("ttyUSB0", "1-1", "", one)
	tr.usb("ttyUSB1", "1-2", "", two)
	byPath := []string{tr.byPath("ttyUSB0", "1-1"), tr.byPath("ttyUSB1", "1-2")}
	id := filepath.Join(tr.dev, "serial", "by-id", "usb-Serial_Adapter-if00-port0")
	tr.link(filepath.Join(tr.dev, "ttyUSB1"), id)
	u := runLink(t, tr.machine, Port{Name: id})
	want := "fits 2 adapters of one kind: name one of them by its socket: " + byPath[0] + ", " + byPath[1]
	if got := u.want("away "); !strings.Contains(got, want) {
		t.Errorf("%s\nwant %s", got, want)
	}
	for _, p := range tr.ports() {
		if p.Twins != 1 || p.Name != p.ByPath || p.ByPath == "" {
			t.Errorf("%+v: want it named by its socket", p)
		}
	}
	// With only one of them left there is no doubt.
	tr.unplug("ttyUSB0", "1-1")
	u.want("back " + id)
}

// By its socket each is found, whatever the kernel calls it.
func TestTwinsByPath(t *testing.T) {
	tr := newTree(t)
	master, slave := terminal(t)
	_, other := terminal(t)
	tr.usb("ttyUSB0", "1-1", "", slave)
	tr.usb("ttyUSB1", "1-2", "", other)
	name := tr.byPath("ttyUSB0", "1-1")
	u := runLink(t, tr.machine, Port{Name: name})
	write(t, master, "one\r\n")
	u.want("line one")
	tr.unplug("ttyUSB0", "1-1")
	tr.unplug("ttyUSB1", "1-2")
	tr.remove(name)
	if err := master.Close(); err != nil {
		t.Fatal(err)
	}
	u.want("away ")
	tr.usb("ttyUSB0", "1-2", "", other) // they come back the other way round
	master, slave = terminal(t)
	tr.usb("ttyUSB1", "1-1", "", slave)
	tr.byPath("ttyUSB1", "1-1")
	for { // that it is not there may have been told besides
		if got := <-u.told; strings.HasPrefix(got, "back ") {
			break
		}
	}
	write(t, master, "two\r\n")
	u.want("line two")
}

// The twin of an adapter that was pulled out is not taken in its place, whether the
// name leads to it or not.
func TestTwinIsNotTaken(t *testing.T) {
	for _, row := range []struct {
		name string
		link bool // a link as udev makes it, which is led to the one that is left
	}{
		{"a plain name", false},
		{"a link", true},
	} {
		t.Run(row.name, func(t *testing.T) {
			tr := newTree(t)
			master, slave := terminal(t)
			twin, other := terminal(t)
			tr.usb("ttyUSB0", "1-1", "", slave)
			name := filepath.Join(tr.dev, "ttyUSB0")
			if row.link {
				name = filepath.Join(tr.dev, "caliper0")
				tr.link(filepath.Join(tr.dev, "ttyUSB0"), name)
			}
			u := runLink(t, tr.machine, Port{Name: name})
			write(t, master, "one\r\n")
			u.want("line one")
			tr.usb("ttyUSB1", "1-2", "", other) // plugged in while the first is read
			tr.unplug("ttyUSB0", "1-1")
			if row.link {
				tr.link(filepath.Join(tr.dev, "ttyUSB1"), name)
			}
			if err := master.Close(); err != nil {
				t.Fatal(err)
			}
			u.want("away ")
			if row.link {
				got := u.want("away ") // another reason, told once it is sure
				if !strings.Contains(got, "another adapter of the same kind than before") || !strings.Contains(got, "(1-1)") {
					t.Errorf("%s", got)
				}
			}
			write(t, twin, "not ours\r\n")
			again, slave := terminal(t)
			tr.usb("ttyUSB2", "1-1", "", slave)
			if got := u.want("back "); !strings.Contains(got, "ttyUSB2") {
				t.Errorf("%s", got)
			}
			write(t, again, "two\r\n")
			u.want("line two")
		})
	}
}

// An adapter that is the only one of its kind may move to another socket.
func TestMovedToAnotherSocket(t *testing.T) {
	tr := newTree(t)
	master, slave := terminal(t)
	tr.usb("ttyUSB0", "1-1", "", slave)
	u := runLink(t, tr.machine, Port{Name: filepath.Join(tr.dev, "ttyUSB0")})
	write(t, master, "one\r\n")
	u.want("line one")
	tr.unplug("ttyUSB0", "1-1")
	if err := master.Close(); err != nil {
		t.Fatal(err)
	}
	u.want("away ")
	master, slave = terminal(t)
	tr.usb("ttyUSB1", "1-4", "", slave)
	for {
		if got := <-u.told; strings.HasPrefix(got, "back ") {
			if !strings.Contains(got, "ttyUSB1") {
				t.Errorf("%s", got)
			}
			break
		}
	}
	write(t, master, "two\r\n")
	u.want("line two")
}
