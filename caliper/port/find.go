package port

import (
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
)

// finder finds the port, again and again, whatever name it comes back under.
type finder struct {
	m    machine
	name string   // as configured
	id   identity // of the device opened last, for plain device names
}

// find gives the device file to open now. A link or a pattern is followed anew
// each time. A plain device name means the device that was first opened under
// it: when that is found elsewhere it is taken there.
func (f *finder) find() (string, error) {
	if strings.ContainsAny(f.name, "*?[") {
		return f.match()
	}
	n, known := f.m.node(f.name)
	plain := filepath.Clean(f.name) == f.m.path(node{f.class(), filepath.Base(f.name)})
	if plain && f.id.vendor != "" && !(known && f.id.here(f.m.identify(n))) {
		if path, ok := f.elsewhere(); ok {
			return path, nil
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
	}
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
// socket, or the only one of its kind.
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
	if len(found) == 1 {
		return f.m.path(found[0]), true
	}
	return "", false
}
