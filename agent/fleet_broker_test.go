package main

import (
	"bytes"
	"encoding/pem"
	"fmt"
	"math/rand/v2"
	"net"
	"os"
	"os/exec"
	"os/user"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"
)

// plantBroker is a Mosquitto in a process of its own, with the settings of the
// sample in deploy/mosquitto, that can be killed and started again.
type plantBroker struct {
	t       *testing.T
	address string
	conf    string
	config  string // [mqtt] of a press
	ca      string // file of the authority; "" without TLS
	dial    func() (net.Conn, error)
	cmd     *exec.Cmd
	said    bytes.Buffer
}

// newPlantBroker starts one. What the sample says of accounts is left out, of TLS
// too unless it is asked for, and a subscriber's queue has room for all that a
// fleet of any size may send while it is away.
func newPlantBroker(t *testing.T, dir string, secure bool, inflight int) *plantBroker {
	t.Helper()
	binary, address := mosquittoPath(t), quietAddress(t)
	_, port, _ := net.SplitHostPort(address)
	b := &plantBroker{t: t, address: address, conf: filepath.Join(dir, "mosquitto.conf"), config: "broker = \"tcp://" + address + "\"\n"}
	sample, err := os.ReadFile(filepath.Join("..", "deploy", "mosquitto", "mosquitto.conf"))
	if err != nil {
		t.Fatal(err)
	}
	ours := map[string]string{ // "" leaves the line out
		"listener": port + " 127.0.0.1", "allow_anonymous": "true", "password_file": "", "acl_file": "",
		"cafile": "", "certfile": "", "keyfile": "", "tls_version": "",
		"persistence_location": dir + "/", "max_queued_messages": "0", "max_inflight_messages": strconv.Itoa(inflight),
	}
	if secure {
		shop := newAuthority(t)
		ca, cert, key := filepath.Join(dir, "ca.crt"), filepath.Join(dir, "broker.crt"), filepath.Join(dir, "broker.key")
		write(t, ca, string(pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: shop.cert.Raw})))
		shop.sign(t, cert, key, time.Now().Add(time.Hour))
		ours["cafile"], ours["certfile"], ours["keyfile"], ours["tls_version"] = ca, cert, key, "tlsv1.2"
		b.ca = ca
		b.config = "broker = \"ssl://" + address + "\"\nca = \"" + ca + "\"\n"
	}
	b.dial = dialer(address, b.ca)
	var text strings.Builder
	for line := range strings.Lines(string(sample)) {
		key, _, _ := strings.Cut(strings.TrimSpace(line), " ")
		if value, named := ours[key]; named {
			delete(ours, key)
			if value == "" {
				continue
			}
			line = key + " " + value + "\n"
		}
		text.WriteString(line)
	}
	if len(ours) > 0 {
		t.Fatalf("the sample of deploy/mosquitto does not say %v", ours)
	}
	text.WriteString("log_type error\n")
	if me, err := user.Current(); err == nil && me.Uid == "0" {
		text.WriteString("user root\n") // it would leave the test's folder out of its reach
	}
	write(t, b.conf, text.String())
	b.cmd = exec.Command(binary, "-c", b.conf)
	b.start()
	t.Cleanup(b.kill)
	return b
}

// mosquittoPath is where Mosquitto is.
func mosquittoPath(t testing.TB) string {
	t.Helper()
	path, err := exec.LookPath("mosquitto")
	if err != nil {
		path = "/usr/sbin/mosquitto" // where Debian puts it, outside the PATH of most users
	}
	if _, err := os.Stat(path); err != nil {
		if os.Getenv("CI") != "" {
			t.Fatal("mosquitto is missing: apt-get install mosquitto")
		}
		t.Skip("mosquitto is missing: apt-get install mosquitto")
	}
	return path
}

// start starts the process and returns once it listens.
func (b *plantBroker) start() {
	b.t.Helper()
	b.cmd = exec.Command(b.cmd.Path, b.cmd.Args[1:]...)
	b.cmd.Stdout, b.cmd.Stderr = &b.said, &b.said
	if err := b.cmd.Start(); err != nil {
		b.t.Fatal(err)
	}
	for end := time.Now().Add(time.Minute); ; time.Sleep(time.Millisecond) {
		conn, err := net.Dial("tcp", b.address)
		if err == nil {
			_ = conn.Close()
			return
		}
		if time.Now().After(end) {
			b.kill()
			b.t.Fatalf("mosquitto does not listen: %v\n%s", err, b.said.String())
		}
	}
}

// kill ends it as a power cut would.
func (b *plantBroker) kill() {
	if b.cmd.Process == nil {
		return
	}
	_ = b.cmd.Process.Kill()
	_ = b.cmd.Wait() // it says that it was killed
}

func (b *plantBroker) memory() map[string]float64 { return memoryOf(strconv.Itoa(b.cmd.Process.Pid)) }

func (b *plantBroker) cpu() time.Duration { return cpuOf(strconv.Itoa(b.cmd.Process.Pid)) }

// cpuOf is the time that a process, or "self", has worked: fields 14 and 15 of its
// stat, in hundredths of a second (proc(5)).
func cpuOf(pid string) time.Duration {
	text, _ := os.ReadFile("/proc/" + pid + "/stat")
	_, after, _ := strings.Cut(string(text), ") ")
	fields := strings.Fields(after)
	if len(fields) < 13 {
		return 0
	}
	user, _ := strconv.Atoi(fields[11])
	system, _ := strconv.Atoi(fields[12])
	return time.Duration(user+system) * 10 * time.Millisecond
}

// memoryOf is what a process, or "self", takes: the Vm and Rss lines of proc(5), in MB.
func memoryOf(pid string) map[string]float64 {
	found := map[string]float64{}
	text, _ := os.ReadFile("/proc/" + pid + "/status") // none where there is no such file system
	for line := range strings.Lines(string(text)) {
		var key string
		var kb float64
		if n, _ := fmt.Sscanf(line, "%s %g kB", &key, &kb); n == 2 {
			found[strings.TrimSuffix(key, ":")] = kb / 1024
		}
	}
	return found
}

// quietAddress is a loopback address where nothing listens, with a port that the
// kernel gives to no connection: while nobody listens there, a dial that is given
// that very port as its own connects to itself.
func quietAddress(t *testing.T) string {
	t.Helper()
	lowest := 32768 // ip(7); files under /proc tell of this machine
	if text, err := os.ReadFile("/proc/sys/net/ipv4/ip_local_port_range"); err == nil {
		_, _ = fmt.Sscan(string(text), &lowest)
	}
	for range 100 {
		l, err := net.Listen("tcp", fmt.Sprintf("127.0.0.1:%d", lowest/2+rand.IntN(lowest/2)))
		if err != nil {
			continue
		}
		_ = l.Close() // it was only asked for its number
		return l.Addr().String()
	}
	t.Fatal("no port is free")
	return ""
}
