package sparkplug

import (
	"context"
	"errors"
	"fmt"
	"iter"
	"log/slog"
	"strings"
	"sync"
	"time"
	"unicode/utf8"

	"benchtally/agent/record"
	"benchtally/mqtt/broker"
)

// Log is where the records come from, and where a node keeps how far it has come.
// One goroutine of the node calls it, while others may add records.
type Log interface {
	// Last is the highest sequence kept, 0 when there is none.
	Last() uint64
	// Records gives the records after a sequence, oldest first. One that cannot
	// be read comes as an error with its Seq alone.
	Records(after uint64) iter.Seq2[record.Record, error]
	// Mark gives a number and a note that were set under a name, 0 and nil if
	// none were.
	Mark(name string) (seq uint64, note []byte, err error)
	// SetMark sets them; they are on disk after FlushSent, or some time later.
	SetMark(name string, seq uint64, note []byte) error
	FlushSent() error
}

// The node's marks.
const (
	markBirths = "sparkplug births" // how many CONNECTs there were
	markImage  = "sparkplug image"  // the image and the record up to which it goes
	markPast   = "sparkplug past"   // the record up to which the primary host has all
)

// Settings say as what a node appears and where. Zero durations take their
// defaults.
type Settings struct {
	broker.Access

	ClientID string // unlike that of any other client of the broker
	Group    string // ids of Sparkplug, see ValidID; group and node together are the press's alone
	Node     string
	Device   string // the press below the node
	Host     string // primary host whose STATE is waited for; "" none

	Version string // of the agent
	Store   string // the store's id

	Keepalive time.Duration // 30 s; at least 1 s

	// Waits between attempts: broker.Retry. 1 s and 60 s.
	BackoffMin, BackoffMax time.Duration

	Log      *slog.Logger // nil takes the default
	OnTurn   func()       // called from Run in each turn of its work, at least once a BackoffMax; nil none. It must not block
	OnChange func()       // called from Run when the state changed; nil none. It must not block
}

// Our own figures, no source.
const (
	rebirthEvery = 10 * time.Second // shortest time between births that hosts ask for
	hostWait     = 30 * time.Second // for the primary host at one of several brokers
	doubtful     = 90 * time.Second // of data at QoS 0: so long may a dead connection, or a dead host, go unseen
	lookEvery    = 10 * time.Second // between two looks for records, should a wake-up have been forgotten
	noteEvery    = 10 * time.Minute // between two notes of the image: the records since are folded in a moment, a card wears
	markEvery    = time.Minute      // between two marks of the past: what is told once more does no harm
	firstFold    = 100_000          // records looked at when there is no note yet
	setBack      = time.Minute      // a clock that goes back by more makes hosts hear all anew
)

// State is how the node stands.
type State struct {
	Connected bool        // born: hosts see it
	Since     time.Time   // since when it is so or not
	Reason    string      // why it is not, a sentence for a person
	Births    int         // since the start, rebirths too
	Ignored   uint64      // commands and states that were none of its business, or unreadable
	At        string      // host:port of the broker connected to, or tried last; "" none yet
	Expires   broker.Ends // of the certificates of the latest connection; zero without TLS
}

// Node is one press as an edge node with one device. Make it with New and call
// Run; State and Wake are safe for concurrent use.
type Node struct {
	s      Settings
	log    Log
	broker *broker.Broker
	slog   *slog.Logger
	wake   chan struct{}

	mu    sync.Mutex
	state State

	// Of Run's goroutine alone.
	image   *image
	retry   broker.Retry
	turns   []string // why there is none of the brokers tried in this round
	handing sync.WaitGroup
	past    past
	noted   passage // the image that was kept last
}

