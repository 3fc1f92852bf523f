package main

import (
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"time"

	"golang.org/x/sys/unix"
)

// machine is the computer that the agent runs on, as the kernel's files under root
// tell of it ("/" but in tests). What a computer does not tell is left out: only
// the boards of the Raspberry Pi tell of their supply, and containers of nothing.
type machine struct{ root string }

// machineState is how the computer stands.
type machineState struct {
	Model       string   `json:"model,omitempty"`
	Kernel      string   `json:"kernel,omitempty"`
	Up          *float64 `json:"up_seconds,omitempty"`
	Temperature *float64 `json:"celsius,omitempty"`
	LowVoltage  *bool    `json:"under_voltage,omitempty"` // now
	Throttled   *bool    `json:"throttled,omitempty"`     // now, for heat or voltage
	WasLow      *bool    `json:"under_voltage_seen,omitempty"`
	Load        *float64 `json:"load_1m,omitempty"`
	Available   *int64   `json:"memory_available_bytes,omitempty"`
}

func (m machine) read(name string) (string, bool) {
	b, err := os.ReadFile(filepath.Join(m.root, name))
	return strings.Trim(string(b), "\x00 \n"), err == nil
}

// first is the first number of a file; nil: there is none.
func (m machine) first(name string) *float64 {
	text, _ := m.read(name)
	word, _, _ := strings.Cut(text, " ")
	n, err := strconv.ParseFloat(word, 64)
	if err != nil {
		return nil
	}
	return &n
}

// state reads what there is.
func (m machine) state() (s machineState) {
	if model, ok := m.read("sys/firmware/devicetree/base/model"); ok {
		s.Model = model
	}
	if kernel, ok := m.read("proc/sys/kernel/osrelease"); ok {
		s.Kernel = kernel
	}
	if text, ok := m.read("sys/class/thermal/thermal_zone0/temp"); ok {
		if n, err := strconv.Atoi(text); err == nil {
			celsius := float64(n) / 1000
			s.Temperature = &celsius
		}
	}
	s.Up, s.Load = m.first("proc/uptime"), m.first("proc/loadavg")
	if text, ok := m.read("proc/meminfo"); ok {
		if n, ok := kilobytes(text, "MemAvailable:"); ok {
			s.Available = &n
		}
	}
	m.supply(&s)
	return s
}

// supply reads how the board's supply stands: the alarm of the hwmon device
// rpi_volt, and the firmware's bits (0 under-voltage now, 2 throttled now, 16
// under-voltage since the start). Names and bits from memory; no board was at hand.
func (m machine) supply(s *machineState) {
	names, _ := filepath.Glob(filepath.Join(m.root, "sys/class/hwmon/hwmon*/name")) // the pattern is good
	for _, name := range names {
		if b, err := os.ReadFile(name); err != nil || strings.TrimSpace(string(b)) != "rpi_volt" {
			continue
		}
		if b, err := os.ReadFile(filepath.Join(filepath.Dir(name), "in0_lcrit_alarm")); err == nil {
			low := strings.TrimSpace(string(b)) == "1"
			s.LowVoltage = &low
		}
	}
	if text, ok := m.read("sys/devices/platform/soc/soc:firmware/get_throttled"); ok {
		if bits, err := strconv.ParseUint(strings.TrimPrefix(text, "0x"), 16, 32); err == nil {
			low, slow, was := bits&1 != 0, bits&4 != 0, bits&(1<<16) != 0
			s.LowVoltage, s.Throttled, s.WasLow = &low, &slow, &was
		}
	}
}

// kilobytes finds a line such as "VmRSS:  1234 kB", in bytes.
func kilobytes(text, name string) (int64, bool) {
	for line := range strings.Lines(text) {
		if rest, ok := strings.CutPrefix(line, name); ok {
			n, err := strconv.ParseInt(strings.TrimSuffix(strings.TrimSpace(rest), " kB"), 10, 64)
			return n << 10, err == nil
		}
	}
	return 0, false
}

// roomAt is what is free for the agent's user where a file lies, and how much there
// is in all, in bytes.
func roomAt(path string) (free, all int64, err error) {
	var st unix.Statfs_t
	if err := unix.Statfs(filepath.Dir(path), &st); err != nil {
		return 0, 0, err
	}
	size := int64(st.Bsize)
	return int64(st.Bavail) * size, int64(st.Blocks) * size, nil
}

// process is this process, as the kernel tells of it.
type process struct {
	rss      int64
	files    int
	mostOpen uint64
	cpu      time.Duration
}

func (m machine) process() (p process) {
	if text, ok := m.read("proc/self/status"); ok {
		p.rss, _ = kilobytes(text, "VmRSS:")
	}
	if names, err := os.ReadDir(filepath.Join(m.root, "proc/self/fd")); err == nil {
		p.files = len(names)
	}
	var limit unix.Rlimit
	if unix.Getrlimit(unix.RLIMIT_NOFILE, &limit) == nil {
		p.mostOpen = limit.Cur
	}
	var use unix.Rusage
	if unix.Getrusage(unix.RUSAGE_SELF, &use) == nil {
		p.cpu = time.Duration(use.Utime.Nano() + use.Stime.Nano())
	}
	return p
}
