package mqtt

import (
	"cmp"
	"fmt"
	"log/slog"
	"slices"
	"strings"
	"time"

	"benchtally/mqtt/broker"
)

// State is how the publisher stands with its broker.
type State struct {
	Connected bool        // the broker has acknowledged this session's status
	Since     time.Time   // since when it is connected or not
	Reason    string      // what is wrong, a sentence for a person; may be set while connected; "" nothing
	Stuck     uint64      // sequence of the event that the broker does not take; 0 none
	At        string      // host:port of the broker connected to, or tried last; "" none yet
	Session   uint64      // of the latest CONNECT; 0 none yet
	LastAck   time.Time   // latest acknowledgement of an event since the start; zero none
	Expires   broker.Ends // of the certificates of the latest connection; zero without TLS
}

// State tells how the publisher stands now.
func (p *Publisher) State() State {
	p.mu.Lock()
	s := p.state
	p.mu.Unlock()
	s.Since = asNow(s.Since)
	if ago := p.lastAck.Load(); ago != 0 {
		s.LastAck = asNow(p.made.Add(time.Duration(ago)))
	}
	return s
}

// asNow is a moment of this run as the clock has it now: it may have been set since.
func asNow(t time.Time) time.Time {
	now := time.Now()
	if told := now.Add(t.Sub(now)); told.Round(0).Sub(t.Round(0)).Abs() >= time.Second {
		return told
	}
	return t
}

// report changes the state, and tells the log and the callback if a person
// would see a difference.
func (p *Publisher) report(change func(*State)) {
	p.mu.Lock()
	was := p.state
	change(&p.state)
	if p.state.Connected != was.Connected {
		p.state.Since = time.Now()
	}
	is := p.state
	p.mu.Unlock()
	if is.Connected == was.Connected && is.Reason == was.Reason && is.Stuck == was.Stuck {
		return
	}
	at := slog.Attr{} // which of several; a handler leaves an empty one out
	if p.broker.Several() {
		at = slog.String("at", is.At)
	}
	switch {
	case is.Reason != "" && is.Connected:
		p.log.Warn("broker connected, with trouble", at, "session", is.Session, "reason", is.Reason)
	case is.Connected:
		p.log.Info("broker connected", at, "session", is.Session)
	case is.Reason != "":
		p.log.Warn("broker away", "reason", is.Reason)
	default:
		p.log.Info("broker left", "session", is.Session)
	}
	if p.s.OnChange != nil {
		p.s.OnChange(p.State())
	}
}

// refresh reports the trouble of a connection that stands.
func (p *Publisher) refresh() {
	p.report(func(s *State) {
		s.Reason = p.trouble.connected()
		s.Stuck = p.trouble.stuck()
	})
}

// trouble is what is wrong beyond one connection. Only Run's goroutine uses it.
type trouble struct {
	held      string // an event that cannot be put into a message
	heldAt    uint64
	dropped   string // an event at which the broker drops the connection
	droppedAt uint64
	store     string   // the outbox does not do its part
	storeCall string   // the call that failed
	rival     string   // somebody else uses the client id
	turns     []string // why there is none of the brokers tried in this round
}

// connected is the gravest trouble of a connection that stands, "" if there is
// none.
func (t *trouble) connected() string { return cmp.Or(t.held, t.dropped, t.store, t.rival) }

// away is the reason for having no connection, known until now. What the broker
// does again and again says more than the latest ending, as long as there is a
// broker. Of several brokers all are named once each has had its turn, so that
// the reason does not change with every attempt.
func (t *trouble) away(end *broker.Ending, round bool, known string) string {
	if end.Class == broker.Lost {
		t.turns = nil // of before this connection
	}
	if end.Class == broker.Absent {
		t.turns = append(t.turns, end.Reason)
	} else {
		t.turns = append(t.turns, cmp.Or(t.dropped, t.rival, end.Reason))
	}
	if !round && end.Class != broker.Lost {
		return known
	}
	all := strings.Join(slices.Compact(t.turns), "; ")
	if round {
		t.turns = nil
	}
	return all
}

// stuck is the event that goes no further, 0 if there is none.
func (t *trouble) stuck() uint64 {
	if t.held != "" {
		return t.heldAt
	}
	return t.droppedAt
}

// outbox notes how a call of the outbox went.
func (p *Publisher) outbox(call string, err error) {
	was := p.trouble.store
	switch {
	case err != nil:
		p.trouble.store, p.trouble.storeCall = fmt.Sprintf("the store fails (%s): %v", call, err), call
	case p.trouble.storeCall == call:
		p.trouble.store, p.trouble.storeCall = "", ""
	}
	if p.trouble.store != was {
		p.refresh()
	}
}
