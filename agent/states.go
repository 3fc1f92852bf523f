package main

import (
	"encoding/json"
	"log/slog"
	"time"

	"benchtally/agent/crimp"
	"benchtally/agent/panel"
	"benchtally/agent/record"
	"benchtally/agent/station"
	"benchtally/mqtt"
)

// How often the health topic is renewed: while nothing changes, and at most while
// only the queue and its acknowledgements do.
const (
	healthEvery = time.Minute
	healthQueue = time.Second
)

// retained is what was handed to the retained topics last.
type retained struct {
	payload map[mqtt.Topic]string
	health  healthState // without the age of the oldest event
	at      time.Time
}

// infoState describes the agent itself: <base>/info.
type infoState struct {
	Version string `json:"version"`
	Store   string `json:"store_id"`
	Base    string `json:"base"`
	Length  string `json:"unit_of_length"`
	Setting string `json:"unit_of_setting"`
	Clock   string `json:"clock_source"`
}

// workState is the work in hand: <base>/state/work.
type workState struct {
	Order    string        `json:"order,omitempty"`
	Spec     string        `json:"spec,omitempty"`
	Revision string        `json:"revision,omitempty"`
	Quantity int           `json:"quantity,omitempty"`
	Pieces   int           `json:"pieces"`
	Piece    string        `json:"piece,omitempty"`
	Crimp    int           `json:"crimp,omitempty"`
	Readings int           `json:"readings"`
	Missing  int           `json:"missing"`
	Again    string        `json:"again,omitempty"`
	Setting  *int          `json:"setting,omitempty"`
	Target   *crimp.Length `json:"target_mm,omitempty"`
	Upper    *crimp.Length `json:"upper_mm,omitempty"`
	Lower    *crimp.Length `json:"lower_mm,omitempty"`
	Pass     int           `json:"pass"`
	Recrimp  int           `json:"recrimp"`
	Scrap    int           `json:"scrap"`
	Unsure   int           `json:"unsure"`
	Operator string        `json:"operator,omitempty"`

	// With a job card, which counts assemblies.
	End      crimp.EndName `json:"end,omitempty"`
	Assembly int           `json:"assembly,omitempty"`
	NextEnd  crimp.EndName `json:"next_end,omitempty"`
	Next     int           `json:"next_assembly,omitempty"`
	Complete int           `json:"complete,omitempty"`         // assemblies with all their ends and points
	Lost     int           `json:"assemblies_scrap,omitempty"` // assemblies
}

// cageState is the loaded cage's care: <base>/state/cage.
type cageState struct {
	Cage           string     `json:"cage,omitempty"`
	Lubricate      int        `json:"lubricate_strokes"`
	LubricateLimit int        `json:"lubricate_limit"`
	LubricateDue   bool       `json:"lubricate_due"`
	Clean          int        `json:"clean_strokes"`
	Teardown       int        `json:"teardown_strokes"`
	TeardownLimit  int        `json:"teardown_limit"`
	TeardownDue    bool       `json:"teardown_due"`
	TeardownSince  *time.Time `json:"teardown_since,omitempty"`

	// When the works fall due at the bench's own pace, or by the calendar; absent: not known.
	LubricateDays *int            `json:"lubricate_days,omitempty"`
	TeardownDays  *int            `json:"teardown_days,omitempty"`
	Condition     crimp.Condition `json:"condition,omitempty"` // as it was found last
}

