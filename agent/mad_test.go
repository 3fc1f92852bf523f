package main

import (
	"context"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"github.com/creack/pty"

	"benchtally/agent/record"
	"benchtally/sensors"
)

// A station is a whole agent whose switch and caliper are the test's.
type madStation struct {
	t    *testing.T
	mu   sync.Mutex
	kept []record.Record
	more chan struct{} // something was kept

	levels  sensors.Levels
	flutter bool // the switch changes faster than it is read
	woken   int
}

// startMad runs an agent with a caliper at port until the test ends; stop ends it.
func startMad(t *testing.T, port string) (s *madStation, stop func()) {
	t.Helper()
	_, file := shop(t, "[caliper]\nport = \""+port+"\"\n[measure]\nplaces = 1\n")
	cfg, err := loadConfig(file)
	if err != nil {
		t.Fatal(err)
	}
	a, err := newAgent(cfg, time.Now)
	if err != nil {
		t.Fatal(err)
	}
	s = &madStation{t: t, more: make(chan struct{}, 1)}
	a.told = func(records []record.Record) {
		s.mu.Lock()
		s.kept = append(s.kept, records...)
		s.mu.Unlock()
		select {
		case s.more <- struct{}{}:
		default:
		}
	}
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan error, 1)
	open := func() (sensors.Contacts, error) { return s, nil }
	go func() { done <- a.run(ctx, a.watchSwitch(open, time.Now), a.watchCaliper()) }()
	ended := false
	stop = func() {
		if ended {
			return
		}
		ended = true
		cancel()
		if err := <-done; err != nil {
			t.Errorf("run: %v", err)
		}
	}
	t.Cleanup(stop)
	for { // a ring that is up when the agent begins makes no stroke
		s.mu.Lock()
		woken := s.woken
		s.mu.Unlock()
		if woken > 10 {
			return s, stop
		}
		time.Sleep(10 * time.Millisecond)
	}
}

func (s *madStation) Levels() (sensors.Levels, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.woken++
	if s.flutter {
		return sensors.Levels{Up: s.woken%3 == 0, Storm: true}, nil
	}
	return s.levels, nil
}

func (s *madStation) Wait(ctx context.Context, d time.Duration) error {
	s.mu.Lock()
	if s.flutter {
		d = min(d, 5*time.Millisecond) // as the real contacts wait in a storm
	}
	s.mu.Unlock()
	select {
	case <-time.After(min(d, 10*time.Millisecond)):
	case <-ctx.Done():
	}
	return nil
}

func (s *madStation) Close() error { return nil }

func (s *madStation) flutters(on bool) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.flutter = on
}

// stroke closes the ring for as long as a closure lasts, and lets a cycle pass.
func (s *madStation) stroke() {
	for _, up := range []bool{true, false} {
		s.mu.Lock()
		s.levels.Up = up
		s.mu.Unlock()
		time.Sleep(600 * time.Millisecond)
	}
}

// tally tells how many records of each kind there are, of faults with what happened.
func (s *madStation) tally() map[string]int {
	s.mu.Lock()
	defer s.mu.Unlock()
	n := map[string]int{}
	for _, r := range s.kept {
		kind := string(r.Kind)
		if r.Kind == record.Fault {
			kind = fmt.Sprintf("%s %s", r.Source, r.State)
		}
		n[kind]++
	}
	return n
}

// until waits until there are so many records of a kind.
func (s *madStation) until(kind string, n int) {
	s.t.Helper()
	late := time.After(20 * time.Second)
	for s.tally()[kind] < n {
		select {
		case <-s.more:
		case <-late:
			s.t.Fatalf("no %d of %q: %v", n, kind, s.tally())
		}
	}
}

// raws are the frames of the readings that were kept.
func (s *madStation) raws() string {
	s.mu.Lock()
	defer s.mu.Unlock()
	var all []string
	for _, r := range s.kept {
		if r.Kind == record.Reading {
			all = append(all, r.Raw)
		}
	}
	return strings.Join(all, " ")
}

func used() time.Duration {
	var u syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &u); err != nil {
		return 0
	}
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}

func gauge(t *testing.T) (master *os.File, name string) {
	t.Helper()
	master, slave, err := pty.Open()
	if err != nil {
		t.Skipf("no pseudo terminals here: %v", err)
	}
	t.Cleanup(func() { _ = master.Close() })
	name = slave.Name()
	if err := slave.Close(); err != nil {
		t.Fatal(err)
	}
	return master, name
}

