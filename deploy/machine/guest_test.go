//go:build linux

package machine

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"benchtally/deploy/machine/hand"
)

// A guest is a machine that runs.
type guest struct {
	t     *testing.T
	dir   string
	qemu  *exec.Cmd
	ended chan struct{}
	qmp   *qmp
	cable net.Conn // the outer end of the caliper's cable
	hand  *asker
}

// setting is what a machine is made of.
type setting struct {
	data   string // image of the agent's disk, whose writes are logged
	root   bool   // a Debian root with systemd, else only the program inside
	memory int    // MiB
	steady bool   // time inside goes by instructions done, so that a busy host stretches nothing
}

// drivers are what a machine needs beside what the kernel has in it.
var drivers = []string{"virtio_blk", "ext4", "virtio_net", "xhci_pci", "ftdi_sio", "gpio_sim"}

// cableNumber is the serial number of the caliper's adapter.
const cableNumber = "AB0CDEF1"

// boot starts a machine, and returns when the program inside answers. The machine
// ends with the test, as in a power cut.
func boot(t *testing.T, s setting) *guest {
	t.Helper()
	g := &guest{t: t, dir: t.TempDir(), ended: make(chan struct{})}
	initrd := g.path("initrd")
	makeInitrd(t, initrd)
	kernel := "console=ttyS0 quiet panic=-1 mitigations=off"
	args := []string{
		"-machine", "q35,accel=tcg", "-cpu", "max", "-smp", "1", "-m", fmt.Sprint(s.memory),
		"-nodefaults", "-no-user-config", "-display", "none", "-no-reboot",
		"-kernel", filepath.Join(*machineDir, "kernel", "vmlinuz"), "-initrd", initrd,
		"-serial", "file:" + g.path("console"),
		"-qmp", "unix:" + g.path("qmp") + ",server=on,wait=off",
		"-device", "virtio-rng-pci",
		"-device", "virtio-serial-pci", "-chardev", "socket,id=hand,server=on,wait=off,path=" + g.path("hand"),
		"-device", "virtserialport,chardev=hand",
		"-device", "qemu-xhci,id=usb", "-chardev", "socket,id=cable,server=on,wait=off,path=" + g.path("cable"),
		"-device", "usb-serial,id=caliper,chardev=cable,always-plugged=on,bus=usb.0,port=1,serial=" + cableNumber,
		"-netdev", "user,id=net", "-device", "virtio-net-pci,netdev=net",
	}
	if s.steady {
		// 4 ns an instruction: a core of some 250 MIPS. What is idle takes no time.
		args = append(args, "-icount", "shift=2,sleep=off", "-rtc", "clock=vm")
	}
	disk := "/dev/vda"
	if s.root {
		args = append(args, "-drive", "if=none,id=root,format=raw,snapshot=on,file="+filepath.Join(*machineDir, "root.ext4"),
			"-device", "virtio-blk-pci,drive=root")
		kernel += " root=" + disk + " net.ifnames=0"
		disk = "/dev/vdb"
	}
	if s.data != "" {
		// What the host loses in a power cut of its own is not looked at: no flush
		// goes on to its disk.
		logged, err := json.Marshal(map[string]any{
			"driver": "blklogwrites", "node-name": "data", "log-sector-size": tornAt,
			"file": map[string]any{"driver": "file", "filename": s.data, "cache": map[string]any{"no-flush": true}},
			"log":  map[string]any{"driver": "file", "filename": g.writes(), "cache": map[string]any{"no-flush": true}},
		})
		if err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(g.writes(), nil, 0o644); err != nil {
			t.Fatal(err)
		}
		args = append(args, "-blockdev", string(logged), "-device", "virtio-blk-pci,drive=data")
		kernel += " data=" + disk
	}
	args = append(args, "-append", kernel)

	g.qemu = exec.Command("qemu-system-x86_64", args...)
	var said bytes.Buffer
	g.qemu.Stderr = &said
	if err := g.qemu.Start(); err != nil {
		t.Fatal(err)
	}
	go func() {
		_ = g.qemu.Wait() // a power cut is no good end
		close(g.ended)
	}()
	t.Cleanup(func() {
		g.cut()
		if t.Failed() {
			t.Logf("QEMU said: %s\nthe console, its end:\n%s", said.String(), g.console())
		}
	})
	g.qmp = dialQMP(t, g.dial("qmp"))
	g.cable = g.dial("cable")
	go func() { _, _ = io.Copy(io.Discard, g.cable) }() // what is sent to the caliper
	g.hand = newAsker(g.dial("hand"))
	select {
	case <-g.hand.up:
	case <-g.ended:
		t.Fatal("the machine ended while it started")
	case <-time.After(patience):
		t.Fatalf("the machine is not up after %s", patience)
	}
	return g
}

func (g *guest) path(name string) string { return filepath.Join(g.dir, name) }
func (g *guest) writes() string          { return g.path("writes") }

