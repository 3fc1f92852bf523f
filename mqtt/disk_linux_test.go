package mqtt

import (
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"
)

// smallDisk mounts a disk of that size, until the test ends.
func smallDisk(t testing.TB, size string) string {
	t.Helper()
	if os.Getuid() != 0 {
		t.Skip("mounting a small disk needs root")
	}
	dir := t.TempDir()
	if err := syscall.Mount("tmpfs", dir, "tmpfs", 0, "size="+size); err != nil {
		t.Skipf("mounting a small disk: %v", err)
	}
	t.Cleanup(func() {
		if err := syscall.Unmount(dir, syscall.MNT_DETACH); err != nil {
			t.Error(err)
		}
	})
	return dir
}

// grow changes the size of a small disk.
func grow(t testing.TB, dir, size string) {
	t.Helper()
	if err := syscall.Mount("tmpfs", dir, "tmpfs", syscall.MS_REMOUNT, "size="+size); err != nil {
		t.Fatal(err)
	}
}

// Mosquitto does not stop acknowledging when it cannot save: nothing that a
// press hears differs. What it had not saved is lost when it dies, and is still
// in the press's records to be sent again.
func TestMosquittoWithAFullDisk(t *testing.T) {
	t.Parallel()
	const events, more = 1500, 100
	disk := smallDisk(t, "256k")
	const saved = "autosave_on_changes true\nautosave_interval 1\n"
	m := keepingMosquitto(t, saved, disk)
	between := newTap(t, m.addr)
	subscribeAs(t, "collector", testBase+"/event/#", m.addr).leave()
	s := settings(between.addr)
	s.Window = 16
	b := newBox(events)
	between.checkSent(t, b)
	p := start(t, s, b, nil)
	drain(t, p)
	if got := p.State(); got.Reason != "" || b.cursor() != events {
		t.Errorf("sent up to %d, state %+v; this broker was expected to acknowledge: then the words on full disks can change", b.cursor(), got)
	}

	m.kill()
	grow(t, disk, "8m")
	if saved := filepath.Join(disk, "mosquitto.db"); !m.canStart() { // the file was cut off as the disk was full
		info, err := os.Stat(saved)
		if err != nil {
			t.Fatal(err)
		}
		t.Logf("the broker cannot read the %d bytes that it saved, and does not start", info.Size())
		if err := os.Remove(saved); err != nil {
			t.Fatal(err)
		}
	}
	m.start()
	sub := subscribeAs(t, "collector", testBase+"/event/#", m.addr)
	b.add(more)
	p.Wake()
	drain(t, p)
	until(t, "the last event", func() bool { return len(sub.messages(nil)) > 0 && sub.latest().seq() == events+more })
	missing, _ := gaps(t, sub.messages(nil), events+more)
	if len(missing) == 0 || missing[len(missing)-1] > events {
		t.Errorf("%d events missing of those on the full disk, want some", len(missing))
	}
	between.checkRepeats(t, events+more, 16)
	for _, seq := range missing {
		if !between.acknowledged(seq) {
			t.Fatalf("event %d is lost, and the broker has never acknowledged it", seq)
		}
	}
	t.Logf("acknowledged with a full disk and then lost: %d of %d", len(missing), events)
	b.again(missing)
	p.Wake()
	until(t, "what the broker has lost", func() bool { return distinct(sub.messages(nil)) == events+more })
}

// canStart reports whether the process would stay; it is ended again.
func (m *mosquitto) canStart() bool {
	m.t.Helper()
	trial := exec.Command(m.binary, "-c", filepath.Join(m.dir, "mosquitto.conf"))
	if err := trial.Start(); err != nil {
		m.t.Fatal(err)
	}
	ended := make(chan struct{})
	go func() {
		defer close(ended)
		_ = trial.Wait()
	}()
	for {
		select {
		case <-ended:
			return false
		case <-time.After(5 * time.Millisecond):
			if conn, err := net.Dial("tcp", m.addr); err == nil {
				_ = conn.Close()
				_ = trial.Process.Kill()
				<-ended
				return true
			}
		}
	}
}

// NATS stops acknowledging when it cannot store, and goes on once there is room
// and it was started anew.
func TestNATSWithAFullDisk(t *testing.T) {
	t.Parallel()
	const events, window = 6000, 16 // twice of what the disk takes
	disk := smallDisk(t, "1m")
	n := newNATS(t, "solo", "max_file_store: 1GB, store_dir: "+strconv.Quote(disk), "")
	n.start()
	n.ready()
	between := newTap(t, n.mqtt)
	subscribeAs(t, "collector", testBase+"/event/#", n.mqtt).leave()
	s := settings(between.addr)
	s.Window, s.AckTimeout = window, 2*time.Second
	var told history
	s.OnChange = told.note
	b := newBox(events)
	between.checkSent(t, b)
	p := start(t, s, b, nil)
	until(t, "a reason", func() bool {
		for _, s := range told.all() {
			if !s.Connected && strings.HasPrefix(s.Reason, "the broker does not acknowledge event ") {
				return true
			}
		}
		return false
	})
	if got := b.cursor(); got == 0 || got >= events {
		t.Errorf("sent up to %d of %d with a full disk, want some", got, events)
	}

	n.kill()
	grow(t, disk, "64m")
	n.start()
	n.ready()
	drain(t, p)
	sub := subscribeAs(t, "collector", testBase+"/event/#", n.mqtt)
	until(t, "the last event", func() bool { return len(sub.messages(nil)) > 0 && sub.latest().seq() == events })
	checkOrder(t, sub.messages(nil), events)
	between.checkRepeats(t, events, window)
}
