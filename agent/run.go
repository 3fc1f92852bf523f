package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net/http"
	"os"
	"runtime"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	"golang.org/x/sync/errgroup"

	"benchtally/agent/config"
	"benchtally/agent/people"
	"benchtally/agent/record"
	"benchtally/agent/station"
	"benchtally/caliper"
	"benchtally/mqtt"
	"benchtally/mqtt/sparkplug"
	"benchtally/sensors"
	"benchtally/store"
)

// drainTime is how long the end of the inputs waits for the broker, and for a
// store that takes nothing.
const drainTime = 10 * time.Second

// How long a slow card may take to open the store, and to keep what is left at the
// end, before the service manager ends the agent; our own figures, no source.
const (
	startMost = 15 * time.Minute
	stopMost  = 3 * time.Minute
)

// runCommand is the agent at the press.
type runCommand struct {
	Config string `required:"" placeholder:"FILE" help:"Configuration; \"benchtally init DIR\" writes a commented one."`
	Inputs string `placeholder:"-" help:"Take tape lines from standard input instead of hardware, and print each record once it is kept."`
}

// Run works until it is stopped, or until the inputs end.
func (c *runCommand) Run(e env) error {
	defer logTo(e.stderr)()
	if os.Getenv("GOMAXPROCS") == "" {
		// The work is a chain of short steps: handing each to another core costs
		// a quarter more than doing them on one.
		runtime.GOMAXPROCS(1)
	}
	if c.Inputs != "" && c.Inputs != "-" {
		return invalid{fmt.Errorf("--inputs %s: only - is possible, standard input", c.Inputs)}
	}
	if c.Inputs == "" {
		if err := sensors.Init(); err != nil {
			slog.Warn("input lines cannot be read here", "err", err)
		}
	}
	cfg, err := loadOpen(c.Config)
	if err != nil {
		return err
	}
	for _, line := range cfg.Warnings() {
		slog.Warn("configuration", "line", line)
	}
	if err := missingStore(cfg); err != nil {
		return err
	}
	opened := hold(startMost)
	a, err := newAgent(cfg, time.Now)
	opened()
	if err != nil {
		restartLater(e.ctx, err)
		return err
	}
	markStore(cfg)
	if c.Inputs == "-" {
		a.print = e.stdout
		return a.run(e.ctx, func(ctx context.Context) error { return feed(ctx, e.stdin, cfg, a.now, a.bench) })
	}
	open := func() (sensors.Contacts, error) { return sensors.Open(switchLines(cfg)) }
	sources := []func(context.Context) error{a.watchSwitch(open, a.now), a.watchCaliper()}
	if cfg.Scanner.Port != "" {
		sources = append(sources, a.watchScanner())
	}
	return a.run(e.ctx, sources...)
}

// logTo sends the log to w as text; under a service manager, which stamps each
// line itself, without times. The answer ends the log.
func logTo(w io.Writer) (end func()) {
	options := &slog.HandlerOptions{Level: slog.LevelInfo}
	if os.Getenv("JOURNAL_STREAM") != "" {
		options.ReplaceAttr = func(groups []string, a slog.Attr) slog.Attr {
			if a.Key == slog.TimeKey && len(groups) == 0 {
				return slog.Attr{}
			}
			return a
		}
	}
	log := newSteady(slog.NewTextHandler(w, options))
	slog.SetDefault(slog.New(log))
	return log.flush
}

// restartRest is how long a start that fails takes under a service manager, which
// starts the agent anew at once and says so in the log each time.
const restartRest = time.Minute

// restartLater tells the service manager why the agent cannot start, and waits a
// while, so that a store that stays damaged does not fill the log. A wrong
// configuration is not tried again, so nothing has to be waited for.
func restartLater(ctx context.Context, err error) {
	if os.Getenv("NOTIFY_SOCKET") == "" || exitCode(err) == exitUsage {
		return
	}
	notify("STATUS=cannot start, and is tried again each minute: " + strings.Join(strings.Fields(err.Error()), " "))
	slog.Error("the agent cannot start; it is tried again in a minute", "err", err)
	rest := time.NewTimer(restartRest)
	defer rest.Stop()
	select {
	case <-ctx.Done():
	case <-rest.C:
	}
}