// dial connects to a socket of QEMU's, which may take a moment to be there.
func (g *guest) dial(name string) (c net.Conn) {
	g.t.Helper()
	await(g.t, "QEMU listens on "+name, func() (ok bool) {
		var err error
		c, err = net.Dial("unix", g.path(name))
		return err == nil
	})
	return c
}

// console is the end of what the machine said.
func (g *guest) console() string {
	text, _ := os.ReadFile(g.path("console"))
	return string(text[max(0, len(text)-6000):])
}

// cut takes the power away.
func (g *guest) cut() {
	_ = g.qemu.Process.Kill() // it may have ended
	<-g.ended
}

// ask asks the program inside, and wants it done.
func (g *guest) ask(q hand.Question) hand.Answer {
	g.t.Helper()
	a := g.hand.ask(q, nil)
	if a.Bad != "" {
		g.t.Fatalf("%s %v: %s", q.Do, q.Args, a.Bad)
	}
	return a
}

// run runs a command inside, which must end well, and gives what it printed.
func (g *guest) run(args ...string) string {
	g.t.Helper()
	a := g.ask(hand.Question{Do: hand.Run, Args: args})
	if a.Code != 0 {
		g.t.Fatalf("%v inside: exit %d\n%s%s", args, a.Code, a.Out, a.Err)
	}
	return a.Out
}

// An asker asks the program inside.
type asker struct {
	mu      sync.Mutex
	enc     *json.Encoder
	last    int
	waiting map[int]chan hand.Answer
	up      chan struct{}
}

func newAsker(c net.Conn) *asker {
	k := &asker{enc: json.NewEncoder(c), waiting: map[int]chan hand.Answer{}, up: make(chan struct{})}
	go func() {
		for in := json.NewDecoder(c); ; {
			var a hand.Answer
			if err := in.Decode(&a); err != nil {
				k.gone()
				return
			}
			if a.ID == 0 {
				close(k.up)
				continue
			}
			k.mu.Lock()
			to := k.waiting[a.ID]
			if to != nil && !a.More {
				delete(k.waiting, a.ID)
			}
			k.mu.Unlock()
			if to != nil {
				to <- a
			}
		}
	}()
	return k
}

// gone ends what is still asked when the machine has ended.
func (k *asker) gone() {
	k.mu.Lock()
	defer k.mu.Unlock()
	for id, to := range k.waiting {
		to <- hand.Answer{ID: id, Bad: "the machine has ended"}
	}
	k.waiting = nil
}

// ask asks and waits. more gets the answers before the last one; nil: there are
// none.
func (k *asker) ask(q hand.Question, more func(hand.Answer)) hand.Answer {
	k.mu.Lock()
	if k.waiting == nil {
		k.mu.Unlock()
		return hand.Answer{Bad: "the machine has ended"}
	}
	k.last++
	q.ID = k.last
	to := make(chan hand.Answer, 16)
	k.waiting[q.ID] = to
	err := k.enc.Encode(q)
	k.mu.Unlock()
	if err != nil {
		return hand.Answer{Bad: err.Error()}
	}
	for a := range to {
		if !a.More {
			return a
		}
		if more != nil {
			more(a)
		}
	}
	return hand.Answer{}
}

// makeInitrd makes the first file system: the program inside, the agent, and the
// drivers in the order in which they are to be loaded.
func makeInitrd(t *testing.T, path string) {
	t.Helper()
	dir := t.TempDir()
	version, err := os.ReadFile(filepath.Join(*machineDir, "kernel", "version"))
	if err != nil {
		t.Fatal(err)
	}
	if err := os.Mkdir(filepath.Join(dir, "modules"), 0o755); err != nil {
		t.Fatal(err)
	}
	done := map[string]bool{}
	for _, name := range drivers {
		shown := do(t, "/sbin/modprobe", "-d", filepath.Join(*machineDir, "kernel"), "-S", strings.TrimSpace(string(version)), "--show-depends", name)
		for _, line := range strings.Split(shown, "\n") {
			kind, file, _ := strings.Cut(strings.TrimSpace(line), " ")
			file = strings.TrimSpace(file)
			if kind != "insmod" || done[file] {
				continue
			}
			base := strings.TrimSuffix(filepath.Base(file), ".xz")
			do(t, "sh", "-c", fmt.Sprintf("xz -dc <%q >%q", file, filepath.Join(dir, "modules", fmt.Sprintf("%02d-%s", len(done), base))))
			done[file] = true
		}
	}
	do(t, "cp", *insideFile, filepath.Join(dir, "init"))
	do(t, "cp", *agentFile, filepath.Join(dir, "benchtally"))
	do(t, "sh", "-c", fmt.Sprintf("cd %q && find . | cpio --quiet -o -H newc -R 0:0 >%q", dir, path))
}
