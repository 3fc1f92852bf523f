package port

import (
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
)

// finder finds the port, again and again, whatever name it comes back under.
type finder struct {
	m    machine
	name string   // as configured
	id   identity // of the device opened last
	twin bool     // another of its kind was plugged in at the same time
}

// find gives the device file to open now. A link or a pattern is followed anew
// each time. A plain device name means the device that was first opened under
// it: when that is found elsewhere it is taken there.
//
// Of two adapters that differ in nothing but their socket, a name by id leads to
// the one or to the other, as it happens. Neither is taken for the other: where it
// is not known which is meant, that is an error.
func (f *finder) find() (string, error) {
	if strings.ContainsAny(f.name, "*?[") {
		return f.match()
	}
	n, known := f.m.node(f.name)
	var id identity
	if known {
		id = f.m.identify(n)
	}
	plain := filepath.Clean(f.name) == f.m.path(node{f.class(), filepath.Base(f.name)})
	switch by := filepath.Base(filepath.Dir(f.name)); {
	case by == "by-path", known && f.id.here(id): // the socket is what counts, and it is the same
	case f.id.vendor == "":
		if twins := f.m.twins(f.class(), id); by == "by-id" && len(twins) > 0 {
			return "", fmt.Errorf("the name %s fits %d adapters of one kind: name one of them by its socket: %s",
				f.name, len(twins)+1, f.m.sockets(append(twins, n)))
		}
	case plain || f.id.same(id):
		path, ok := f.elsewhere()
		if ok {
			return path, nil
		}
		if f.id.same(id) && f.twin {
			return "", fmt.Errorf("%s is another adapter of the same kind than before: plug the right one into its socket again (%s), or name this one by its socket: %s",
				f.name, f.id.socket, f.m.sockets([]node{n}))
		}
	}
	if _, err := os.Stat(f.name); err != nil {
		return "", err
	}
	return f.name, nil
}

// opened remembers which device stands behind the name.
func (f *finder) opened(path string) {
	if n, ok := f.m.node(path); ok {
		f.id = f.m.identify(n)
		f.twin = len(f.m.twins(n.class, f.id)) > 0
	}
}

// lost looks for others of the device's kind as it goes away, when nobody has had the
// time to move it to another socket.
func (f *finder) lost() {
	f.twin = f.twin || f.id.serial == "" && len(f.m.twins(f.class(), f.id)) > 0
}

// twins are the devices that differ from one in nothing but the socket.
func (m machine) twins(class string, id identity) []node {
	var found []node
	for _, n := range m.nodes(class) {
		if other := m.identify(n); id.same(other) && !id.here(other) {
			found = append(found, n)
		}
	}
	return found
}

// sockets names devices by their sockets, where there is such a name.
func (m machine) sockets(nodes []node) string {
	var names []string
	for _, n := range nodes {
		folder := "serial"
		if n.class == "input" {
			folder = "input"
		}
		name := m.link(filepath.Join(m.dev, folder, "by-path"), n)
		if name == "" {
			name = m.path(n)
		}
		names = append(names, name)
	}
	slices.Sort(names)
	return strings.Join(names, ", ")
}

func (f *finder) class() string {
	if f.m.isInput(f.name) {
		return "input"
	}
	return "tty"
}

// match follows a pattern, which must fit one device.
func (f *finder) match() (string, error) {
	paths, err := filepath.Glob(f.name)
	if err != nil {
		return "", fmt.Errorf("port pattern %q: %w", f.name, err)
	}
	devices := map[string]bool{}
	for _, path := range paths {
		if real, err := filepath.EvalSymlinks(path); err == nil {
			devices[real] = true
		}
	}
	switch len(devices) {
	case 0:
		return "", fs.ErrNotExist
	case 1:
		return paths[0], nil
	default:
		return "", fmt.Errorf("the pattern %s fits %d devices (%s): name one of them", f.name, len(devices), strings.Join(paths, ", "))
	}
}

// elsewhere looks for the remembered device under other names: in the same USB
// socket, or, if it always was, the only one of its kind.
func (f *finder) elsewhere() (string, bool) {
	var found []node
	for _, n := range f.m.nodes(f.class()) {
		id := f.m.identify(n)
		if !f.id.same(id) {
			continue
		}
		if _, err := os.Stat(f.m.path(n)); err != nil {
			continue
		}
		if f.id.here(id) {
			return f.m.path(n), true
		}
		found = append(found, n)
	}
	if len(found) == 1 && !f.twin {
		return f.m.path(found[0]), true
	}
	return "", false
}
