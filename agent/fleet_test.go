package main

import (
	"encoding/json"
	"errors"
	"flag"
	"fmt"
	"hash/maphash"
	"log/slog"
	"net/url"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"golang.org/x/sync/errgroup"

	"benchtally/agent/record"
	"benchtally/mqtt"
)

// What the fleet of TestFleet is and does. Defaults are for an ordinary test run.
var (
	fleetPresses = flag.Int("presses", 20, "TestFleet: how many presses")
	fleetOutage  = flag.Duration("outage", 3*time.Second, "TestFleet: how long the broker is away")
	fleetPace    = flag.Duration("pace", 0, "TestFleet: from piece to piece at each press; 0: 20 ms for each press, at least 1.2 s")
	fleetWarm    = flag.Duration("warm", 0, "TestFleet: how long all goes well before; 0: one piece at each press")
	fleetRate    = flag.Float64("rate", 0, "TestFleet: [mqtt] rate of each press; 0: no limit")
	fleetWindow  = flag.Int("window", 1, "TestFleet: [mqtt] window of each press")
	fleetFlight  = flag.Int("inflight", 1, "TestFleet: max_inflight_messages of the broker: how many are on their way to the collector at once")
	fleetBare    = flag.Duration("bare", 250*time.Millisecond, "TestFleet: how long bare publishers are measured")
	fleetTLS     = flag.Bool("tls", false, "TestFleet: all connections by TLS")
)

// TestFleet runs many agents in this process, each with its own store on disk,
// against one Mosquitto. The broker is killed under load and stays away for a
// while; later a tenth of the agents is started anew. In the end a subscriber must
// have every event of every press, in order and as the store has it. With -v it
// prints what was measured; nothing is judged by time.
//
// A broker that is killed loses what it has acknowledged and not yet handed on.
// The subscriber finds that by the gaps in the sequences and has it sent again.
func TestFleet(t *testing.T) {
	if testing.Short() {
		t.Skip("a fleet takes a while")
	}
	f := newFleet(t)
	f.start(t)
	time.Sleep(f.warm) // a time of the script, as the others here are: the fleet works
	f.outage(t)
	f.restartSome(t)
	f.finish(t)
	f.check(t)
	f.bare(t)
	t.Log(f.table.String())
}

// fleet is all of a plant.
type fleet struct {
	pace, warm time.Duration
	window     int
	broker     *plantBroker
	collector  *collector
	presses    []*fleetPress
	roster     *roster
	log        *fleetLog
	table      figures

	running, killed, back, empty, calm time.Time                  // when all were connected, and so on
	asked                              map[string]map[uint64]bool // sequences that were sent again on the collector's wish
}

func newFleet(t *testing.T) *fleet {
	t.Helper()
	n := *fleetPresses
	f := &fleet{
		pace: *fleetPace, warm: *fleetWarm, window: *fleetWindow,
		log: &fleetLog{warnings: map[string]int{}}, asked: map[string]map[uint64]bool{},
	}
	if f.pace == 0 {
		f.pace = max(shortestPace, time.Duration(n)*20*time.Millisecond)
	}
	if n < 1 || f.pace < shortestPace {
		t.Fatalf("-presses %d -pace %v: want 1 or more, and %v or more", n, f.pace, shortestPace)
	}
	if f.warm == 0 {
		f.warm = f.pace
	}
	raiseFiles(t, uint64(5*n+500)) // store, socket, connection of each; a bare connection, and what else there is

	// Agents that begin to listen for commands set the process's mask for new files
	// and put back what they found; many at once find each other's.
	mask := syscall.Umask(0o022)
	before := slog.Default()
	slog.SetDefault(slog.New(f.log))
	t.Cleanup(func() {
		slog.SetDefault(before)
		syscall.Umask(mask)
	})

	dir := t.TempDir()
	specs, err := os.ReadFile(filepath.Join(shifts, "specs.csv"))
	if err != nil {
		t.Fatal(err)
	}
	write(t, filepath.Join(dir, "specs.csv"), string(specs))
	f.broker = newPlantBroker(t, dir, *fleetTLS, *fleetFlight)
	f.collector = newCollector(t, f.broker)
	for i := range n {
		f.presses = append(f.presses, newFleetPress(t, dir, i+1, fmt.Sprintf("[mqtt]\n%srate = %v\nwindow = %d\n", f.broker.config, *fleetRate, f.window)))
	}
	f.table.add("presses; pace, window and rate of each", "%d; %v, %d, %v", n, f.pace, f.window, *fleetRate)
	f.table.add("outage; TLS; in flight to the collector", "%v; %t; %d", *fleetOutage, *fleetTLS, *fleetFlight)
	return f
}

