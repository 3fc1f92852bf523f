package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/creack/pty"

	"benchtally/agent/config"
	"benchtally/caliper/port"
	"benchtally/sensors"
)

// A bay is a press station with inputs that a person moves: a board of lines, and the
// contacts that are wired to two of them.
type bay struct {
	mu    sync.Mutex
	names []string
	rest  uint64 // levels at rest
	bits  uint64
	moved chan struct{}
	made  bool // the limit switch
	dead  bool // the contacts that are opened for counting say nothing
}

func newBay(rest uint64, names ...string) *bay {
	return &bay{names: names, rest: rest, bits: rest, moved: make(chan struct{}, 1)}
}

func (b *bay) set(bits uint64, made bool) {
	b.mu.Lock()
	b.bits, b.made = bits, made
	b.mu.Unlock()
	select {
	case b.moved <- struct{}{}:
	default:
	}
}

// stroke closes the ring: the lines of flip change sides meanwhile.
func (b *bay) stroke(flip uint64) {
	b.set(b.rest^flip, true)
	time.Sleep(200 * time.Millisecond) // as long as a closure must last
	b.set(b.rest, false)
}

func (b *bay) Names() []string { return b.names }
func (b *bay) Close() error    { return nil }

func (b *bay) Levels() (uint64, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.bits, nil
}

func (b *bay) Wait(ctx context.Context, d time.Duration) error {
	select {
	case <-b.moved:
	case <-time.After(d):
	case <-ctx.Done():
	}
	return nil
}

// contactsOf is the bay as the agent's own contacts.
type contactsOf struct {
	*bay
	changeover bool
}

func (c contactsOf) Levels() (sensors.Levels, error) {
	c.mu.Lock()
	defer c.mu.Unlock()
	made := c.made && !c.dead
	return sensors.Levels{Up: made, Rest: c.changeover && !made}, nil
}

// A person answers what the walk says: each cue is waited for in turn.
type person struct {
	t     *testing.T
	mu    sync.Mutex
	said  strings.Builder
	from  int // up to where cues were looked for
	cues  []cue
	types io.Writer
}

type cue struct {
	on string
	do func() string // what is typed then
}

func types(text string) func() string { return func() string { return text + "\n" } }

func (p *person) Write(b []byte) (int, error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.said.Write(b)
	for len(p.cues) > 0 {
		i := strings.Index(p.said.String()[p.from:], p.cues[0].on)
		if i < 0 {
			break
		}
		p.from += i + len(p.cues[0].on)
		do := p.cues[0].do
		p.cues = p.cues[1:]
		go func() {
			if text := do(); text != "" {
				_, _ = io.WriteString(p.types, text)
			}
		}()
	}
	return len(b), nil
}

// initBy runs init with a person at the terminal and a bay and ports of the test's.
func initBy(t *testing.T, d devices, cues []cue, args ...string) (code int, out, said string) {
	t.Helper()
	before := hardware
	t.Cleanup(func() { hardware = before })
	d.count, d.hear = 100*time.Millisecond, max(d.hear, 200*time.Millisecond)
	hardware = d
	inR, inW := io.Pipe()
	p := &person{t: t, cues: cues, types: inW}
	var stdout strings.Builder
	ctx, cancel := context.WithTimeout(t.Context(), 30*time.Second) // where nobody answers
	defer cancel()
	code = run(env{ctx, inR, &stdout, p}, append([]string{"init"}, args...))
	_ = inR.Close()
	p.mu.Lock()
	defer p.mu.Unlock()
	for _, c := range p.cues {
		t.Errorf("was never said: %q", c.on)
	}
	if t.Failed() {
		t.Logf("said:\n%s\nprinted:\n%s", p.said.String(), stdout.String())
	}
	return code, stdout.String(), p.said.String()
}

// terminal is a caliper's pseudo terminal, and what its button does.
func terminal(t *testing.T, text string, times ...int) (info port.Info, push func() string) {
	t.Helper()
	master, slave, err := pty.Open()
	if err != nil {
		t.Skipf("no pseudo terminals here: %v", err)
	}
	name := slave.Name()
	if err := slave.Close(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = master.Close() })
	// The first frame after the opening counts once a line end came before it.
	push = func() string {
		time.Sleep(100 * time.Millisecond)
		if len(text) > 0 {
			_, _ = master.WriteString("\r\n")
		}
		for range append(times, 1)[0] {
			_, _ = master.WriteString(text)
			time.Sleep(40 * time.Millisecond)
		}
		return ""
	}
	return port.Info{Name: name, Kind: port.KindSerial, Device: name, Text: "Serial Adapter"}, push
}

