package main

import (
	"bufio"
	"bytes"
	"encoding/json"
	"fmt"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"benchtally/agent/record"
	"benchtally/store"
)

// manager does for one process what a service manager does with Type=notify and a
// watchdog: it hears what the process tells, and ends one that it has not heard
// from for the limit, first with SIGABRT and SIGCONT (systemd.kill(5)).
type manager struct {
	t      *testing.T
	socket *net.UnixConn
	cmd    *exec.Cmd
	limit  time.Duration
	stdin  *bufio.Writer
	out    chan record.Record
	errs   bytes.Buffer // the process's own words, whole once exited is closed
	ready  chan struct{}
	fed    chan struct{} // each time it was fed
	killed chan struct{} // closed when the limit was passed
	exited chan struct{}

	mu       sync.Mutex
	statuses []string
}

// supervise starts the agent under a manager.
func supervise(t *testing.T, config string, limit time.Duration) *manager {
	t.Helper()
	path := filepath.Join(t.TempDir(), "notify")
	socket, err := net.ListenUnixgram("unixgram", &net.UnixAddr{Name: path, Net: "unixgram"})
	if err != nil {
		t.Fatal(err)
	}
	m := &manager{
		t: t, socket: socket, limit: limit, cmd: program(t, "run", "--config", config, "--inputs", "-"), out: make(chan record.Record, 256),
		ready: make(chan struct{}), fed: make(chan struct{}, 1024), killed: make(chan struct{}), exited: make(chan struct{}),
	}
	m.cmd.Env = append(m.cmd.Env, "NOTIFY_SOCKET="+path, fmt.Sprintf("WATCHDOG_USEC=%d", limit.Microseconds()))
	m.cmd.Stderr = &m.errs
	stdin, err := m.cmd.StdinPipe()
	if err != nil {
		t.Fatal(err)
	}
	m.stdin = bufio.NewWriter(stdin)
	stdout, err := m.cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := m.cmd.Start(); err != nil {
		t.Fatal(err)
	}
	go func() {
		lines := bufio.NewScanner(stdout)
		for lines.Scan() {
			var r record.Record
			if err := json.Unmarshal(lines.Bytes(), &r); err != nil {
				t.Errorf("%s: %v", lines.Text(), err)
			}
			m.out <- r
		}
		_ = m.cmd.Wait() // how it ends is looked at below
		close(m.out)
		close(m.exited)
		_ = socket.Close()
	}()
	go m.hear()
	t.Cleanup(func() { _ = m.cmd.Process.Kill(); <-m.exited })
	return m
}

// hear takes in what the process tells, until its socket is closed.
func (m *manager) hear() {
	b := make([]byte, 4096)
	var due time.Time // zero: the watchdog is not armed
	for {
		_ = m.socket.SetReadDeadline(due)
		n, err := m.socket.Read(b)
		if e, ok := err.(net.Error); ok && e.Timeout() {
			close(m.killed)
			_ = m.cmd.Process.Signal(syscall.SIGABRT)
			_ = m.cmd.Process.Signal(syscall.SIGCONT)
			return
		}
		if err != nil {
			return
		}
		for state := range strings.Lines(string(b[:n])) {
			name, value, _ := strings.Cut(strings.TrimSpace(state), "=")
			switch name {
			case "READY":
				due = time.Now().Add(m.limit)
				close(m.ready)
			case "WATCHDOG":
				due = time.Now().Add(m.limit)
				m.fed <- struct{}{}
			case "STOPPING":
				due = time.Time{}
			case "STATUS":
				m.mu.Lock()
				m.statuses = append(m.statuses, value)
				m.mu.Unlock()
			}
		}
	}
}

// TestStoppedAgentIsEndedAndStartsAnew: a process that stands still is fed for no
// more; the manager ends it, what it says at its end names its goroutines, and
// nothing that it has printed is lost to the one that is started in its place.
func TestStoppedAgentIsEndedAndStartsAnew(t *testing.T) {
	dir, config := shop(t, "")
	wait := func(what string, c <-chan struct{}) {
		t.Helper()
		select {
		case <-c:
		case <-time.After(patience):
			t.Fatalf("waited in vain: %s", what)
		}
	}
	say := func(m *manager, line string) {
		t.Helper()
		if _, err := m.stdin.WriteString(line + "\n"); err != nil {
			t.Fatal(err)
		}
		if err := m.stdin.Flush(); err != nil {
			t.Fatal(err)
		}
	}
	m := supervise(t, config, 3*time.Second)
	wait("ready", m.ready)
	say(m, `{"do":"start","order":"A-1001","spec":"hs-08","quantity":6,"setting":120}`)
	var last record.Record
	for r := range m.out {
		if last = r; r.Kind == record.Start {
			break
		}
	}
	for range 3 {
		wait("fed", m.fed)
	}
	if err := m.cmd.Process.Signal(syscall.SIGSTOP); err != nil {
		t.Fatal(err)
	}
	wait("ended for being silent", m.killed)
	wait("ended", m.exited)
	if got := m.cmd.ProcessState.String(); !strings.Contains(got, "exit status 2") { // as the runtime ends at SIGABRT
		t.Errorf("it ended with %s", got)
	}
	for _, want := range []string{"SIGABRT: abort", "(*bench).run", "(*watchdog).run"} {
		if !strings.Contains(m.errs.String(), want) {
			t.Errorf("its last words have no %q:\n%s", want, m.errs.String())
		}
	}
	m.mu.Lock()
	if len(m.statuses) == 0 || !strings.Contains(strings.Join(m.statuses, "\n"), "north-bench: order A-1001, 0 of 6 pieces crimped") {
		t.Errorf("statuses %q", m.statuses)
	}
	m.mu.Unlock()

	again := supervise(t, config, 10*time.Second)
	wait("ready again", again.ready)
	say(again, `{"do":"finish"}`)
	if r := <-again.out; r.Seq != last.Seq+1 {
		t.Errorf("goes on with %+v behind %d", r, last.Seq)
	}
	if err := again.cmd.Process.Signal(os.Interrupt); err != nil {
		t.Fatal(err)
	}
	wait("stopped", again.exited)
	if report, err := store.Verify(filepath.Join(dir, "bench.db")); err != nil || len(report.Damage) > 0 {
		t.Errorf("%+v, %v", report, err)
	}
}