// raiseFiles lets this process, and those it starts, have so many open files.
func raiseFiles(t *testing.T, want uint64) {
	t.Helper()
	var limit syscall.Rlimit
	if err := syscall.Getrlimit(syscall.RLIMIT_NOFILE, &limit); err != nil {
		t.Fatal(err)
	}
	// Set even if it is high enough: only then does a child get it too.
	raised := syscall.Rlimit{Cur: max(limit.Cur, want), Max: max(limit.Max, want)}
	if err := syscall.Setrlimit(syscall.RLIMIT_NOFILE, &raised); err != nil {
		t.Fatalf("%d open files are wanted, %d are allowed: take fewer presses or raise the limit (ulimit -Hn): %v", want, limit.Max, err)
	}
}

// start opens all agents and has them connect at once, as after a power cut of the
// plant.
func (f *fleet) start(t *testing.T) {
	t.Helper()
	quiet := memoryOf("self")
	begun := time.Now()
	f.each(t, 8, (*fleetPress).open)
	f.table.add("agents opened", "%v", short(time.Since(begun)))
	begun = time.Now()
	for _, p := range f.presses {
		p.work()
	}
	t.Cleanup(func() {
		for _, p := range f.presses {
			if err := p.end(); err != nil {
				t.Error(err)
			}
		}
	})
	waitFor(t, "all connected", func() bool {
		for _, p := range f.presses {
			if !p.agent.publisher.State().Connected {
				return false
			}
		}
		return true
	})
	f.running = time.Now()
	_, connected := f.log.times()
	f.table.add("all connected after", "%v, at most %d in a second", short(time.Since(begun)), busiest(connected, begun, time.Now()))
	f.roster = newRoster(f.presses, f.pace)
	go f.roster.run()
	t.Cleanup(f.roster.end)
	time.Sleep(f.warm / 2)
	runtime.GC()
	now, n := memoryOf("self"), float64(len(f.presses))
	f.table.add("this process: RSS, anonymous of it", "%.0f, %.0f MB", now["VmRSS"], now["RssAnon"])
	f.table.add("a press: RSS, anonymous of it, goroutines", "%.0f, %.0f kB, %.1f",
		(now["VmRSS"]-quiet["VmRSS"])*1024/n, (now["RssAnon"]-quiet["RssAnon"])*1024/n, float64(runtime.NumGoroutine())/n)
	broker := f.broker.memory()
	f.table.add("Mosquitto: RSS", "%.1f MB, %.1f kB for each press", broker["VmRSS"], broker["VmRSS"]*1024/n)
}

// each does something with every press, so many at once.
func (f *fleet) each(t *testing.T, limit int, do func(*fleetPress) error) {
	t.Helper()
	var work errgroup.Group
	work.SetLimit(limit)
	for _, p := range f.presses {
		work.Go(func() error { return do(p) })
	}
	if err := work.Wait(); err != nil {
		t.Fatal(err)
	}
}

func (f *fleet) sum(of func(*fleetPress) uint64) (n uint64) {
	for _, p := range f.presses {
		n += of(p)
	}
	return n
}

