package main

import (
	"context"
	"log/slog"
	"net"
	"net/http"
	"net/netip"
	"runtime"
	"time"

	"benchtally/agent/crimp"
	"benchtally/agent/metrics"
	"benchtally/agent/record"
)

// serveFigures answers GET /metrics where the configuration says, until ctx ends.
// It is a listener of its own: the page may be open to a network that has no
// business with these.
func (a *agent) serveFigures(ctx context.Context) error {
	if a.cfg.Metrics.Listen == "" {
		return nil
	}
	mux := http.NewServeMux()
	mux.HandleFunc("GET /metrics", a.answerFigures)
	for told := false; ; {
		listener, err := net.Listen("tcp", a.cfg.Metrics.Listen)
		if err == nil {
			slog.Info("metrics", "address", "http://"+listener.Addr().String()+"/metrics")
			crowd := newCrowd(listener, netip.Addr.IsLoopback)
			crowd.most = mostScrapers
			return serveHTTP(ctx, crowd, mux)
		}
		if !told {
			told = true
			slog.Warn("the metrics cannot be shown; it is tried again", "err", err)
		}
		select {
		case <-ctx.Done():
			return nil
		case <-time.After(pageRetry):
		}
	}
}

// mostScrapers is how many connections may ask for metrics at once; our own
// figure, no source.
const mostScrapers = 16

func (a *agent) answerFigures(w http.ResponseWriter, _ *http.Request) {
	w.Header().Set("Content-Type", metrics.ContentType)
	_, _ = w.Write(a.figures()) // the asker sees a broken answer
}

// figures are how the agent stands, as Prometheus reads it. Labels take values
// from short lists only: no order, piece, cage or person is one.
func (a *agent) figures() []byte {
	var w metrics.Writer
	s := a.health.board.Now()
	info := w.Family("benchtally_build_info", metrics.Gauge, "The program that runs, always 1.")
	info.Add(1, "version", version, "goversion", runtime.Version())
	a.tally.write(&w)

	stands := w.Family("benchtally_link_up", metrics.Gauge, "Whether what the press depends on works (1) or has a fault (0).")
	for _, l := range s.Links {
		stands.Add(asFigure(l.OK), "link", l.Name)
	}
	faults := w.Family("benchtally_fault", metrics.Gauge, "Whether a fault of this source lasts that was recorded.")
	for _, source := range faultSources {
		_, on := s.View.Faults[source]
		faults.Add(asFigure(on), "source", string(source))
	}
	w.One("benchtally_clock_synchronized", metrics.Gauge, "Whether something keeps the computer's clock right.", asFigure(readClock().right))
	w.One("benchtally_parts_hanging", metrics.Gauge, "Whether a part of the agent shows no sign of life.", asFigure(a.watchdog.trouble() != ""))

	a.writeStore(&w)
	a.writeCage(&w)
	a.writeMachine(&w)
	return w.Bytes()
}

// faultSources are all of which faults are recorded.
var faultSources = []record.Source{record.Switch, record.Caliper, record.Clock, record.Store, record.Broker, record.Scanner}

func (t *tally) write(w *metrics.Writer) {
	t.mu.Lock()
	defer t.mu.Unlock()
	w.One("benchtally_strokes_total", metrics.Counter, "Strokes of the press that were kept.", float64(t.strokes))
	crimps := w.Family("benchtally_crimps_total", metrics.Counter, "Strokes that crimped a piece of an order, for the first time or again.")
	crimps.Add(float64(t.first), "crimp", "first")
	crimps.Add(float64(t.again), "crimp", "again")
	w.One("benchtally_readings_total", metrics.Counter, "Readings of the caliper that were kept.", float64(t.readings))
	verdicts := w.Family("benchtally_verdicts_total", metrics.Counter, "Verdicts by outcome.")
	for _, o := range []crimp.Outcome{crimp.Pass, crimp.Recrimp, crimp.Scrap, crimp.Unsure} {
		verdicts.Add(float64(t.verdicts[o]), "outcome", string(o))
	}
	refused := w.Family("benchtally_refused_total", metrics.Counter, "Inputs that were not taken, by where they came from.")
	for _, s := range []record.Source{record.Caliper, record.Action, record.Scanner} {
		refused.Add(float64(t.refused[s]), "source", string(s))
	}
	faults := w.Family("benchtally_faults_total", metrics.Counter, "Faults that began, by source.")
	for _, s := range faultSources {
		faults.Add(float64(t.faults[s]), "source", string(s))
	}
	w.One("benchtally_store_commits_total", metrics.Counter, "Commits to the store, those that failed too.", float64(t.commits))
	w.One("benchtally_store_commit_failures_total", metrics.Counter, "Commits that kept nothing; what they held is tried again.", float64(t.failed))
	w.One("benchtally_store_full_total", metrics.Counter, "Commits that kept nothing for want of room.", float64(t.full))
	w.Histogram("benchtally_store_commit_duration_seconds", "How long a commit took until it was on disk.", t.commit)
}