// New checks the settings. The error names all that is wrong with them.
func New(s Settings, log Log) (*Node, error) {
	var faults []error
	fault := func(format string, args ...any) { faults = append(faults, fmt.Errorf(format, args...)) }
	way, err := broker.New(s.Access)
	if err != nil {
		faults = append(faults, err)
	}
	ids := []struct{ what, id string }{{"group", s.Group}, {"node", s.Node}, {"device", s.Device}, {"host", s.Host}}
	if s.Host == "" {
		ids = ids[:3]
	}
	for _, i := range ids {
		if err := idFault(i.what, i.id); err != nil {
			faults = append(faults, err)
		}
	}
	if s.ClientID == "" || !utf8.ValidString(s.ClientID) || strings.ContainsFunc(s.ClientID, broker.Control) || len(s.ClientID) > 128 {
		fault("client id %.140q: want 1 to 128 bytes without control characters", s.ClientID)
	}
	for _, d := range []struct {
		value          *time.Duration
		otherwise, low time.Duration
	}{{&s.Keepalive, 30 * time.Second, time.Second}, {&s.BackoffMin, time.Second, time.Millisecond}, {&s.BackoffMax, time.Minute, time.Millisecond}} {
		if *d.value == 0 {
			*d.value = d.otherwise
		}
		if *d.value < d.low || *d.value > 12*time.Hour {
			fault("%v: want %v to 12 h", *d.value, d.low)
		}
	}
	if len(faults) > 0 {
		return nil, fmt.Errorf("sparkplug: %w", errors.Join(faults...))
	}
	logger := s.Log
	if logger == nil {
		logger = slog.Default()
	}
	return &Node{
		s: s, log: log, broker: way, slog: logger.With("sparkplug", way.String()),
		wake: make(chan struct{}, 1), state: State{Since: time.Now()},
		retry: broker.Retry{Min: s.BackoffMin, Max: s.BackoffMax},
	}, nil
}

// Wake says that there are new records.
func (n *Node) Wake() {
	select {
	case n.wake <- struct{}{}:
	default: // already told
	}
}

// State tells how the node stands now.
func (n *Node) State() State {
	n.mu.Lock()
	defer n.mu.Unlock()
	return n.state
}

// report changes the state, and tells the log and the callback if a person would
// see a difference.
func (n *Node) report(change func(*State)) {
	n.mu.Lock()
	was := n.state
	change(&n.state)
	if n.state.Connected != was.Connected {
		n.state.Since = time.Now()
	}
	is := n.state
	n.mu.Unlock()
	if is.Connected == was.Connected && is.Reason == was.Reason {
		return
	}
	at := slog.Attr{} // which of several; a handler leaves an empty one out
	if n.broker.Several() {
		at = slog.String("at", is.At)
	}
	switch {
	case is.Connected:
		n.slog.Info("node born", at)
	case is.Reason != "":
		n.slog.Warn("node away", "reason", is.Reason)
	default:
		n.slog.Info("node left")
	}
	if n.s.OnChange != nil {
		n.s.OnChange()
	}
}

// Run lives as an edge node until ctx ends; then it publishes its death, leaves
// and returns nil. A broker that is away is a state, not an error. Run may be
// called once.
func (n *Node) Run(ctx context.Context) error {
	defer n.handing.Wait()
	defer n.report(func(s *State) { s.Connected = false })
	defer func() {
		n.keepImage()
		if n.past.done != n.past.marked {
			n.past.keep(n, time.Now())
		}
	}()
	n.turn()
	n.load(ctx)
	for ctx.Err() == nil {
		n.turn()
		l, end := n.attempt(ctx)
		if end == nil || ctx.Err() != nil {
			break
		}
		now := time.Now()
		if l != nil && end.Class == broker.Lost { // a node that leaves by itself says nothing of a rival
			n.retry.Lived(now.Sub(l.session.Begun), now)
		}
		round := n.broker.Next()
		pause := n.retry.Pause(end.Class, round, false)
		reason := n.reason(end, round)
		n.report(func(s *State) { s.Connected, s.Reason = false, reason })
		n.slog.Debug("attempt ended", "class", string(end.Class), "reason", end.Reason, "err", end.Err, "pause", pause)
		n.rest(ctx, pause)
	}
	return nil
}

// turn says that Run goes on.
func (n *Node) turn() {
	if n.s.OnTurn != nil {
		n.s.OnTurn()
	}
}

// rest waits, and takes in what is recorded meanwhile.
func (n *Node) rest(ctx context.Context, pause time.Duration) {
	timer := time.NewTimer(pause)
	defer timer.Stop()
	for {
		select {
		case <-n.wake:
			n.catchUp(ctx)
		case <-timer.C:
			n.catchUp(ctx)
			return
		case <-ctx.Done():
			return
		}
	}
}