func kept(p *fleetPress) uint64 { return p.agent.store.Last() }
func sent(p *fleetPress) uint64 { return p.agent.store.SentSeq() }

// outage kills the broker under load, brings it back after a while, and waits until
// what was kept meanwhile has been sent.
func (f *fleet) outage(t *testing.T) {
	t.Helper()
	before := f.sum(kept)
	f.killed = time.Now()
	f.broker.kill()
	time.Sleep(*fleetOutage)
	backlog := make([]uint64, len(f.presses))
	for i, p := range f.presses {
		p.cuts = append(p.cuts, sent(p))
		backlog[i] = kept(p)
	}
	f.table.add("events before the outage; kept during it", "%d; %d", before, f.sum(kept)-before)
	attempts, _ := f.log.times()
	now := time.Now()
	f.table.add("attempts to connect during it: all; at most in a second; in each second",
		"%d; %d; %v", len(attempts), busiest(attempts, f.killed, now), bySecond(attempts, f.killed, now))
	if len(attempts) < len(f.presses) {
		t.Errorf("%d attempts of %d presses were seen while the broker was away", len(attempts), len(f.presses))
	}

	f.broker.start()
	f.back = time.Now()
	var acked []uint64 // of all presses, each time they are looked at
	var times []time.Time
	first, emptied := make(spans, len(f.presses)), make(spans, len(f.presses))
	work := [2]time.Duration{cpuOf("self"), f.broker.cpu()}
	left := len(f.presses)
	waitFor(t, "what was kept during the outage to be sent", func() bool {
		now, sum := time.Now(), uint64(0)
		for i, p := range f.presses {
			n := sent(p)
			sum += n
			if first[i] == 0 && n > p.cuts[0] {
				first[i] = now.Sub(f.back)
			}
			if emptied[i] == 0 && n >= backlog[i] {
				emptied[i] = now.Sub(f.back)
				left--
			}
		}
		acked, times = append(acked, sum), append(times, now)
		return left == 0
	})
	f.empty = time.Now()
	f.collector.catchUp(t)
	caught := time.Now()
	work = [2]time.Duration{cpuOf("self") - work[0], f.broker.cpu() - work[1]}
	attempts, connected := f.log.times()
	f.table.add("after the restart: connected, at most in a second; in each second", "%d; %v", busiest(connected, f.back, caught), bySecond(connected, f.back, caught))
	f.table.add("after the restart: attempts that failed", "%d", len(between(attempts, f.back, caught)))
	f.table.add("after the restart: first event of a press acknowledged (median, 99 %, last)", "%v", first)
	f.table.add("after the restart: first event of a press at the collector", "%v", f.firstEvents(f.back))
	f.table.add("after the restart: backlog of a press acknowledged", "%v", emptied)
	f.table.add("after the restart: the collector has it all after", "%v", short(caught.Sub(f.back)))
	f.table.add("after the restart: CPU of this process; of Mosquitto", "%v; %v", short(work[0]), short(work[1]))
	f.table.add("drain: acknowledged, most in a second", "%d", steepest(acked, times))
	f.collector.mu.Lock()
	arrivals := f.collector.arrivals
	f.collector.mu.Unlock()
	f.table.add("drain: at the collector, most in a second", "%d", busiest(arrivals, f.back, caught))
	if r := *fleetRate; r > 0 {
		f.table.add("drain: limit of all presses together", "%.0f a second", r*float64(len(f.presses)))
	}
	f.table.add("acknowledged within, before the outage (median, 99 %, last)", "%v", f.collector.acknowledged(f.running, f.killed))
	f.table.add("acknowledged within, during the drain", "%v", f.collector.acknowledged(f.back, f.empty))
	broker := f.broker.memory()
	f.table.add("Mosquitto: most RSS since its restart", "%.1f MB", broker["VmHWM"])
}

