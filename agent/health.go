package main

import (
	"cmp"
	"context"
	"fmt"
	"log/slog"
	"strings"
	"sync"
	"time"

	"benchtally/agent/panel"
	"benchtally/agent/record"
	"benchtally/agent/station"
)

// brokerGrace is how long the broker may be away before that is a fault worth a
// record.
const brokerGrace = 5 * time.Second

// sentAge is how long the sent cursor may wait for a commit that takes it along.
const sentAge = 30 * time.Second

// pruneEvery is how often old records are looked for, when the shop lets them go.
const pruneEvery = time.Minute

// health joins what the station knows with how the devices stand, for the page,
// the command line and the retained topics.
type health struct {
	a     *agent
	board *panel.Board

	showing sync.Mutex // while a snapshot is shown

	mu     sync.Mutex
	view   station.View
	spoken string // caliper format seen
	sent   retained
}

func newHealth(a *agent, v station.View) *health {
	return &health{a: a, board: panel.NewBoard(a.cfg.Press.Name, shopOf(a.cfg)), view: v}
}

// seen is the station as it was shown last.
func (h *health) seen() station.View {
	h.mu.Lock()
	defer h.mu.Unlock()
	return h.view
}

// show takes the station's newest view and passes it on.
func (h *health) show(v station.View) {
	h.mu.Lock()
	h.view = v
	h.mu.Unlock()
	h.publish()
}

func (h *health) format(name string) {
	h.mu.Lock()
	h.spoken = name
	h.mu.Unlock()
}

// snapshot is everything that the page and the command line show.
func (h *health) snapshot() panel.Snapshot {
	h.mu.Lock()
	v, spoken := h.view, h.spoken
	h.mu.Unlock()
	s := panel.Snapshot{Press: h.a.cfg.Press.Name, At: h.a.now(), View: v, Held: h.a.bench.held.Load(), Demo: h.a.demo}
	n, _, err := h.a.store.Queue()
	if h.a.publisher != nil { // else nothing waits for anybody
		s.Queue = n
	}
	caliperText := "no frame seen yet"
	if spoken != "" {
		caliperText = spoken
	}
	s.Links = []panel.Link{
		h.link("switch", record.Switch, v, h.a.cfg.Switch.Line),
		h.link("caliper", record.Caliper, v, caliperText),
		h.brokerLink(v),
		h.storeLink(v, err),
		h.link("clock", record.Clock, v, clockText(!h.a.clock.unset.Load(), v.Clock, h.a.now())),
	}
	if h.a.node != nil {
		s.Links = append(s.Links, h.nodeLink())
	}
	if port := h.a.cfg.Scanner.Port; port != "" {
		s.Links = append(s.Links, h.link("scanner", record.Scanner, v, port))
	}
	if trouble := endingText(h.a.firstEnd(), time.Now()); trouble != "" {
		s.Links = append(s.Links, panel.Link{Name: "certificate", Text: trouble})
	}
	if trouble := h.a.jobs.Trouble(); trouble != "" {
		s.Links = append(s.Links, panel.Link{Name: "jobs", Text: trouble})
	}
	if trouble := h.a.pageTrouble(); trouble != "" {
		s.Links = append(s.Links, panel.Link{Name: "page", Text: trouble})
	}
	return s
}

func (h *health) link(name string, source record.Source, v station.View, good string) panel.Link {
	if reason, bad := v.Faults[source]; bad {
		return panel.Link{Name: name, Text: reason}
	}
	return panel.Link{Name: name, OK: true, Text: good}
}

func (h *health) storeLink(v station.View, err error) panel.Link {
	if why := h.a.bench.trouble.Load(); why != nil {
		return panel.Link{Name: "store", Text: *why}
	}
	if err != nil {
		return panel.Link{Name: "store", Text: err.Error()}
	}
	if why := h.a.storeTrouble(); why != "" {
		return panel.Link{Name: "store", Text: why}
	}
	return h.link("store", record.Store, v, h.a.cfg.Store.Path)
}

func (h *health) brokerLink(v station.View) panel.Link {
	if h.a.publisher == nil {
		return panel.Link{Name: "broker", OK: true, Text: "none named in the configuration"}
	}
	s := h.a.publisher.State()
	if s.Connected && s.Reason == "" {
		return panel.Link{Name: "broker", OK: true, Text: "connected to " + inUse(h.a.cfg.MQTT.Broker, s.At)}
	}
	if s.Reason == "" {
		s.Reason = "not yet connected to " + h.a.cfg.MQTT.Broker
	}
	return panel.Link{Name: "broker", Text: s.Reason}
}

