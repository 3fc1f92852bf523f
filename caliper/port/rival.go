package port

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"strings"

	"golang.org/x/sys/unix"
)

// Two programs that read one port take the bytes away from each other, and what is
// left over of a number may be another number. So a port that another program has
// open is not read: it counts as away until that program lets go.

// program is one that has a device open.
type program struct{ pid, name string }

// rivalError says which program has the device, as far as this user may see.
type rivalError struct{ by program }

func (e rivalError) Error() string { return unix.EBUSY.Error() }
func (e rivalError) Unwrap() error { return unix.EBUSY }

// claim makes sure that nobody else reads the device, and tells those who ask for
// locks that it is taken. Close the file that it returns after the device.
//
// It sees programs of this user, all of them as root, and those of others that took
// the device for themselves (TIOCEXCL) or locked it (flock, a file LCK..NAME).
func (m machine) claim(path string) (*os.File, error) {
	if by, taken := m.rival(path); taken {
		return nil, rivalError{by}
	}
	fd, err := unix.Open(path, unix.O_RDWR|unix.O_NOCTTY|unix.O_NONBLOCK|unix.O_CLOEXEC, 0)
	if err != nil {
		return nil, &os.PathError{Op: "open", Path: path, Err: err}
	}
	if err := unix.SetNonblock(fd, false); err != nil { // or each byte would wake the runtime
		return nil, errors.Join(&os.PathError{Op: "open", Path: path, Err: err}, unix.Close(fd))
	}
	f := os.NewFile(uintptr(fd), path)
	if err := unix.Flock(fd, unix.LOCK_EX|unix.LOCK_NB); errors.Is(err, unix.EWOULDBLOCK) {
		return nil, errors.Join(rivalError{m.locker(path)}, f.Close())
	}
	return f, nil // a device that knows no locks is read all the same
}

// rival finds a program that has the device open: by the descriptors of those that
// this user may look into, and by the lock file of those that write one.
func (m machine) rival(path string) (program, bool) {
	real := path
	if r, err := filepath.EvalSymlinks(path); err == nil {
		real = r
	}
	self := strconv.Itoa(os.Getpid())
	fds, _ := filepath.Glob(filepath.Join(m.proc, "[0-9]*", "fd", "*")) // a bad pattern cannot be
	for _, fd := range fds {
		if target, err := os.Readlink(fd); err != nil || target != real {
			continue
		}
		if p := m.program(filepath.Base(filepath.Dir(filepath.Dir(fd)))); p.pid != self {
			return p, true
		}
	}
	// UUCP lock files hold a process number in ASCII (FHS 3.0, 5.9). One whose
	// process is gone was left behind.
	pid := m.fact(m.locks, "LCK.."+filepath.Base(real))
	if n, err := strconv.Atoi(pid); err != nil || n <= 0 || pid == self {
		return program{}, false
	}
	p := m.program(pid)
	return p, p.name != ""
}

// locker is the program that has locked the device's file (proc_locks(5)), as far
// as the kernel tells.
func (m machine) locker(path string) program {
	var st unix.Stat_t
	if err := unix.Stat(path, &st); err != nil {
		return program{}
	}
	want := fmt.Sprintf("%02x:%02x:%d", unix.Major(st.Dev), unix.Minor(st.Dev), st.Ino)
	list, err := os.ReadFile(filepath.Join(m.proc, "locks"))
	if err != nil {
		return program{}
	}
	for line := range strings.Lines(string(list)) {
		if f := strings.Fields(line); len(f) > 5 && f[1] == "FLOCK" && f[5] == want {
			return m.program(f[4])
		}
	}
	return program{}
}

// program is the one of a process number; without a name when it is gone.
func (m machine) program(pid string) program {
	return program{pid, m.fact(filepath.Join(m.proc, pid), "comm")}
}

// holder says which program to end.
func (m machine) holder(path string, err error) string {
	var known rivalError
	by := program{}
	if errors.As(err, &known) {
		by = known.by
	} else {
		by, _ = m.rival(path)
	}
	switch {
	case by.pid == strconv.Itoa(os.Getpid()):
		return "this program has it already: give caliper and scanner a port each"
	case by.name != "":
		return fmt.Sprintf("end the program %s, process %s", by.name, by.pid)
	}
	if r, err := filepath.EvalSymlinks(path); err == nil {
		path = r
	}
	return fmt.Sprintf("end that program; `sudo fuser %s` names it", path)
}