func (a *agent) writeStore(w *metrics.Writer) {
	w.One("benchtally_record_sequence", metrics.Gauge, "Sequence number of the latest record.", float64(a.store.Last()))
	w.One("benchtally_store_size_bytes", metrics.Gauge, "Size of the store's file.", float64(fileSize(a.cfg.Store.Path)))
	if free, all, err := roomAt(a.cfg.Store.Path); err == nil {
		w.One("benchtally_store_filesystem_free_bytes", metrics.Gauge, "Room that is left where the store lies.", float64(free))
		w.One("benchtally_store_filesystem_size_bytes", metrics.Gauge, "Size of the file system where the store lies.", float64(all))
	}
	room, trouble := a.store.Trouble()
	w.One("benchtally_store_journal_room_commits", metrics.Gauge, "Commits that the journal has room for while the rest of the store takes none.", float64(room))
	w.One("benchtally_store_journal_stuck", metrics.Gauge, "Whether the journal cannot be moved into the rest of the store.", asFigure(trouble != nil))
	if a.publisher == nil {
		return
	}
	n, oldest, err := a.store.Queue()
	if err != nil {
		return // the store's link is down, and says why
	}
	age := 0.0
	if n > 0 {
		age = a.ageOf(oldest, a.store.SentSeq()+1, a.health.seen().Clock).Seconds()
	}
	w.One("benchtally_queue_events", metrics.Gauge, "Events that the broker has not acknowledged.", float64(n))
	w.One("benchtally_queue_oldest_age_seconds", metrics.Gauge, "Age of the oldest of them; 0 without any.", age)
	if ack := a.publisher.State().LastAck; !ack.IsZero() {
		w.One("benchtally_last_acknowledgement_timestamp_seconds", metrics.Gauge, "When the broker acknowledged an event last.", float64(ack.UnixMilli())/1000)
	}
	w.One("benchtally_broker_session", metrics.Gauge, "Number of the latest connection to the broker, over all starts.", float64(a.publisher.State().Session))
}

// writeCage writes the care of the loaded cage, whichever it is.
func (a *agent) writeCage(w *metrics.Writer) {
	care := a.health.seen().Care
	since := w.Family("benchtally_care_strokes", metrics.Gauge, "Strokes of the loaded cage since each work on it.")
	for _, c := range care {
		since.Add(float64(c.Strokes), "work", string(c.Work))
	}
	due := w.Family("benchtally_care_due", metrics.Gauge, "Whether a work on the loaded cage is due.")
	for _, c := range care {
		due.Add(asFigure(c.Due), "work", string(c.Work))
	}
	limit := w.Family("benchtally_care_limit_strokes", metrics.Gauge, "Strokes after which a work falls due.")
	for _, c := range care {
		if c.Limit > 0 {
			limit.Add(float64(c.Limit), "work", string(c.Work))
		}
	}
}

func (a *agent) writeMachine(w *metrics.Writer) {
	m := a.machine.state()
	if m.Temperature != nil {
		w.One("benchtally_computer_temperature_celsius", metrics.Gauge, "Temperature of the computer's processor.", *m.Temperature)
	}
	if m.LowVoltage != nil {
		w.One("benchtally_computer_under_voltage", metrics.Gauge, "Whether the computer's supply is too low.", asFigure(*m.LowVoltage))
	}
	if m.Throttled != nil {
		w.One("benchtally_computer_throttled", metrics.Gauge, "Whether the computer slows down for heat or voltage.", asFigure(*m.Throttled))
	}
	p := a.machine.process()
	w.One("process_cpu_seconds_total", metrics.Counter, "Processor time used.", p.cpu.Seconds())
	w.One("process_resident_memory_bytes", metrics.Gauge, "Memory in use, mapped files too.", float64(p.rss))
	w.One("process_open_fds", metrics.Gauge, "Open files and connections.", float64(p.files))
	w.One("process_max_fds", metrics.Gauge, "How many may be open.", float64(p.mostOpen))
	w.One("process_start_time_seconds", metrics.Gauge, "When the agent was started, by the clock of then.", float64(a.began.UnixMilli())/1000)
	w.One("go_goroutines", metrics.Gauge, "Goroutines.", float64(runtime.NumGoroutine()))
}

func asFigure(b bool) float64 {
	if b {
		return 1
	}
	return 0
}
