package main

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"sync"
	"text/template"
	"time"

	"benchtally/agent/config"
	"benchtally/agent/crimp"
	"benchtally/agent/record"
	"benchtally/agent/rehearsal"
	"benchtally/agent/station"
	"benchtally/sensors"
)

// demoCommand runs the agent in an invented shop.
type demoCommand struct {
	Speed  *float64      `placeholder:"N" help:"How many times faster than real the shop goes, 1 to 120; without it 20, with --try 1."`
	For    time.Duration `placeholder:"DURATION" help:"End after this time by the wall's clock, such as 30s; without it after the shift, or with Ctrl-C."`
	Listen string        `default:"127.0.0.1:8737" placeholder:"ADDR" help:"Where the page is shown; ${default}."`
	Try    bool          `help:"You are the technician: the simulated press and caliper wait for what is touched on a page of their own."`
	JSON   bool          `name:"json" help:"Print the records as JSON, one a line, instead of telling them."`
}

const (
	demoSpeed = 20.0 // as the flag's help has it
	trySpeed  = 1.0
	demoBaud  = 9600
	demoSeed  = 1
)

// speed is how many times faster than real the shop goes.
func (c *demoCommand) speed() float64 {
	switch {
	case c.Speed != nil:
		return *c.Speed
	case c.Try:
		return trySpeed
	}
	return demoSpeed
}

// demoConfig is the configuration of the invented shop.
var demoConfig = template.Must(template.New("bench.toml").Parse(`# An invented shop: nothing here is a specification.
[press]
name = "north-bench"
topic = "riverside/hose-shop"
[switch]
line = "GPIO17"
[caliper]
port = "{{.Port}}"
[store]
path = "bench.db"
[mqtt]
broker = "tcp://{{.Broker}}"
[page]
listen = "{{.Listen}}"
[[specs]]
file = "specs.csv"
[[jobs]]
file = "jobs.csv"
[[standards]]
name = "{{.Ring}}"
value = "{{.RingValue}}"
`))

// Run shows a shift. It ends without an error when its time is over.
func (c *demoCommand) Run(e env) (err error) {
	logTo(io.Discard) // what matters is told on the output
	speed := c.speed()
	if !(speed >= rehearsal.Slowest && speed <= rehearsal.Fastest) {
		return invalid{fmt.Errorf("--speed %g: want %g to %g", speed, rehearsal.Slowest, rehearsal.Fastest)}
	}
	if c.For < 0 {
		return invalid{fmt.Errorf("--for %s: want a time to run, such as 30s", c.For)}
	}
	ctx, cancel := context.WithCancel(e.ctx)
	defer cancel()
	if c.For > 0 {
		ctx, cancel = context.WithTimeout(ctx, c.For)
		defer cancel()
	}
	dir, err := os.MkdirTemp("", "benchtally-demo-")
	if err != nil {
		return err
	}
	plant, err := rehearsal.StartBroker("127.0.0.1:0")
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, plant.Close()) }()
	gauge, err := rehearsal.NewCaliper(dir, demoBaud)
	if err != nil {
		return err
	}
	defer gauge.Close()
	cfg, err := c.configure(dir, gauge.Port(), plant.Addr())
	if err != nil {
		return err
	}
	today := time.Now()
	clock := rehearsal.NewClock(time.Date(today.Year(), today.Month(), today.Day(), 6, 0, 0, 0, time.Local), speed)
	press := rehearsal.NewPress(clock, demoSeed)
	a, err := newAgent(cfg, clock.Now)
	if err != nil {
		return err
	}
	a.demo = true
	show := newTeller(e.stdout, c.JSON, clock.Now)
	a.told = show.records
	show.introduce(cfg, plant.Addr(), c)
	a.onPage = func(address string) { show.line("The page is at http://%s", address) }
	if c.Try {
		a.beside = practice{rehearsal.NewTrial(demoBench{a}, press, gauge), ctx}.handler
		a.onPage = func(address string) {
			show.line("The page is at http://%s, the press and the caliper are at http://%[1]s/practice", address)
		}
	}
	shift := func(ctx context.Context) error {
		defer cancel() // the shift ends the demo
		if c.Try {
			<-ctx.Done()
			return nil
		}
		return rehearsal.Shift(ctx, demoBench{a}, clock, press, gauge, plant, show.say)
	}
	watch := a.watchSwitch(func() (sensors.Contacts, error) { return press, nil }, press.Now)
	err = a.run(ctx, watch, a.watchCaliper(), shift)
	show.conclude(cfg, plant)
	return err
}