// lastState is the last verdict and advice: <base>/state/last.
type lastState struct {
	Time      string        `json:"time,omitempty"`
	Piece     string        `json:"piece,omitempty"`
	Outcome   crimp.Outcome `json:"outcome,omitempty"`
	Mean      *crimp.Length `json:"mean_mm,omitempty"`
	Deviation *crimp.Length `json:"deviation_mm,omitempty"`
	Ovality   *crimp.Length `json:"ovality_mm,omitempty"`
	Crimp     int           `json:"crimp,omitempty"`
	Reason    string        `json:"reason,omitempty"`
	U         *crimp.Length `json:"u_mm,omitempty"`
	Conform   *float64      `json:"conformity,omitempty"`
	Zone      crimp.Zone    `json:"zone,omitempty"`
	Hint      string        `json:"hint,omitempty"`
	Recrimp   *int          `json:"recrimp_setting,omitempty"`
	Next      *int          `json:"next_setting,omitempty"`
	Change    *int          `json:"change,omitempty"`
	Offset    *crimp.Length `json:"offset_mm,omitempty"`
	OffsetU   *crimp.Length `json:"offset_u_mm,omitempty"`
	Aim       *crimp.Length `json:"aim_mm,omitempty"`
	Why       string        `json:"why,omitempty"` // the advice is what it is
}

// healthState is how the devices stand: <base>/state/health. A device that works
// says "ok", else what is wrong; a clock that nothing keeps right says "unset".
type healthState struct {
	Queue   uint64  `json:"queue"`
	Oldest  float64 `json:"oldest_seconds"`
	LastAck string  `json:"last_ack,omitempty"`
	Clock   string  `json:"clock"`
	Switch  string  `json:"switch"`
	Caliper string  `json:"caliper"`
	Store   string  `json:"store"`
	Broker  string  `json:"broker"`
	Node    string  `json:"sparkplug,omitempty"` // the edge node; none is wanted: absent
	Scanner string  `json:"scanner,omitempty"`   // of barcodes; none is named: absent
	Jobs    string  `json:"jobs,omitempty"`      // what is wrong with the files of job cards; absent: nothing

	Certificate     string `json:"certificate,omitempty"`      // used with the broker, one that ends soon; absent: none
	CertificateDays int    `json:"certificate_days,omitempty"` // begun, until the first of them ends; negative: since it has; absent: without TLS

	CheckDue bool   `json:"caliper_check_due"`                // against a gauge block or ring
	Doubt    uint64 `json:"readings_in_doubt_from,omitempty"` // seq of the first one, until the caliper is found good
	Oil      bool   `json:"oil_check_due"`
}

// retain hands the states to the retained topics, those that changed.
func (h *health) retain(s panel.Snapshot) {
	h.mu.Lock()
	defer h.mu.Unlock()
	if h.sent.payload == nil {
		h.sent.payload = map[mqtt.Topic]string{}
		h.put(mqtt.Info, h.a.info())
	}
	h.put(mqtt.Work, workOf(s))
	h.put(mqtt.Cage, cageOf(s))
	h.put(mqtt.Last, lastOf(s))
	h.retainHealth(s)
}

// retainHealth renews the health topic when it is time.
func (h *health) retainHealth(s panel.Snapshot) {
	now := healthOf(s, h.a.clock.unset.Load())
	n, oldest, err := h.a.store.Queue()
	if err == nil {
		now.Queue = n
	}
	if ack := h.a.publisher.State().LastAck; !ack.IsZero() {
		now.LastAck = ack.UTC().Format(record.TimeLayout)
	}
	now.CertificateDays = daysLeft(h.a.firstEnd(), time.Now())
	links := h.sent.health
	links.Queue, links.LastAck = now.Queue, now.LastAck
	age := time.Since(h.sent.at)
	switch {
	case now == h.sent.health && age < healthEvery:
		return
	case now == links && age < healthQueue: // no more than the queue has changed
		return
	}
	h.sent.health, h.sent.at = now, time.Now()
	if n > 0 && err == nil {
		now.Oldest = h.a.ageOf(oldest, h.a.store.SentSeq()+1, s.View.Clock).Round(time.Second).Seconds()
	}
	h.put(mqtt.Health, now)
}

// put hands a state on if it is another than before.
func (h *health) put(topic mqtt.Topic, state any) {
	payload, err := json.Marshal(state)
	if err != nil {
		slog.Error("a retained state cannot be written", "topic", topic, "err", err)
		return
	}
	if h.sent.payload[topic] == string(payload) {
		return
	}
	h.sent.payload[topic] = string(payload)
	h.a.publisher.Retain(topic, payload)
}