// agent is one running agent: what comes in goes to the bench, what the bench
// has kept goes to the publisher and the page.
type agent struct {
	cfg       *config.Config
	now       func() time.Time
	store     *store.Store
	clock     *clock
	bench     *bench
	publisher *mqtt.Publisher // nil: no broker is named
	node      *sparkplug.Node // nil: the configuration wants none
	pair      *keyPair        // nil: the page is served without TLS
	door      *people.Door    // nil: nobody signs in
	health    *health
	watchdog  *watchdog
	tally     *tally
	machine   machine
	parts     parts
	jobs      *jobs
	scans     scans
	reading   sync.Mutex   // while a paper or a picture is made
	holders   *people.Door // of badges; nil: the configuration names no operators

	outputChanged chan struct{}                   // says that the state of an output has changed
	print         io.Writer                       // gets each record once it is kept; nil: nobody
	told          func([]record.Record)           // likewise
	onPage        func(address string)            // hears where the page is; nil: nobody
	beside        func(http.Handler) http.Handler // serves more beside the page; nil: nothing more
	demo          bool
	began         time.Time                 // by the wall's clock
	rescues       []store.Rescued           // how the store was rescued before, oldest first
	troubled      int                       // which trouble the store had last, of keepHouse
	fail          context.CancelCauseFunc   // ends the agent; set while it runs
	tidying       sync.Mutex                // guards condensed
	condensed     string                    // the order that was tidied last
	ending        string                    // what was logged of certificates that end; of keepHouse
	renewed       atomic.Pointer[time.Time] // end of the press's certificate as its file is now; nil: not looked at
}

// newAgent opens the store and all that needs no device.
func newAgent(cfg *config.Config, now func() time.Time) (*agent, error) {
	a := &agent{cfg: cfg, now: now, began: time.Now(), outputChanged: make(chan struct{}, 1), tally: newTally(), machine: machine{"/"}, fail: func(error) {}, troubled: unjudged}
	a.pair, a.door = pagePair(cfg.Page), pageDoor(cfg.Page)
	if a.holders = a.door; a.holders == nil && cfg.Page.Operators != "" {
		a.holders = people.NewDoor(cfg.Page.Operators, people.Settings{Now: time.Now})
	}
	rules := stationRules(cfg)
	a.jobs = newJobs(cfg, time.Now)
	rules.Jobs = a.jobs.Of
	rules.ClockState = func() string { return a.clock.state() }
	kept, s, err := openSound(cfg, rules, now, func(kept *store.Store) station.Log { return timedLog{&keeper{Store: kept}, a.tally} })
	if err != nil {
		return nil, err
	}
	a.store = kept
	if a.rescues, err = kept.Rescues(); err != nil {
		slog.Warn("how the store was rescued cannot be told", "err", err)
	}
	a.clock = newClock(readClock, kept, bootID(), s.View().Clock)
	a.bench = newBench(s, now, a.onKept)
	a.bench.damaged = a.suspect
	a.bench.clock = a.clock
	a.watchdog = newWatchdog()
	a.watchParts()
	a.health = newHealth(a, s.View())
	a.watchdog.status = func() string { return oneLine(a.health.board.Now()) }
	if err := a.openOutputs(); err != nil {
		return nil, errors.Join(invalid{err}, kept.Close())
	}
	return a, nil
}