func noPorts() ([]port.Info, error) { return nil, nil }

func noBoard([]string, bool) (sensors.Board, []sensors.Line, error) {
	return nil, nil, errors.New("no GPIO chip found")
}

func (b *bay) devices(ports ...port.Info) devices {
	return devices{
		ports: func() ([]port.Info, error) { return ports, nil },
		board: func([]string, bool) (sensors.Board, []sensors.Line, error) { return b, nil, nil },
		contacts: func(l sensors.Lines) (sensors.Contacts, error) {
			return contactsOf{b, l.Rest != ""}, nil
		},
	}
}

// TestWalk goes through an installation with a changeover switch and a caliper, and
// finds all of it in the configuration, whose notes are as they were.
func TestWalk(t *testing.T) {
	b := newBay(0b001, "GPIO5", "GPIO17", "GPIO27") // GPIO5 and the rest contact's line
	b.rest, b.bits = 0b011, 0b011                   // 17 open, so high; 27 made, so low
	adapter, push := terminal(t, "+30.58\r\n")
	silent, _ := terminal(t, "")
	dir := filepath.Join(t.TempDir(), "station")
	code, out, said := initBy(t, b.devices(silent, adapter), []cue{
		{"press Enter:", types("")},
		{"Close the ring once,", func() string { time.Sleep(500 * time.Millisecond); b.stroke(0b110); return "" }},
		{"Close the ring once more", func() string { time.Sleep(200 * time.Millisecond); b.stroke(0b110); return "" }},
		{"push its button", push},
		{"It sends no unit", types("mm")},
		{"Name of this press", types("North")},
		{"Name of this press", types("press-7")},
		{"Site and area", types("")},
		{"Broker", types("tls://broker")},
		{"Broker", types("")},
	}, dir, "--find", "--wait", "20s")
	if code != exitDone {
		t.Fatalf("exit %d", code)
	}
	path := filepath.Join(dir, "bench.toml")
	for _, want := range []string{"written " + path, path + ": no faults", "Next:"} {
		if !strings.Contains(out, want) {
			t.Errorf("%q is not printed", want)
		}
	}
	for _, want := range []string{"GPIO17 went low and GPIO27 went high", "A changeover switch: GPIO17", "Counted one stroke"} {
		if !strings.Contains(said, want) {
			t.Errorf("%q is not said", want)
		}
	}
	cfg, err := loadConfig(path)
	if err != nil {
		t.Fatal(err)
	}
	s, c := cfg.Switch, cfg.Caliper
	if s.Line != "GPIO17" || s.Rest != "GPIO27" || !s.ActiveLow {
		t.Errorf("switch %+v", s)
	}
	if c.Port != adapter.Name || c.Format != "decimal" || c.Unit != "mm" || c.Baud != 9600 || c.Trigger != "send" {
		t.Errorf("caliper %+v", c)
	}
	if cfg.Press != (config.Press{Name: "press-7", Topic: "riverside/hose-shop"}) || cfg.MQTT.Broker != "" {
		t.Errorf("press %+v, broker %q", cfg.Press, cfg.MQTT.Broker)
	}
	text, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if n := strings.Count(string(text), "#"); n < 90 || !strings.Contains(string(text), `line = "GPIO17"               # the input it is on`) {
		t.Errorf("%d notes:\n%s", n, text)
	}
}

// TestWalkWithoutDevices: what is not there leaves the example's value, and is told
// with what to do; the files are written all the same.
func TestWalkWithoutDevices(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "station")
	code, out, said := initBy(t, devices{ports: noPorts, board: noBoard, contacts: sensors.Open}, []cue{
		{"press Enter:", types("")},
		{"once more?", types("")},
		{"once more?", types("n")},
		{"Name of this press", types("press-7")},
		{"Site and area", types("")},
		{"Broker", types("")},
	}, dir, "--find")
	if code != exitDone || !strings.Contains(out, "no faults") {
		t.Errorf("exit %d", code)
	}
	for _, want := range []string{"No input can be looked at: no GPIO chip found", "benchtally ports names the inputs", "Is the caliper's cable in?", "benchtally listen PORT"} {
		if !strings.Contains(said, want) {
			t.Errorf("%q is not said", want)
		}
	}
	cfg, err := loadConfig(filepath.Join(dir, "bench.toml"))
	if err != nil || cfg.Switch.Line != "GPIO17" || cfg.Press.Name != "press-7" {
		t.Errorf("%+v, %v", cfg, err)
	}
}