// firstEvents is how long after a moment each press's next event came.
func (f *fleet) firstEvents(after time.Time) (waits spans) {
	f.collector.mu.Lock()
	defer f.collector.mu.Unlock()
	for _, p := range f.presses {
		tray := f.collector.trays[p.source]
		if tray == nil {
			continue
		}
		for _, a := range tray.first {
			if a.at.After(after) {
				waits = append(waits, a.at.Sub(after))
				break
			}
		}
	}
	return waits
}

// restartSome starts a tenth of the agents anew on their stores, while all others
// go on.
func (f *fleet) restartSome(t *testing.T) {
	t.Helper()
	begun := time.Now()
	some := max(1, len(f.presses)/10)
	for _, p := range f.presses[:some] {
		session := p.agent.publisher.State().Session
		run := p.agent.store.Run()
		if err := p.again(); err != nil {
			t.Fatal(err)
		}
		if p.agent.store.Run() == run {
			t.Errorf("%s: run %s twice", p.name, run)
		}
		waitFor(t, p.name+" connected again", func() bool { return p.agent.publisher.State().Connected })
		if got := p.agent.publisher.State().Session; got <= session {
			t.Errorf("%s: session %d after %d", p.name, got, session)
		}
	}
	f.table.add("agents started anew; one after the other in", "%d; %v", some, short(time.Since(begun)))
	time.Sleep(f.warm / 2)
}

// finish ends the work, waits until everything is sent, has sent again what the
// broker had lost, and ends the agents.
func (f *fleet) finish(t *testing.T) {
	t.Helper()
	f.roster.end()
	waitFor(t, "empty queues", func() bool {
		for _, p := range f.presses {
			if !p.settled() {
				return false
			}
		}
		return true
	})
	f.calm = time.Now()
	f.collector.catchUp(t)

	lost, from := 0, 0
	for _, p := range f.presses {
		gaps := f.collector.missing(p.source, kept(p))
		if len(gaps) > 0 {
			from++
		}
		f.checkLost(t, p, gaps)
		for _, gap := range gaps {
			f.askAgain(t, p, gap)
			lost += int(gap[1]-gap[0]) + 1
		}
	}
	f.table.add("events in all; of them acknowledged, lost by the killed broker, and sent again on the collector's wish", "%d; %d of %d presses", f.sum(kept), lost, from)
	for _, p := range f.presses {
		waitFor(t, p.name+"'s last missing event", func() bool { return len(f.collector.missing(p.source, kept(p))) == 0 })
	}
	f.checkRetained(t)
	f.each(t, 64, (*fleetPress).end)
	f.collector.catchUp(t)
}

// checkLost wants what a press's events lack to be the killed broker's loss: the last
// that it had acknowledged, together with the first that it took before the collector
// was back. What was in flight at the cut may have been handed on all the same. The
// broker hands on in order, so anything else was lost by the press.
func (f *fleet) checkLost(t *testing.T, p *fleetPress, gaps [][2]uint64) {
	t.Helper()
	cut := p.cuts[0]
	for _, gap := range gaps {
		if gap[1] < cut || gap[0] > cut+uint64(f.window)+1 || len(gaps) > 1 {
			t.Errorf("%s: events %v have not arrived, and the broker was killed when %d was acknowledged", p.source, gaps, cut)
			return
		}
	}
}

// askAgain asks the running agent for a range, as `benchtally resend` does.
func (f *fleet) askAgain(t *testing.T, p *fleetPress, gap [2]uint64) {
	t.Helper()
	if f.asked[p.source] == nil {
		f.asked[p.source] = map[uint64]bool{}
	}
	for seq := gap[0]; seq <= gap[1]; seq++ {
		f.asked[p.source][seq] = true
	}
	waitFor(t, "the agent to take a wish", func() bool {
		query := url.Values{"from": {fmt.Sprint(gap[0])}, "to": {fmt.Sprint(gap[1])}}
		body, err := askAgent(t.Context(), p.path, "POST", "/resend", query, nil)
		switch {
		case err == nil:
			_ = body.Close()
			return true
		case strings.Contains(err.Error(), "ask again later"):
			return false // enough are waiting
		default:
			t.Fatal(err)
			return false
		}
	})
}