// reason is why there is no connection. Of several brokers all are named once
// each has had its turn.
func (n *Node) reason(end *broker.Ending, round bool) string {
	why := end.Reason
	if n.retry.Rival() {
		why = broker.RivalOf(n.s.ClientID)
	}
	n.turns = append(n.turns, why)
	if was := n.State().Reason; !round && end.Class != broker.Lost && was != "" {
		return was
	}
	all := strings.Join(n.turns, "; ")
	if round {
		n.turns = nil
	}
	return all
}

// attempt makes one connection and lives with it until it ends; nil after an
// orderly stop.
func (n *Node) attempt(ctx context.Context) (*link, *broker.Ending) {
	password, err := n.broker.Password()
	if err != nil {
		return nil, &broker.Ending{Class: broker.Absent, Reason: err.Error(), Err: err}
	}
	way, end := n.broker.Dial(ctx)
	if end != nil {
		return nil, end
	}
	n.report(func(s *State) { s.Expires, s.At = way.Expires, n.broker.Here() })
	births, err := n.nextBirth()
	if err != nil {
		_ = way.Close() // nothing was said yet
		return nil, &broker.Ending{Class: broker.Absent, Reason: fmt.Sprintf("the store gives no session number: %v", err), Err: err}
	}
	l := newLink(n, births)
	if l.session, end = n.broker.Connect(ctx, way, l.hello(), password); end != nil {
		return nil, end
	}
	end = l.run(ctx)
	n.handing.Go(l.session.Wait) // not before: nothing is handed over any more
	return l, end
}

// nextBirth counts the CONNECTs, on disk before the next one is sent
// (tck-id-message-flow-edge-node-birth-publish-will-message-payload-bdSeq). A
// count that could not be kept is not used up: no CONNECT goes with it.
func (n *Node) nextBirth() (bdSeq int64, err error) {
	count, _, err := n.log.Mark(markBirths)
	if err != nil {
		return 0, err
	}
	if err := n.log.SetMark(markBirths, count+1, nil); err != nil {
		return 0, err
	}
	if err := n.log.FlushSent(); err != nil {
		return 0, errors.Join(err, n.log.SetMark(markBirths, count, nil))
	}
	return int64(count % 256), nil //nolint:gosec // below 256
}

// load makes the image of what was kept, and of the newest records where there
// is nothing or it is not of this store as it is now.
func (n *Node) load(ctx context.Context) {
	seq, note, err := n.log.Mark(markImage)
	last := n.log.Last()
	if err == nil && note != nil && seq <= last {
		n.image, err = recall(seq, note)
	}
	if err != nil {
		n.slog.Warn("what the node knew is lost; it learns anew from the records", "err", err)
	}
	if n.image == nil {
		n.image = newImage()
		n.image.seq = max(last, firstFold) - firstFold
	}
	n.catchUp(ctx)
	now := time.Now()
	if n.image.at.IsZero() {
		n.image.at = now
	}
	n.image.values["Agent/Version"] = held{String(n.s.Version), now}
	n.image.values["Agent/Store"] = held{String(n.s.Store), now}
	n.past.load(n)
}

// catchUp takes the newest records into the image without telling anybody.
func (n *Node) catchUp(ctx context.Context) {
	for r, err := range n.log.Records(n.image.seq) {
		if ctx.Err() != nil {
			return
		}
		if err != nil {
			if n.unreadable(r, err); r.Seq == 0 {
				return
			}
			continue
		}
		n.image.fold(&r)
	}
	n.noteImage(time.Now())
}

// unreadable passes over a record that cannot be read; who needs it hears of it
// from the store.
func (n *Node) unreadable(r record.Record, err error) {
	n.slog.Debug("a record cannot be told", "seq", r.Seq, "err", err)
	if r.Seq > n.image.seq {
		n.image.seq = r.Seq
	}
}

// noteImage keeps the image now and then, if it has changed.
func (n *Node) noteImage(now time.Time) {
	if n.image.seq != n.noted.seq && now.Sub(n.noted.at) >= noteEvery {
		n.keepImage()
	}
}

// keepImage keeps the image with the store's next commit.
func (n *Node) keepImage() {
	if n.image == nil || n.image.seq == n.noted.seq {
		return
	}
	if err := n.log.SetMark(markImage, n.image.seq, n.image.note()); err != nil {
		n.slog.Debug("what the node knows is not kept", "err", err)
	}
	n.noted = passage{n.image.seq, time.Now()}
}
