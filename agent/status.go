package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"

	"benchtally/agent/config"
	"benchtally/agent/panel"
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
}

type statusLink struct {
	Name string `json:"name"`
	OK   bool   `json:"ok"`
	Text string `json:"text"`
}

func statusOf(s panel.Snapshot, kept *store.Store) status {
	st := status{
		Press: s.Press, Version: version, StoreID: kept.ID(), Seq: kept.Last(), Sent: kept.SentSeq(), Queue: s.Queue,
		Work: workOf(s), Cage: cageOf(s), Last: lastOf(s),
	}
	for _, l := range s.Links {
		st.Links = append(st.Links, statusLink(l))
	}
	return st
}

// status is how the running agent stands.
func (a *agent) status() status {
	st := statusOf(a.health.snapshot(), a.store)
	st.Running = true
	return st
}

// Run prints the status.
func (c *statusCommand) Run(e env) error {
	cfg, err := loadConfig(c.Config)
	if err != nil {
		return err
	}
	var st status
	body, err := askAgent(e.ctx, cfg.Store.Path, "GET", "/status", nil, nil)
	switch {
	case errors.Is(err, errNoAgent):
		if st, err = storeStatus(cfg); err != nil {
			return err
		}
	case err != nil:
		return err
	default:
		if err := errors.Join(json.NewDecoder(body).Decode(&st), body.Close()); err != nil {
			return err
		}
	}
	if c.JSON {
		enc := json.NewEncoder(e.stdout)
		enc.SetEscapeHTML(false)
		return enc.Encode(st)
	}
	return st.write(e.stdout)
}

// storeStatus reads the store when no agent runs.
func storeStatus(cfg *config.Config) (st status, err error) {
	kept, err := openKept(cfg.Store.Path, store.Options{ReadOnly: true})
	if err != nil {
		return st, err
	}
	defer func() { err = errors.Join(err, kept.Close()) }()
	s, err := station.Open(&keeper{Store: kept}, stationRules(cfg))
	if err != nil {
		return st, err
	}
	n, _, err := kept.Queue()
	if err != nil {
		return st, err
	}
	return statusOf(panel.Snapshot{Press: cfg.Press.Name, View: s.View(), Queue: n}, kept), nil
}

// write tells the status so that it can be read out over the telephone.
func (st status) write(w io.Writer) (err error) {
	line := func(name, format string, args ...any) {
		if err == nil {
			_, err = fmt.Fprintf(w, "%-9s %s\n", name, fmt.Sprintf(format, args...))
		}
	}
	if st.Running {
		line("press", "%s, the agent runs, version %s", st.Press, st.Version)
	} else {
		line("press", "%s, no agent runs; this is how the store stands", st.Press)
	}
	switch {
	case st.Work.Order == "":
		line("order", "none in work")
	case st.Work.Missing > 0:
		line("order", "%s with %s, piece %s, %s to go", st.Work.Order, st.Work.Spec, st.Work.Piece, plural(st.Work.Missing, "reading"))
	default:
		line("order", "%s with %s, %d of %d pieces crimped", st.Work.Order, st.Work.Spec, st.Work.Pieces, st.Work.Quantity)
	}
	line("setting", "%s", dial(st.Work.Setting))
	if st.Cage.Cage == "" {
		line("cage", "none loaded")
	} else {
		line("cage", "%s, %d of %d strokes since lubrication, %d of %d since tear-down", st.Cage.Cage,
			st.Cage.Lubricate, st.Cage.LubricateLimit, st.Cage.Teardown, st.Cage.TeardownLimit)
	}
	if st.Last.Outcome != "" {
		line("last", "piece %s: %s (%s)", st.Last.Piece, st.Last.Outcome, st.Last.Reason)
	}
	line("records", "%d kept, %d not yet sent", st.Seq, st.Queue)
	for _, l := range st.Links {
		mark := "ok"
		if !l.OK {
			mark = "FAULT"
		}
		line(l.Name, "%s: %s", mark, l.Text)
	}
	return err
}