func (a *agent) info() infoState {
	return infoState{
		Version: version, Store: a.store.ID(), Base: a.cfg.Base(),
		Length: "mm", Setting: a.cfg.Scale.Step.String(), Clock: "kernel",
	}
}

func workOf(s panel.Snapshot) workState {
	w := workState{Setting: s.View.Setting, Operator: s.View.Operator}
	o := s.View.Order
	if o == nil {
		return w
	}
	w.Order, w.Spec, w.Revision, w.Quantity, w.Pieces = o.ID, o.Spec.ID, o.Spec.Revision, o.Quantity, o.Pieces
	w.Piece, w.Crimp, w.Readings, w.Missing, w.Again = o.Piece, o.Crimp, len(o.Readings), o.Missing, o.Again
	w.Target, w.Upper, w.Lower = record.Ptr(o.Spec.Diameter), record.Ptr(o.Spec.Upper()), record.Ptr(o.Spec.Lower())
	w.Pass, w.Recrimp = o.Tally[crimp.Pass], o.Tally[crimp.Recrimp]
	w.Scrap, w.Unsure = o.Tally[crimp.Scrap], o.Tally[crimp.Unsure]
	w.End, w.Assembly, w.NextEnd, w.Next, w.Complete, w.Lost = o.End, o.Assembly, o.NextEnd, o.Next, o.Done, o.Lost
	return w
}

func cageOf(s panel.Snapshot) cageState {
	c := cageState{Cage: s.View.Cage}
	for _, care := range s.View.Care {
		switch care.Work {
		case crimp.Lubricate:
			c.Lubricate, c.LubricateLimit, c.LubricateDue = care.Strokes, care.Limit, care.Due
			c.LubricateDays, c.Condition = days(care), care.By
		case crimp.Clean:
			c.Clean = care.Strokes
		case crimp.Teardown:
			c.Teardown, c.TeardownLimit, c.TeardownDue = care.Strokes, care.Limit, care.Due
			c.TeardownSince, c.TeardownDays = record.Ptr(care.Since), days(care)
		case crimp.Oil:
		}
	}
	return c
}

// days is how long until a work falls due; nil: it is not known.
func days(c station.CareView) *int {
	if c.Days < 0 {
		return nil
	}
	return &c.Days
}

func lastOf(s panel.Snapshot) lastState {
	v := s.View.Verdict
	if v == nil {
		return lastState{}
	}
	l := lastState{
		Time: v.At.Format(record.TimeLayout), Piece: v.Piece, Outcome: v.Outcome, Mean: v.Mean,
		Deviation: v.Deviation, Ovality: v.Ovality, Crimp: v.Crimp, Reason: v.Reason,
		U: v.U, Conform: v.Conformity, Zone: v.Zone, Hint: v.Hint,
	}
	if r := s.View.Recrimp; r != nil {
		l.Recrimp = r.Setting
	}
	if n := s.View.Next; n != nil {
		l.Next, l.Change = n.Setting, n.Change
		l.Offset, l.OffsetU, l.Aim, l.Why = n.Offset, n.OffsetU, n.Aim, n.Reason
	}
	return l
}

func healthOf(s panel.Snapshot, unset bool) healthState {
	h := healthState{CheckDue: s.View.Checks.Due, Doubt: s.View.Checks.Doubt, Oil: s.View.Oil.Due}
	for _, l := range s.Links {
		text := "ok"
		if !l.OK {
			text = l.Text
		}
		switch l.Name {
		case "clock":
			if h.Clock = text; l.OK && unset {
				h.Clock = station.Unset
			}
		case "switch":
			h.Switch = text
		case "caliper":
			h.Caliper = text
		case "store":
			h.Store = text
		case "broker":
			h.Broker = text
		case "sparkplug":
			h.Node = text
		case "scanner":
			h.Scanner = text
		case "jobs":
			h.Jobs = text
		case "certificate":
			h.Certificate = text
		}
	}
	return h
}