// checkRetained wants each press's retained topics as a newcomer sees them: online,
// in its latest session, with the number of its store.
func (f *fleet) checkRetained(t *testing.T) {
	t.Helper()
	topics := []string{"status", "info", "state/work", "state/cage", "state/last", "state/health"}
	found := retainedStates(t, f.broker, len(topics)*len(f.presses))
	for _, p := range f.presses {
		base := strings.TrimPrefix(p.source, "/")
		for _, topic := range topics {
			if found[base+"/"+topic] == "" {
				t.Errorf("%s/%s is not retained", base, topic)
			}
		}
		var s statusMessage
		var i infoState
		if err := errors.Join(json.Unmarshal([]byte(found[base+"/status"]), &s), json.Unmarshal([]byte(found[base+"/info"]), &i)); err != nil {
			t.Errorf("%s: %v", base, err)
			continue
		}
		if session := p.agent.publisher.State().Session; !s.Online || s.Session != session {
			t.Errorf("%s/status: %+v, want online in session %d", base, s, session)
		}
		if id := p.agent.store.ID(); i.Store != id {
			t.Errorf("%s/info: store %s, want %s", base, i.Store, id)
		}
	}
}

// check wants of each press exactly the events that its store has, first arrivals in
// order, repeats only where a connection was cut, and sessions that rise.
func (f *fleet) check(t *testing.T) {
	t.Helper()
	c := f.collector
	c.mu.Lock()
	defer c.mu.Unlock()
	for _, fault := range c.faults {
		t.Error(fault)
	}
	var mu sync.Mutex
	repeats, saved, sessions := 0, 0, uint64(0)
	f.each(t, 8, func(p *fleetPress) error {
		tray := c.trays[p.source]
		if tray == nil {
			return fmt.Errorf("%s: nothing has arrived", p.source)
		}
		last, payload := uint64(0), []byte(nil)
		err := p.wanted(func(e record.Event) error {
			var topic string
			var err error
			if payload, topic, err = mqtt.AppendEvent(payload[:0], strings.TrimPrefix(p.source, "/"), e); err != nil {
				return err
			}
			last = e.Seq
			if sum, there := tray.sums[e.Seq]; !there {
				t.Errorf("%s: event %d has not arrived", p.source, e.Seq)
			} else if sum != maphash.String(c.seed, topic)^maphash.Bytes(c.seed, payload) {
				t.Errorf("%s: event %d is not what the store gives", p.source, e.Seq)
			}
			return nil
		})
		if err != nil {
			return fmt.Errorf("%s: %w", p.source, err)
		}
		if n := uint64(len(tray.sums)); n != last || last == 0 {
			t.Errorf("%s: %d events arrived, the store has %d", p.source, n, last)
		}
		before := uint64(0)
		for _, a := range tray.first {
			if f.asked[p.source][a.seq] {
				continue // it takes its turn when it is sent again
			}
			if a.seq <= before {
				t.Errorf("%s: event %d came after %d", p.source, a.seq, before)
			}
			before = a.seq
		}
		session := p.agent.publisher.State().Session
		r, s := f.checkRepeats(t, p, tray, session)
		checkSessions(t, p, tray, session)
		mu.Lock()
		repeats, saved, sessions = repeats+r, saved+s, sessions+session
		mu.Unlock()
		return nil
	})
	f.table.add("repeats at the collector; by the broker's own saved queue", "%d; %d", repeats, saved)
	f.table.add("subscriptions of the collector; to a session that the broker knew", "%d; %d", c.visits, c.resumed)
	f.table.add("connections made, each press", "%.2f", float64(sessions)/float64(len(f.presses)))
	f.table.add("an event: mean size", "%d bytes", c.bytes/max(1, c.events))
	f.table.add("kept until collected, before the outage (median, 99 %, last)", "%v", f.ways(f.running, f.killed))
	f.table.add("kept until collected, after the drain", "%v", f.ways(f.empty, f.calm))
	self := memoryOf("self")
	f.table.add("this process: most RSS", "%.0f MB", self["VmHWM"])
	f.log.mu.Lock()
	defer f.log.mu.Unlock()
	for _, e := range f.log.errors {
		t.Errorf("the log says: %s", e)
	}
	f.table.add("warnings of the agents", "%v", f.log.warnings)
}