// configure writes the shop's configuration and reads it as any other.
func (c *demoCommand) configure(dir, port, broker string) (*config.Config, error) {
	for name, write := range map[string]func(io.Writer) error{"specs.csv": rehearsal.WriteSpecs, "jobs.csv": rehearsal.WriteJobs} {
		file, err := os.Create(filepath.Join(dir, name))
		if err != nil {
			return nil, err
		}
		if err := errors.Join(write(file), file.Close()); err != nil {
			return nil, err
		}
	}
	name := filepath.Join(dir, "bench.toml")
	file, err := os.Create(name)
	if err != nil {
		return nil, err
	}
	err = demoConfig.Execute(file, map[string]string{
		"Port": port, "Broker": broker, "Listen": c.Listen, "Ring": rehearsal.Ring, "RingValue": rehearsal.RingValue,
	})
	if err := errors.Join(err, file.Close()); err != nil {
		return nil, err
	}
	cfg, err := loadConfig(name)
	if err != nil {
		return nil, fmt.Errorf("the demo's configuration: %w", err)
	}
	return cfg, nil
}

// demoBench is the agent as the simulated technician has it.
type demoBench struct{ a *agent }

// Act does an action at the page's side of the agent.
func (b demoBench) Act(ctx context.Context, action station.Action) error {
	_, err := b.a.act(ctx, action)
	return err
}

// View is what the screen shows.
func (b demoBench) View() station.View { return b.a.health.seen() }

// teller tells on the output what happens in the shop.
type teller struct {
	mu     sync.Mutex
	out    *bufio.Writer
	json   bool
	now    func() time.Time
	counts map[string]int
	pieces map[string]record.Record // the latest verdict of each: one that is measured later is judged anew
}

func newTeller(w io.Writer, json bool, now func() time.Time) *teller {
	return &teller{out: bufio.NewWriter(w), json: json, now: now, counts: map[string]int{}, pieces: map[string]record.Record{}}
}

// line writes a line; with JSON there are only records.
func (t *teller) line(format string, args ...any) {
	t.mu.Lock()
	defer t.mu.Unlock()
	if !t.json {
		_, _ = fmt.Fprintf(t.out, format+"\n", args...) // nobody misses what nobody reads
		_ = t.out.Flush()
	}
}

// say tells what happens in the shop and shows in no record.
func (t *teller) say(text string) { t.line("%s  ( %s )", t.now().Format("15:04:05"), text) }

func (t *teller) records(records []record.Record) {
	t.mu.Lock()
	defer t.mu.Unlock()
	for i := range records {
		r := &records[i]
		t.counts[string(r.Kind)]++
		if how := string(r.Outcome) + r.State; how != "" {
			t.counts[string(r.Kind)+how]++
		}
		if r.Kind == record.Verdict {
			t.pieces[r.Piece] = *r
		}
		if t.json {
			_, _ = t.out.Write(append(r.AppendJSON(nil), '\n'))
		} else {
			_, _ = fmt.Fprintf(t.out, "%s  %s\n", r.At.Local().Format("15:04:05"), tell(*r))
		}
	}
	_ = t.out.Flush()
}

func (t *teller) introduce(cfg *config.Config, broker string, c *demoCommand) {
	what := "A shift of an invented hose shop"
	if c.Try {
		what = "An invented hose shop for you to try"
	}
	t.line("%s, at %g times real time. Advice only: the maker's current", what, c.speed())
	t.line("crimp specification, local codes and trained people decide.")
	t.line("")
	t.line("Press %s, caliper on %s at %d baud", cfg.Press.Name, cfg.Caliper.Port, demoBaud)
	t.line("Broker on %s, topics below %s", broker, cfg.Base())
	t.line("Records in %s; look with: benchtally log --config %s", cfg.Store.Path, cfg.File)
	t.line("")
}

func (t *teller) conclude(cfg *config.Config, plant *rehearsal.Broker) {
	events := 0
	for _, n := range plant.Received() {
		events += n
	}
	n := func(key string) int { return t.counts[key] }
	pieces, again := map[crimp.Outcome]int{}, 0
	for _, r := range t.pieces {
		pieces[r.Outcome]++
		if r.Crimp > 1 {
			again++
		}
	}
	t.line("")
	t.line("%d strokes, %d readings; %d pieces within limits, %d crimped again, %d scrapped, %d not judged", n("stroke"), n("reading"),
		pieces[crimp.Pass], again, pieces[crimp.Scrap], pieces[crimp.Unsure])
	t.line("%d corrections, cage care due %s and done %s, faults on %s and off %s", n("correction"),
		plural(n("caredue"), "time"), plural(n("caredone"), "time"), plural(n("faulton"), "time"), plural(n("faultoff"), "time"))
	t.line("%d messages reached the broker. The records stay in %s", events, cfg.Store.Path)
}
