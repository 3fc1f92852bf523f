package port

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"os/user"
	"strconv"
	"strings"
	"syscall"

	"golang.org/x/sys/unix"
)

// absent says that nothing is there and what is there instead.
func (m machine) absent(of, name string) error {
	var names []string
	for _, p := range m.ports() {
		if p.Kind == KindSerial || m.isInput(name) {
			names = append(names, p.Name)
		}
	}
	if len(names) == 0 {
		return fmt.Errorf("%s is not there, and no other port is: %w; plug the %s's cable in", name, fs.ErrNotExist, of)
	}
	return fmt.Errorf("%s is not there: %w; plug the %s's cable in, or name one of the ports that are: %s", name, fs.ErrNotExist, of, strings.Join(names, ", "))
}

// trouble says what to do about an error of finding or opening the port of a device.
func (m machine) trouble(of, path string, err error) error {
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return m.absent(of, path)
	case errors.Is(err, fs.ErrPermission):
		return fmt.Errorf("open %s: %w; %s", path, err, m.remedy(path))
	case errors.Is(err, unix.EBUSY):
		return fmt.Errorf("open %s: another program has it: %w; %s", path, err, m.holder(path, err))
	case errors.Is(err, unix.ENODEV) || errors.Is(err, unix.ENXIO) || errors.Is(err, unix.EIO):
		return fmt.Errorf("open %s: the device does not answer: %w; pull its cable and plug it in again", path, err)
	default:
		return fmt.Errorf("open %s: %w", path, err)
	}
}

// remedy names the group that may open the device.
func (m machine) remedy(path string) string {
	group := "dialout"
	if m.isInput(path) {
		group = "input"
	}
	if info, err := os.Stat(path); err == nil {
		if st, ok := info.Sys().(*syscall.Stat_t); ok {
			switch {
			case info.Mode().Perm()&0o060 != 0o060 || st.Gid == 0:
				return fmt.Sprintf("no group may use it: install the udev rule that gives it to the group %s, then plug it in again", group)
			default:
				if g, err := user.LookupGroupId(strconv.FormatUint(uint64(st.Gid), 10)); err == nil {
					group = g.Name
				}
			}
		}
	}
	return fmt.Sprintf("put the user in its group: sudo usermod -aG %s %s, then log in again or restart the service", group, me())
}

func me() string {
	if u, err := user.Current(); err == nil {
		return u.Username
	}
	return "USER"
}
