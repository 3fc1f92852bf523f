package main

import (
	"bytes"
	"context"
	"flag"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"golang.org/x/sys/unix"

	"benchtally/agent/config"
	"benchtally/agent/crimp"
	"benchtally/agent/station"
)

var wearCrimps = flag.Int("wear", 200, "crimps that TestWear makes")

// worn is what a block device was given to write.
type worn struct{ sectors, flushes int }

// wearDisk is an ext4 file system on a loop device of its own.
type wearDisk struct {
	t           *testing.T
	dir, device string
}

func newWearDisk(t *testing.T) *wearDisk {
	t.Helper()
	for _, tool := range []string{"mkfs.ext4", "losetup"} {
		if _, err := exec.LookPath(tool); err != nil {
			t.Skipf("no %s: install e2fsprogs and mount", tool)
		}
	}
	d := &wearDisk{t: t, dir: t.TempDir()}
	image := filepath.Join(t.TempDir(), "disk")
	write(t, image, "")
	if err := os.Truncate(image, 256<<20); err != nil {
		t.Fatal(err)
	}
	if out, err := exec.Command("mkfs.ext4", "-q", "-E", "lazy_itable_init=0,lazy_journal_init=0", image).CombinedOutput(); err != nil {
		t.Fatalf("%v: %s", err, out)
	}
	out, err := exec.Command("losetup", "--find", "--show", image).Output()
	if err != nil {
		t.Skipf("no loop device can be had here: %v", err)
	}
	d.device = strings.TrimSpace(string(out))
	t.Cleanup(func() { _ = exec.Command("losetup", "--detach", d.device).Run() })
	if err := syscall.Mount(d.device, d.dir, "ext4", syscall.MS_NOATIME, ""); err != nil {
		t.Skipf("it cannot be mounted here: %v", err)
	}
	t.Cleanup(func() {
		if err := syscall.Unmount(d.dir, 0); err != nil {
			t.Error(err)
		}
	})
	return d
}

// worn waits until all is written and returns what the device was given so far
// (Documentation/block/stat of the kernel: field 7 sectors of 512 bytes, field 16
// flushes).
func (d *wearDisk) worn() worn {
	d.t.Helper()
	f, err := os.Open(d.dir)
	if err != nil {
		d.t.Fatal(err)
	}
	defer func() { _ = f.Close() }()
	if err := unix.Syncfs(int(f.Fd())); err != nil {
		d.t.Fatal(err)
	}
	b, err := os.ReadFile(filepath.Join("/sys/block", filepath.Base(d.device), "stat"))
	if err != nil {
		d.t.Fatal(err)
	}
	fields := strings.Fields(string(b))
	if len(fields) < 16 {
		d.t.Skip("this kernel does not count flushes")
	}
	number := func(i int) int {
		n, err := strconv.Atoi(fields[i])
		if err != nil {
			d.t.Fatal(err)
		}
		return n
	}
	return worn{number(6), number(15)}
}

// floor writes n events as sparingly as can be: each into the next block of a file
// that has all its blocks, with one flush of data.
func (d *wearDisk) floor(n int) worn {
	d.t.Helper()
	const blocks = 64
	f, err := os.Create(filepath.Join(d.dir, "floor"))
	if err != nil {
		d.t.Fatal(err)
	}
	defer func() { _ = f.Close() }()
	if _, err := f.Write(make([]byte, blocks*4096)); err != nil {
		d.t.Fatal(err)
	}
	before := d.worn()
	for i := range n {
		if _, err := f.WriteAt(bytes.Repeat([]byte{byte(i)}, 4096), int64(i%blocks)*4096); err != nil {
			d.t.Fatal(err)
		}
		if err := unix.Fdatasync(int(f.Fd())); err != nil {
			d.t.Fatal(err)
		}
	}
	after := d.worn()
	return worn{after.sectors - before.sectors, after.flushes - before.flushes}
}

// What a crimp costs the card, as the card sees it: the whole agent, its store on
// a file system of its own, every input kept before the next one comes, every event
// acknowledged by a real broker. A floor is measured beside it: one block and one
// flush for each input.
//
//	go test ./agent -run '^TestWear$' -v -wear 5000
func TestWear(t *testing.T) {
	d := newWearDisk(t)
	n := *wearCrimps
	_, name := shop(t, fmt.Sprintf("[mqtt]\nbroker = \"tcp://%s\"\n", mosquitto(t)))
	cfg, err := config.Load(name)
	if err != nil {
		t.Fatal(err)
	}
	cfg.Store.Path = filepath.Join(d.dir, "bench.db")
	a, err := newAgent(cfg, time.Now)
	if err != nil {
		t.Fatal(err)
	}
	ctx, stop := context.WithCancel(t.Context())
	done := make(chan error, 1)
	go func() { done <- a.run(ctx, func(ctx context.Context) error { <-ctx.Done(); return nil }) }()
	inputs := 0
	keep := func(in station.Input) {
		t.Helper()
		if _, err := a.bench.ask(ctx, in); err != nil {
			t.Fatal(err)
		}
		inputs++
	}
	setting := 120
	piece := func(i int) {
		if i%50 == 0 {
			keep(station.Action{At: a.now(), Do: station.DoStart, Order: fmt.Sprintf("A-%d", i/50), Spec: "hs-08", Quantity: 50, Setting: &setting})
		}
		keep(station.Stroke{At: a.now(), Held: time.Second})
		for place := range 3 {
			value := crimp.Length(12_040+(i*7+place*3)%20) * crimp.Inch / 10_000
			keep(station.Reading{At: a.now(), Value: value, Raw: fmt.Sprintf("+1.%d", 2040+(i*7+place*3)%20)})
		}
	}
	for i := range 20 { // the file grows to its working size
		piece(i)
	}
	before, inputsBefore, recordsBefore := d.worn(), inputs, a.store.Last()
	for i := range n {
		piece(20 + i)
	}
	for a.store.Last() != a.store.SentSeq() {
		time.Sleep(10 * time.Millisecond) // the broker is a process of its own
	}
	after := d.worn()
	inputs -= inputsBefore
	records := int(a.store.Last() - recordsBefore)
	stop()
	if err := <-done; err != nil {
		t.Fatal(err)
	}
	all := worn{after.sectors - before.sectors, after.flushes - before.flushes}
	floor := d.floor(inputs)
	per := func(w worn, n int) (kB, flushes float64) {
		return float64(w.sectors) * 512 / 1000 / float64(n), float64(w.flushes) / float64(n)
	}
	kB, flushes := per(all, inputs)
	floorKB, floorFlushes := per(floor, inputs)
	crimpKB, crimpFlushes := per(all, n)
	t.Logf("%d crimps, %d inputs, %d records", n, inputs, records)
	t.Logf("a crimp: %.1f kB, %.2f flushes; an input: %.2f kB, %.2f flushes; a record: %.2f kB", crimpKB, crimpFlushes, kB, flushes, float64(all.sectors)*0.512/float64(records))
	t.Logf("the floor, an input: %.2f kB, %.2f flushes", floorKB, floorFlushes)
	if kB > 2*floorKB || flushes > 1.1*floorFlushes {
		t.Errorf("an input takes %.2f kB and %.2f flushes; want at most twice and 1.1 times the floor's %.2f and %.2f", kB, flushes, floorKB, floorFlushes)
	}
}