// TestMadCaliper: a caliper that sends noise as fast as it is read takes nothing from
// the switch, makes one fault and a handful of records, and is believed again once it
// has calmed down.
func TestMadCaliper(t *testing.T) {
	if testing.Short() {
		t.Skip("lives through some seconds of noise")
	}
	master, name := gauge(t)
	s, stop := startMad(t, name)
	noise := exec.Command("cat", "/dev/urandom") // in a process of its own: what it takes is not ours
	noise.Stdout = master
	if err := noise.Start(); err != nil {
		t.Skip(err)
	}
	s.until("caliper on", 1)
	before, began := used(), time.Now()
	for range 3 {
		s.stroke()
	}
	t.Logf("%.1f %% of a core beside noise without end, as fast as it is read", 100*float64(used()-before)/float64(time.Since(began)))
	if err := noise.Process.Kill(); err != nil {
		t.Fatal(err)
	}
	_ = noise.Wait() // it was killed
	// What the terminal holds still has to go, then a push behind silence counts.
	sent := ""
	push := func(i int) {
		time.Sleep(500 * time.Millisecond)
		raw := fmt.Sprintf(" +1.20%02d", i)
		sent += raw
		if _, err := master.WriteString(raw[1:] + "\r\n"); err != nil {
			t.Fatal(err)
		}
	}
	for i := 0; s.tally()["caliper off"] == 0 && i < 40; i++ {
		push(i)
	}
	s.until("caliper off", 1)
	for i := range 3 {
		push(50 + i)
	}
	s.stroke()
	s.until("stroke", 4)
	stop()
	n := s.tally()
	if n["stroke"] != 4 || n["caliper on"] != 1 || n["caliper off"] != 1 || n["reading"] < 4 || n["refused"] > 12 {
		t.Errorf("kept %v", n)
	}
	if got := s.raws(); !strings.HasSuffix(sent, " "+got) {
		t.Errorf("readings %s, sent%s: want all from one on", got, sent)
	}
}

// TestMadSwitch: a switch that chatters takes nothing from the caliper, makes a fault
// and no stroke, and counts again once it is steady.
func TestMadSwitch(t *testing.T) {
	if testing.Short() {
		t.Skip("lives through some seconds of chatter")
	}
	master, name := gauge(t)
	s, stop := startMad(t, name)
	s.stroke()
	s.until("stroke", 1)
	s.flutters(true)
	var want []string
	for i := range 8 {
		time.Sleep(time.Duration(450+30*(i%3)) * time.Millisecond) // as a thumb pushes
		raw := fmt.Sprintf("+1.20%02d", i)
		want = append(want, raw)
		if _, err := master.WriteString(raw + "\r\n"); err != nil {
			t.Fatal(err)
		}
	}
	s.until("reading", len(want))
	s.until("switch on", 1)
	s.mu.Lock()
	woken := s.woken
	s.mu.Unlock()
	if woken > 3000 {
		t.Errorf("the switch was read %d times", woken)
	}
	s.flutters(false)
	s.until("switch off", 1)
	s.stroke()
	s.until("stroke", 2)
	stop()
	n := s.tally()
	if n["stroke"] != 2 || n["switch on"] != 1 || n["switch off"] != 1 || n["refused"] != 0 || n["caliper on"] != 0 {
		t.Errorf("kept %v", n)
	}
	if got := s.raws(); got != strings.Join(want, " ") {
		t.Errorf("readings %s, want %s", got, want)
	}
}

// TestLooseCable: the caliper's cable is in and out again and again. Strokes are counted
// meanwhile, each reading arrives once, the faults come in pairs and are few, and
// nothing is left open.
func TestLooseCable(t *testing.T) {
	if testing.Short() {
		t.Skip("waits for a port that is looked for every second")
	}
	link := filepath.Join(t.TempDir(), "caliper")
	goroutines := runtime.NumGoroutine()
	s, stop := startMad(t, link)
	s.until("caliper on", 1)
	const rounds = 4
	var want []string
	for i := range rounds {
		master, name := gauge(t)
		if err := os.Symlink(name, link); err != nil {
			t.Fatal(err)
		}
		raw := fmt.Sprintf("+1.20%02d", i)
		want = append(want, raw)
		if _, err := master.WriteString("\r\n" + raw + "\r\n"); err != nil {
			t.Fatal(err)
		}
		if i%2 == 0 {
			s.stroke()
		}
		s.until("reading", i+1)
		if err := os.Remove(link); err != nil {
			t.Fatal(err)
		}
		if err := master.Close(); err != nil {
			t.Fatal(err)
		}
	}
	s.until("stroke", rounds/2)
	stop()
	n := s.tally()
	if n["stroke"] != rounds/2 || n["reading"] != rounds || n["caliper on"] > rounds+1 || n["caliper off"] < n["caliper on"]-1 || n["caliper off"] > n["caliper on"] {
		t.Errorf("kept %v", n)
	}
	if got := s.raws(); got != strings.Join(want, " ") {
		t.Errorf("readings %s, want %s", got, want)
	}
	for range 200 {
		if runtime.NumGoroutine() <= goroutines {
			return
		}
		time.Sleep(10 * time.Millisecond)
	}
	t.Errorf("%d goroutines, %d before", runtime.NumGoroutine(), goroutines)
}