// TestWalkRefusesDoubt: what may be several things is told and left alone, and what
// does not count is not taken.
func TestWalkRefusesDoubt(t *testing.T) {
	for _, tc := range []struct {
		name string
		flip uint64
		dead bool
		says string
	}{
		{"several lines move", 0b111, false, "it is not clear which is meant"},
		{"nothing is counted", 0b010, true, "Nothing was counted"},
	} {
		t.Run(tc.name, func(t *testing.T) {
			b := newBay(0b111, "GPIO5", "GPIO17", "GPIO27")
			b.dead = tc.dead
			dir := t.TempDir()
			cues := []cue{
				{"press Enter:", types("")},
				{"Close the ring once,", func() string { time.Sleep(500 * time.Millisecond); b.stroke(tc.flip); return "" }},
				{tc.says, func() string { return "" }},
				{"once more?", types("")},
			}
			code, _, _ := initBy(t, b.devices(), cues, dir, "--find", "--wait", "2s", "--port", "/dev/caliper0", "--name", "press-7", "--topic", "a", "--broker", "")
			cfg, err := loadConfig(filepath.Join(dir, "bench.toml"))
			if code != exitDone || err != nil || cfg.Switch.Line != "GPIO17" || cfg.Switch.Rest != "" {
				t.Errorf("exit %d, %+v, %v", code, cfg, err)
			}
		})
	}
}

// TestWalkHears: what a caliper sends that is no reading, and one that sends by itself.
func TestWalkHears(t *testing.T) {
	if testing.Short() {
		t.Skip("waits for pseudo terminals")
	}
	given := []string{"--find", "--wait", "3s", "--line", "GPIO17", "--name", "press-7", "--topic", "a", "--broker", ""}
	for _, tc := range []struct {
		name, sent string
		times      int
		says       string
		answers    []cue
		want       string // port, format, unit, line, trigger as they are written
	}{
		{"silence", "", 0, "Nothing came within 3s", []cue{{"once more?", types("")}}, ""},
		{"words", "hello there\r\n", 1, "which is not taken", []cue{{"once more?", types("")}}, ""},
		{"another value than it shows", "+1.2040\r\n", 1, "It sends no unit", []cue{{"Does the caliper show 1.2040", types("n")}, {"once more?", types("")}}, ""},
		{"inches are likely", "+1.2040\r\n", 1, "It sends no unit", []cue{{"Does the caliper show 1.2040", types("")}}, "decimal in 9600 8N1 send"},
		{"its own unit", "+30.58 ,MM\r\n", 1, "decimal-unit", []cue{{"Does the caliper show 30.58 mm?", types("y")}}, "decimal-unit in 9600 8N1 send"},
		{"a stream", "+1.2040\r\n", 60, "It sends by itself", []cue{{"Does the caliper show 1.2040", types("in")}}, "decimal in 9600 8N1 stream"},
	} {
		t.Run(tc.name, func(t *testing.T) {
			adapter, push := terminal(t, tc.sent, tc.times)
			d := newBay(0).devices(adapter)
			if tc.times > 1 {
				d.hear = 2500 * time.Millisecond
			}
			cues := append([]cue{{"push its button", push}, {tc.says, func() string { return "" }}}, tc.answers...)
			dir := t.TempDir()
			code, _, _ := initBy(t, d, cues, append(given, dir)...)
			cfg, err := loadConfig(filepath.Join(dir, "bench.toml"))
			if code != exitDone || err != nil {
				t.Fatalf("exit %d, %v", code, err)
			}
			c := cfg.Caliper
			got := fmt.Sprintf("%s %s %s %s", c.Format, c.Unit, caliperPort(cfg).Line(), c.Trigger)
			if c.Port != adapter.Name {
				got = ""
			}
			if got != tc.want {
				t.Errorf("got %q, want %q", got, tc.want)
			}
		})
	}
}
