package main

import (
	"bytes"
	"fmt"
	"os"
	"os/exec"
	"runtime"
	"strconv"
	"strings"
	"time"
)

// tick is the unit of CPU times in /proc, 1/100 s on Linux (proc(5), sysconf(3)).
const tick = 10 * time.Millisecond

// usage is what a process has used and holds.
type usage struct {
	resident, anonymous float64 // MB, of 1,000,000 bytes
	cpu                 time.Duration
	switches            int // voluntary, of all threads
}

func usageOf(pid int) (usage, error) {
	var u usage
	status, err := os.ReadFile(fmt.Sprintf("/proc/%d/status", pid))
	if err != nil {
		return u, err
	}
	u.resident, u.anonymous = field(status, "VmRSS:")*1024/1e6, field(status, "RssAnon:")*1024/1e6
	stat, err := os.ReadFile(fmt.Sprintf("/proc/%d/stat", pid))
	if err != nil {
		return u, err
	}
	// Behind the name, which may hold anything, utime and stime are the 12th and 13th.
	rest := bytes.Fields(stat[bytes.LastIndexByte(stat, ')')+1:])
	for _, word := range rest[11:13] {
		n, err := strconv.Atoi(string(word))
		if err != nil {
			return u, err
		}
		u.cpu += time.Duration(n) * tick
	}
	threads, err := os.ReadDir(fmt.Sprintf("/proc/%d/task", pid))
	if err != nil {
		return u, err
	}
	for _, thread := range threads {
		status, err := os.ReadFile(fmt.Sprintf("/proc/%d/task/%s/status", pid, thread.Name()))
		if err == nil { // else the thread has just ended
			u.switches += int(field(status, "voluntary_ctxt_switches:"))
		}
	}
	return u, nil
}

// field is a number of a status file in /proc.
func field(status []byte, name string) float64 {
	for line := range bytes.Lines(status) {
		if rest, ok := bytes.CutPrefix(line, []byte(name)); ok {
			n, _ := strconv.ParseFloat(string(bytes.Fields(rest)[0]), 64) // the kernel writes numbers
			return n
		}
	}
	return 0
}

func loadAverage() string {
	b, err := os.ReadFile("/proc/loadavg")
	if err != nil {
		return "unknown"
	}
	return strings.Fields(string(b))[0]
}

// machine is what the figures were measured on.
func machine() string {
	model := "processor unknown"
	if b, err := os.ReadFile("/proc/cpuinfo"); err == nil {
		for line := range strings.Lines(string(b)) {
			if name, value, ok := strings.Cut(line, ":"); ok && (strings.TrimSpace(name) == "model name" || strings.TrimSpace(name) == "Model") {
				model = strings.TrimSpace(value)
			}
		}
	}
	kernel, err := os.ReadFile("/proc/sys/kernel/osrelease")
	if err != nil {
		kernel = []byte("unknown")
	}
	return fmt.Sprintf("%s, %d × %s, Linux %s", runtime.GOARCH, runtime.NumCPU(), model, bytes.TrimSpace(kernel))
}

// fileSystem is the kind that a folder lies on.
func fileSystem(dir string) string {
	out, err := exec.Command("stat", "-f", "-c", "%T", dir).Output()
	if err != nil {
		return "file system unknown"
	}
	return string(bytes.TrimSpace(out))
}