// run works until ctx ends or all sources have ended, keeps what has come in,
// says goodbye to the broker and closes the store.
func (a *agent) run(ctx context.Context, sources ...func(context.Context) error) (err error) {
	defer func() { err = errors.Join(err, a.store.Close()) }()
	ctx, fail := context.WithCancelCause(ctx)
	defer fail(nil)
	a.fail = fail
	// Services outlive the sources: what came in last is kept and shown too.
	services, stop := context.WithCancel(context.WithoutCancel(ctx))
	defer stop()
	var work errgroup.Group
	work.Go(func() error { return a.serveControl(services) })
	work.Go(func() error { return a.servePage(services) })
	work.Go(func() error { return a.serveFigures(services) })
	work.Go(func() error { return a.keepHouse(services) })
	go a.jobs.watch(services)
	a.runOutputs(services, &work)
	var bench errgroup.Group
	bench.Go(func() error { return a.bench.run(ctx) })
	in, inCtx := errgroup.WithContext(ctx)
	for _, source := range sources {
		in.Go(func() error { return source(inCtx) })
	}
	work.Go(func() error { a.watchdog.run(services); return nil })
	err = in.Wait()
	notify("STOPPING=1")
	defer hold(stopMost)()
	a.bench.end()
	err = errors.Join(err, bench.Wait())
	if cause := context.Cause(ctx); errors.Is(cause, store.ErrCorrupt) {
		err = errors.Join(err, cause)
	}
	a.parts.bench.end()
	if a.print != nil && a.publisher != nil && ctx.Err() == nil {
		a.drain(ctx)
	}
	a.health.publish() // what stays behind at the broker is how it ended
	stop()
	return errors.Join(err, work.Wait())
}

// onKept hands on what a commit has kept.
func (a *agent) onKept(records []record.Record, v station.View) {
	if a.print != nil {
		a.printRecords(records)
	}
	if a.told != nil {
		a.told(records)
	}
	a.tally.count(records)
	logFaults(records)
	a.wakeOutputs()
	a.health.show(v)
}

// logFaults logs what begins and ceases to be wrong with the devices. Broker and
// store have their own lines, which also tell of what was too short for a record.
func logFaults(records []record.Record) {
	for _, r := range records {
		if r.Kind != record.Fault || r.Source == record.Broker || r.Source == record.Store {
			continue
		}
		if r.State == record.On {
			slog.Warn("a fault begins", "source", string(r.Source), "reason", r.Reason)
		} else {
			slog.Info("a fault ends", "source", string(r.Source), "reason", r.Reason)
		}
	}
}

func (a *agent) printRecords(records []record.Record) {
	line := make([]byte, 0, 512*len(records))
	for i := range records {
		line = append(records[i].AppendJSON(line), '\n')
	}
	if _, err := a.print.Write(line); err != nil {
		slog.Error("records are kept but cannot be printed", "err", err)
		a.print = io.Discard
	}
}

// watchSwitch brings the strokes of the press.
func (a *agent) watchSwitch(open func() (sensors.Contacts, error), now func() time.Time) func(context.Context) error {
	part := a.source("contacts", contactsLimit)
	return func(ctx context.Context) error {
		defer part.end()
		events := make(chan sensors.Event, 256)
		var watch errgroup.Group
		watch.Go(func() error {
			defer close(events)
			return sensors.Watch(ctx, open, sensors.NewFilter(filterSettings(a.cfg)), part.through(now), events)
		})
		for e := range events {
			a.bench.put(ctx, fromSwitch(e))
		}
		return watch.Wait()
	}
}

// watchCaliper brings the readings of the caliper.
func (a *agent) watchCaliper() func(context.Context) error {
	part := a.source("caliper", portLimit)
	return func(ctx context.Context) error {
		defer part.end()
		reader, err := caliper.NewReader(readerSettings(a.cfg))
		if err != nil {
			return err
		}
		events := make(chan caliper.Event, 256)
		var watch errgroup.Group
		watch.Go(func() error {
			defer close(events)
			return caliper.Run(ctx, caliperPort(a.cfg), reader, part.through(a.now), events)
		})
		troubles := causes{}
		for e := range events {
			if e.Format != "" {
				a.health.format(e.Format)
			}
			a.bench.put(ctx, troubles.input(e))
		}
		return watch.Wait()
	}
}