// nodeLink is how the Sparkplug edge node stands.
func (h *health) nodeLink() panel.Link {
	s, brokers := h.a.node.State(), cmp.Or(h.a.cfg.Sparkplug.Broker, h.a.cfg.MQTT.Broker)
	if s.Connected {
		return panel.Link{Name: "sparkplug", OK: true, Text: "connected to " + inUse(brokers, s.At)}
	}
	if s.Reason == "" {
		s.Reason = "not yet connected to " + brokers
	}
	return panel.Link{Name: "sparkplug", Text: s.Reason}
}

// inUse is the one of the brokers named that is at an address, host:port.
func inUse(brokers, at string) string {
	for _, b := range strings.Fields(brokers) {
		if strings.HasSuffix(b, "//"+at) {
			return b
		}
	}
	return brokers
}

// publish shows the newest snapshot on the page and on the retained topics, one
// at a time, so that none is followed by an older one.
func (h *health) publish() {
	h.showing.Lock()
	defer h.showing.Unlock()
	s := h.snapshot()
	h.board.Publish(s)
	if h.a.publisher != nil {
		h.retain(s)
	}
}

// How often the house is kept: each second for who watches the page; while
// nobody does, as seldom as keeps a page that is opened from looking stale.
const (
	houseWatched = time.Second
	houseAlone   = 2500 * time.Millisecond
)

// keepHouse does what is due every few seconds: the sent cursor, the faults of broker
// and clock, the age of records, the page's heartbeat.
func (a *agent) keepHouse(ctx context.Context) error {
	a.health.publish()
	tick := time.NewTimer(houseWatched)
	defer tick.Stop()
	var pruned time.Time
	defer a.parts.house.end()
	for {
		a.parts.house.beat()
		wait := houseAlone
		if a.health.board.Watched() {
			wait = houseWatched
		}
		tick.Reset(wait)
		select {
		case <-ctx.Done():
			return nil
		case <-a.outputChanged:
		case <-tick.C:
		}
		if err := a.store.FlushOld(sentAge); err != nil && a.bench.trouble.Load() == nil {
			slog.Warn("the sent mark is not kept; events may be sent again", "err", err)
		}
		a.judgeBroker(ctx)
		a.judgeClock(ctx)
		a.judgeStore(ctx)
		a.judgeCertificates()
		if now := time.Now(); now.Sub(pruned) > pruneEvery {
			pruned = now
			a.tidy()
		}
		a.health.publish()
	}
}

// judgeBroker tells the bench when the broker is away for longer than a moment,
// and when it is back.
func (a *agent) judgeBroker(ctx context.Context) {
	if a.publisher == nil {
		return
	}
	s := a.publisher.State()
	a.health.mu.Lock()
	_, known := a.health.view.Faults[record.Broker]
	a.health.mu.Unlock()
	since := s.Since
	if since.Before(a.began) {
		since = a.began
	}
	away := !s.Connected && time.Since(since) > brokerGrace
	switch {
	case away && !known:
		a.bench.put(ctx, station.Fault{At: a.now(), Source: record.Broker, On: true, Reason: s.Reason})
	case s.Connected && known:
		a.bench.put(ctx, station.Fault{At: a.now(), Source: record.Broker, Reason: "connected again"})
	}
}

// judgeClock tells the bench when the time cannot be right.
func (a *agent) judgeClock(ctx context.Context) {
	v, right := a.health.seen(), !a.clock.unset.Load()
	_, known := v.Faults[record.Clock]
	why := clockFault(a.now(), right, v.Clock)
	switch {
	case why != "" && !known:
		a.bench.put(ctx, station.Fault{At: a.now(), Source: record.Clock, On: true, Reason: why})
	case why == "" && known && right:
		a.bench.put(ctx, station.Fault{At: a.now(), Source: record.Clock, Reason: "it is kept right again"})
	case why == "" && known:
		a.bench.put(ctx, station.Fault{At: a.now(), Source: record.Clock, Reason: "it is ahead of all records again"})
	}
}

// journalTrouble says in words why what is kept cannot leave the journal, "" when it can.
func (a *agent) journalTrouble() string {
	room, why := a.store.Trouble()
	if why == nil {
		return ""
	}
	return fmt.Sprintf("all is kept, but the journal has room for %d more commits only: %v", room, why)
}
