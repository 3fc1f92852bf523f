package store

import (
	"bytes"
	"fmt"
	"os"
	"strconv"
	"strings"
	"syscall"
)

// holder says which process has the file at path locked, such as "process 412,
// benchtally run"; "" when that cannot be told. Form of the list: proc(5), /proc/locks.
func holder(path string) string {
	var st syscall.Stat_t
	if err := syscall.Stat(path, &st); err != nil {
		return ""
	}
	locks, err := os.ReadFile("/proc/locks")
	if err != nil {
		return ""
	}
	return holderIn(string(locks), st.Ino, func(pid int) string {
		line, err := os.ReadFile(fmt.Sprintf("/proc/%d/cmdline", pid))
		if err != nil {
			return ""
		}
		return string(bytes.TrimRight(line, "\x00"))
	})
}

// holderIn looks for the lock of a file in a list of locks. The device is not compared:
// some file systems show another one there.
func holderIn(locks string, inode uint64, command func(pid int) string) string {
	for line := range strings.Lines(locks) {
		f := strings.Fields(line)
		if len(f) < 6 || f[1] != "FLOCK" || !strings.HasSuffix(f[5], ":"+strconv.FormatUint(inode, 10)) {
			continue
		}
		pid, err := strconv.Atoi(f[4])
		if err != nil || pid <= 0 {
			continue
		}
		words := strings.Split(command(pid), "\x00")
		if words[0] == "" {
			return fmt.Sprintf("process %d", pid)
		}
		words[0] = words[0][strings.LastIndexByte(words[0], '/')+1:]
		return fmt.Sprintf("process %d, %s", pid, strings.Join(words[:min(2, len(words))], " "))
	}
	return ""
}