// checkRepeats wants repeats within the window behind a cut. A connection that was
// lost besides, which a slow machine may cause, has a window of its own, wherever.
// A broker that still knew the collector may give it again what it had saved.
func (f *fleet) checkRepeats(t *testing.T, p *fleetPress, tray *intray, session uint64) (repeats, saved int) {
	t.Helper()
	elsewhere := 0
	for _, a := range tray.repeats {
		near := false
		for _, cut := range p.cuts {
			near = near || a.seq > cut && a.seq <= cut+uint64(f.window)
		}
		switch {
		case near:
		case f.collector.resumed > 0 && a.visit > 1 && a.seq <= p.cuts[0]:
			saved++
			continue
		default:
			elsewhere++
		}
		repeats++
	}
	planned := uint64(1 + len(p.cuts)) // the first connection, and one after each cut
	if most := int(session-planned) * f.window; elsewhere > most {
		t.Errorf("%s: %d repeats away from the cuts at %v, want at most %d after %d connections", p.source, elsewhere, p.cuts, most, session)
	}
	return repeats, saved
}

// checkSessions wants the press's status as the collector saw it: sessions that never
// fall, more than one, and the farewell last.
func checkSessions(t *testing.T, p *fleetPress, tray *intray, session uint64) {
	t.Helper()
	before := uint64(0)
	for _, s := range tray.statuses {
		if s.Session < before {
			t.Errorf("%s: session %d after %d", p.source, s.Session, before)
		}
		before = s.Session
	}
	want := statusMessage{Online: false, Session: session, Reason: "stopped"}
	if n := len(tray.statuses); n == 0 || tray.statuses[n-1] != want {
		t.Errorf("%s: the last status of %d is not %+v", p.source, n, want)
	}
	if session < uint64(1+len(p.cuts)) {
		t.Errorf("%s: %d sessions with %d cuts", p.source, session, len(p.cuts))
	}
}

// ways is how long events that were kept within a time took to the collector. What
// had to be sent again is left out.
func (f *fleet) ways(from, to time.Time) (took spans) {
	for _, p := range f.presses {
		for _, a := range f.collector.trays[p.source].first {
			at := p.kept[a.seq-1]
			if !at.Before(from) && at.Before(to) && !f.asked[p.source][a.seq] && (to != f.killed || a.at.Before(f.killed)) {
				took = append(took, a.at.Sub(at))
			}
		}
	}
	return took
}

// bare measures bare publishers on the same broker, with the same collector.
func (f *fleet) bare(t *testing.T) {
	t.Helper()
	size := f.collector.bytes / max(1, f.collector.events)
	for _, connections := range []int{len(f.presses), 1} {
		begun, spent, took, err := barePublish(f.broker, connections, size, *fleetBare)
		if err != nil {
			t.Fatal(err)
		}
		f.collector.catchUp(t)
		f.collector.mu.Lock()
		bares := between(f.collector.bares, begun, time.Now())
		f.collector.mu.Unlock()
		if len(bares) == 0 {
			t.Fatal("nothing of the bare publishers has come")
		}
		f.table.add(fmt.Sprintf("bare publishers, %d: acknowledged and collected a second; acknowledged within", connections),
			"%.0f, %.0f; %v", float64(len(took))/spent.Seconds(), float64(len(bares))/bares[len(bares)-1].Sub(begun).Seconds(), took)
	}
}
