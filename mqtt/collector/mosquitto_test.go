package main

import (
	"bytes"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"testing"
)

// mosquitto is a broker of its own process, on a loopback port.
type mosquitto struct {
	binary, dir, addr string
	cmd               *exec.Cmd
	log               bytes.Buffer
}

// newMosquitto starts the broker with a config to which listener and persistence
// are added. Without it on this machine the test is skipped, or fails where the
// variable CI is set.
func newMosquitto(t testing.TB, config string) *mosquitto {
	t.Helper()
	m := &mosquitto{dir: t.TempDir(), addr: freePort(t)}
	for _, candidate := range []string{"mosquitto", "/usr/sbin/mosquitto", "/usr/local/sbin/mosquitto"} {
		if path, err := exec.LookPath(candidate); err == nil {
			m.binary = path
			break
		}
	}
	if m.binary == "" {
		if os.Getenv("CI") != "" {
			t.Fatal("mosquitto is not installed; it is needed where CI is set")
		}
		t.Skip("mosquitto is not installed")
	}
	_, port, _ := net.SplitHostPort(m.addr)
	config += "\nlistener " + port + " 127.0.0.1\nset_tcp_nodelay true\nmax_queued_messages 0\n"
	if os.Getuid() == 0 {
		config += "user root\n" // it would leave the test's folder out of its reach
	}
	if err := os.WriteFile(filepath.Join(m.dir, "mosquitto.conf"), []byte(config), 0o600); err != nil {
		t.Fatal(err)
	}
	m.start(t)
	t.Cleanup(m.kill)
	return m
}

// keeps makes the broker save its sessions when it is told to.
func keeps(t testing.TB) string {
	return "persistence true\nautosave_interval 0\npersistence_location " + t.TempDir() + "/\n"
}

// freePort is a loopback address where nothing listens just now.
func freePort(t testing.TB) string {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close() //nolint:errcheck // test
	return l.Addr().String()
}

func (m *mosquitto) start(t testing.TB) {
	t.Helper()
	m.cmd = exec.Command(m.binary, "-c", filepath.Join(m.dir, "mosquitto.conf"))
	m.cmd.Stdout, m.cmd.Stderr = &m.log, &m.log
	if err := m.cmd.Start(); err != nil {
		t.Fatal(err)
	}
	until(t, "mosquitto listens", func() bool {
		conn, err := net.Dial("tcp", m.addr)
		if err != nil {
			return false
		}
		return conn.Close() == nil
	})
}

// stop ends the process in order: it saves what it has.
func (m *mosquitto) stop() {
	if m.cmd != nil {
		_ = m.cmd.Process.Signal(os.Interrupt)
		_ = m.cmd.Wait()
		m.cmd = nil
	}
}

// kill ends the process as a power cut would.
func (m *mosquitto) kill() {
	if m.cmd != nil {
		_ = m.cmd.Process.Kill()
		_ = m.cmd.Wait()
		m.cmd = nil
	}
}
