package main

import (
	"encoding/json"
	"errors"
	"time"

	"benchtally/agent/config"
	"benchtally/agent/panel"
	"benchtally/agent/record"
	"benchtally/agent/station"
	"benchtally/store"
)

// statusCommand shows how the running agent stands, or its store.
type statusCommand struct {
	Config string `default:"${config}" placeholder:"FILE" help:"Configuration; ${default}."`
	JSON   bool   `name:"json" help:"Print as JSON."`
}

// status is how an agent, or its store, stands.
type status struct {
	Running bool         `json:"running"`
	Press   string       `json:"press"`
	Version string       `json:"version"`
	StoreID string       `json:"store_id"`
	Seq     uint64       `json:"seq"`
	Sent    uint64       `json:"sent"`
	Queue   uint64       `json:"queue"`
	Work    workState    `json:"work"`
	Cage    cageState    `json:"cage"`
	Last    lastState    `json:"last"`
	Links   []statusLink `json:"links,omitempty"`

	At      time.Time     `json:"at"`                // when this was asked, by the agent's clock
	Up      float64       `json:"up_seconds"`        // the agent runs; 0: none does
	Hangs   string        `json:"hangs,omitempty"`   // parts of the agent that show no sign of life
	Faults  []statusFault `json:"faults,omitempty"`  // that last, as they were recorded
	Record  *time.Time    `json:"record,omitempty"`  // the latest of all
	Stroke  *time.Time    `json:"stroke,omitempty"`  // the latest, if it is among the latest records; so with the next two
	Reading *time.Time    `json:"reading,omitempty"` //
	Verdict *time.Time    `json:"verdict,omitempty"` //
	Oldest  *time.Time    `json:"oldest_unsent,omitempty"`
	LastAck *time.Time    `json:"last_ack,omitempty"` // since the agent was started

	Clock   bool         `json:"clock_kept_right"`
	Store   string       `json:"store"` // its file
	Bytes   int64        `json:"store_bytes"`
	Room    *int64       `json:"store_room_bytes,omitempty"` // where the store lies; absent: not known
	Machine machineState `json:"computer"`

	Rescues []store.Rescued `json:"rescues,omitempty"` // how the store was rescued, oldest first
}

type statusLink struct {
	Name string `json:"name"`
	OK   bool   `json:"ok"`
	Text string `json:"text"`

	Since *time.Time `json:"since,omitempty"` // the fault began; absent: there is none, or nobody knows
}

type statusFault struct {
	Source record.Source `json:"source"`
	Since  time.Time     `json:"since"`
	Reason string        `json:"reason"`
}

// latestSeen is how many of the latest records are looked through for the last
// stroke, reading and verdict: a shift has some thousand.
const latestSeen = 4096

func statusOf(s panel.Snapshot, kept *store.Store, path string) status {
	st := status{
		Press: s.Press, Version: version, StoreID: kept.ID(), Seq: kept.Last(), Sent: kept.SentSeq(), Queue: s.Queue,
		Work: workOf(s), Cage: cageOf(s), Last: lastOf(s),
		Clock: readClock().right, Store: path, Bytes: fileSize(path),
	}
	for _, source := range faultSources {
		if reason, on := s.View.Faults[source]; on {
			st.Faults = append(st.Faults, statusFault{source, s.View.Since[source], reason})
		}
	}
	st.Rescues, _ = kept.Rescues() // what cannot be read is told by verify
	for _, l := range s.Links {
		link := statusLink{Name: l.Name, OK: l.OK, Text: l.Text}
		if since, on := s.View.Since[record.Source(l.Name)]; on && !l.OK {
			link.Since = &since
		}
		st.Links = append(st.Links, link)
	}
	if free, _, err := roomAt(path); err == nil {
		st.Room = &free
	}
	if n, oldest, err := kept.Queue(); err == nil && n > 0 && !oldest.IsZero() && s.Queue > 0 {
		st.Oldest = &oldest
	}
	st.latest(kept)
	return st
}

// latest finds when what happens at a press happened last.
func (st *status) latest(kept *store.Store) {
	last := kept.Last()
	for r, err := range kept.Records(last - min(last, latestSeen)) {
		if err != nil {
			continue // "verify" tells of damage
		}
		at := r.At
		st.Record = &at
		switch r.Kind {
		case record.Stroke:
			st.Stroke = &at
		case record.Reading:
			st.Reading = &at
		case record.Verdict:
			st.Verdict = &at
		case record.Start, record.Finish, record.Set, record.Load, record.Retract, record.Measure, record.Correction,
			record.Care, record.Zero, record.Undo, record.Dry, record.Same, record.Fault, record.Refused, record.Operator,
			record.Turn, record.Lot, record.Check, record.Proof, record.Scrap, record.Standard:
		}
	}
}

// status is how the running agent stands.
func (a *agent) status() status {
	st := statusOf(a.health.snapshot(), a.store, a.cfg.Store.Path)
	st.Running, st.At, st.Up = true, a.now(), time.Since(a.began).Seconds()
	st.Hangs = a.watchdog.trouble()
	st.Machine = a.machine.state()
	if a.publisher == nil {
		return st
	}
	s := a.publisher.State()
	if !s.LastAck.IsZero() {
		st.LastAck = &s.LastAck
	}
	for i := range st.Links { // known sooner than the record of it
		if l := &st.Links[i]; l.Name == "broker" && !l.OK && !s.Connected {
			l.Since = &s.Since
		}
	}
	return st
}

// askStatus is the status of the running agent, or of the store when none runs.
func askStatus(e env, cfg *config.Config) (st status, err error) {
	body, kept, err := askOrOpen(e.ctx, cfg.Store.Path, "/status", nil)
	switch {
	case err != nil:
		return st, err
	case kept != nil:
		st, err = storeStatus(cfg, kept)
		return st, errors.Join(err, kept.Close())
	}
	return st, errors.Join(json.NewDecoder(body).Decode(&st), body.Close())
}

// Run prints the status.
func (c *statusCommand) Run(e env) error {
	cfg, err := loadConfig(c.Config)
	if err != nil {
		return err
	}
	st, err := askStatus(e, cfg)
	if err != nil {
		return err
	}
	if c.JSON {
		enc := json.NewEncoder(e.stdout)
		enc.SetEscapeHTML(false)
		return enc.Encode(st)
	}
	return st.write(e.stdout)
}

// storeStatus reads the store when no agent runs.
func storeStatus(cfg *config.Config, kept *store.Store) (st status, err error) {
	s, err := station.Open(&keeper{Store: kept}, stationRules(cfg))
	if err != nil {
		return st, err
	}
	n, _, err := kept.Queue()
	if err != nil {
		return st, err
	}
	st = statusOf(panel.Snapshot{Press: cfg.Press.Name, View: s.View(), Queue: n}, kept, cfg.Store.Path)
	st.At, st.Machine = time.Now(), machine{"/"}.state()
	return st, nil
}
