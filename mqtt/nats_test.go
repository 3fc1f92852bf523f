package mqtt

import (
	"bytes"
	"fmt"
	"net"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"
)

// nats is a NATS server with JetStream and MQTT, of its own process.
type nats struct {
	t       testing.TB
	dir     string
	config  string   // but for its listeners
	pending int      // most messages that a subscriber has not acknowledged; 0 as the server has it
	mqtt    string   // address
	monitor string   // address
	within  []string // command that runs it elsewhere; nil here
	process *exec.Cmd
}

// natsServer builds the server that go.mod names as a tool.
var natsServer = sync.OnceValues(func() (string, error) {
	out, err := exec.Command("go", "tool", "-n", "nats-server").Output()
	if err != nil {
		if failed, ok := err.(*exec.ExitError); ok {
			err = fmt.Errorf("%w: %s", err, bytes.TrimSpace(failed.Stderr))
		}
		return "", fmt.Errorf("build nats-server: %w", err)
	}
	return strings.TrimSpace(string(out)), nil
})

// newNATS is a server that has not yet begun, with more lines for its
// configuration and for the part of it that says how it stores. Where the server cannot be built the test is
// skipped, or fails where the variable CI is set.
func newNATS(t testing.TB, name, store, config string) *nats {
	t.Helper()
	if testing.Short() {
		t.Skip("starting NATS takes its time")
	}
	if _, err := natsServer(); err != nil {
		if os.Getenv("CI") != "" {
			t.Fatal(err)
		}
		t.Skip(err)
	}
	n := &nats{t: t, dir: t.TempDir(), mqtt: freePort(t), monitor: freePort(t)}
	if !strings.Contains(store, "store_dir") {
		store += "\nstore_dir: " + strconv.Quote(n.dir)
	}
	n.config = fmt.Sprintf("server_name: %s\nlisten: \"127.0.0.1:-1\"\njetstream {\n%s\n}\n%s\n", name, store, config)
	t.Cleanup(n.kill)
	return n
}

// start starts the process.
func (n *nats) start() {
	n.t.Helper()
	server, err := natsServer()
	if err != nil {
		n.t.Fatal(err)
	}
	mqtt := fmt.Sprintf("listen: %q, ack_wait: 2s", n.mqtt) // stock 30 s, too long for a test
	if n.pending != 0 {
		mqtt += fmt.Sprintf(", max_ack_pending: %d", n.pending)
	}
	put(n.t, n.dir, "nats.conf", fmt.Appendf(nil, "%s\nhttp: %q\nmqtt { %s }\n", n.config, n.monitor, mqtt))
	command := append(slices.Clone(n.within), server, "-c", filepath.Join(n.dir, "nats.conf"), "-l", filepath.Join(n.dir, "nats.log"))
	n.process = exec.Command(command[0], command[1:]...)
	if err := n.process.Start(); err != nil {
		n.t.Fatal(err)
	}
}

// ready waits until the server listens for MQTT.
func (n *nats) ready() {
	n.t.Helper()
	until(n.t, "NATS listens", func() bool {
		conn, err := net.Dial("tcp", n.mqtt)
		if err == nil {
			_ = conn.Close()
		}
		return err == nil
	})
}

// healthy waits until the server says that it is, its storing included.
func (n *nats) healthy() {
	n.t.Helper()
	within(n.t, electing, "NATS is healthy", func() bool {
		time.Sleep(50 * time.Millisecond) // it logs each question
		answer, err := http.Get("http://" + n.monitor + "/healthz")
		if err != nil {
			return false
		}
		_ = answer.Body.Close()
		return answer.StatusCode == http.StatusOK
	})
}

// kill ends the process as a power cut would.
func (n *nats) kill() {
	if n.process != nil {
		_ = n.process.Process.Kill()
		_ = n.process.Wait()
		n.process = nil
	}
}

// signal sends one to the process.
func (n *nats) signal(s syscall.Signal) {
	n.t.Helper()
	if err := n.process.Process.Signal(s); err != nil {
		n.t.Fatal(err)
	}
}

// faults is what the server has said of what goes wrong.
func (n *nats) faults() string {
	b, err := os.ReadFile(filepath.Join(n.dir, "nats.log"))
	if err != nil {
		return err.Error()
	}
	var lines []string
	for line := range strings.Lines(string(b)) {
		if strings.Contains(line, "to connect to route") || strings.Contains(line, "Healthcheck") {
			continue
		}
		if strings.Contains(line, "[ERR]") || strings.Contains(line, "[WRN]") || strings.Contains(line, "[FTL]") {
			lines = append(lines, line)
		}
	}
	return strings.Join(lines, "")
}
