package sparkplug

import (
	"fmt"
	"iter"
	"slices"
	"time"

	"github.com/eclipse/paho.mqtt.golang/packets"
	"google.golang.org/protobuf/encoding/protowire"
)

// What happens between a node and its brokers.
const (
	opened       = "opened"
	connected    = "connected" // CONNECT
	subscribed   = "subscribed"
	published    = "published"
	disconnected = "disconnected" // DISCONNECT
	closed       = "closed"
	spoken       = "spoken" // to the node
	quiet        = "quiet"  // nothing is recorded from here on
	busy         = "busy"   // until here
)

// happening is one thing that happened, as the broker saw it.
type happening struct {
	what   string
	nth    int // CONNECT, counted from 1; 0 before the first of a connection
	broker string
	at     time.Time

	connect *packets.ConnectPacket
	topics  []string // subscribed
	qoss    []byte

	topic    string // published and spoken
	raw      []byte
	qos      byte
	retained bool
}

// trace is what happened in one scenario.
type trace struct {
	name string
	all  []happening
	want map[string]Value // what a host has to know of the press in the end
}

// session is one connection of a trace.
type session struct {
	trace   *trace
	connect happening
	asked   []happening // subscriptions
	told    []*sent
	parting *happening // DISCONNECT; nil: the connection ended without
}

// sent is one message that a node published.
type sent struct {
	happening
	Topic
	Payload
	err     error // of the decoder
	session *session
	i       int   // of session.told
	before  *sent // nil: it is the first one of the session
	behind  int   // subscriptions of the session before it
}

func (m *sent) String() string {
	return fmt.Sprintf("%s: connection %d, message %d, %s", m.session.trace.name, m.nth, m.i, m.Type)
}

// sessions parts a trace by its connections.
func (tr *trace) sessions() (all []*session) {
	byNth := map[int]*session{}
	for _, h := range tr.all {
		s := byNth[h.nth]
		if h.what == connected {
			s = &session{trace: tr, connect: h}
			byNth[h.nth] = s
			all = append(all, s)
		}
		if s == nil {
			continue
		}
		switch h.what {
		case subscribed:
			s.asked = append(s.asked, h)
		case disconnected:
			s.parting = &h
		case published:
			m := &sent{happening: h, session: s, i: len(s.told), behind: len(s.asked)}
			m.Topic, _ = ParseTopic(h.topic)
			m.Payload, m.err = Decode(h.raw)
			if m.i > 0 {
				m.before = s.told[m.i-1]
			}
			s.told = append(s.told, m)
		}
	}
	return all
}

// look is one look at all traces for one rule.
type look struct {
	traces   []*trace
	sessions []*session
	seen     int
	faults   []string
}

// check says whether what was looked at is as it should be.
func (l *look) check(ok bool, format string, args ...any) {
	l.seen++
	if !ok {
		l.faults = append(l.faults, fmt.Sprintf(format, args...))
	}
}

// of gives all messages of some types; all without any.
func (l *look) of(types ...MessageType) iter.Seq[*sent] {
	return func(yield func(*sent) bool) {
		for _, s := range l.sessions {
			for _, m := range s.told {
				if (len(types) == 0 || slices.Contains(types, m.Type)) && !yield(m) {
					return
				}
			}
		}
	}
}

// trace finds a scenario by its name.
func (l *look) trace(name string) *trace {
	for _, tr := range l.traces {
		if tr.name == name {
			return tr
		}
	}
	l.check(false, "there is no scenario %q", name)
	return &trace{}
}

// newLook reads traces.
func newLook(traces []*trace) *look {
	l := &look{traces: traces}
	for _, tr := range traces {
		l.sessions = append(l.sessions, tr.sessions()...)
	}
	return l
}

// raw is one field of a protobuf message, read without this package's decoder.
type raw struct {
	num   protowire.Number
	typ   protowire.Type
	n     uint64
	bytes []byte
}

// rawFields are the fields of a message; nil if it is none.
func rawFields(b []byte) (all []raw) {
	for len(b) > 0 {
		num, typ, n := protowire.ConsumeTag(b)
		if n < 0 {
			return nil
		}
		b = b[n:]
		f := raw{num: num, typ: typ}
		switch typ { //nolint:exhaustive // others have no contents that are looked at
		case protowire.VarintType:
			f.n, n = protowire.ConsumeVarint(b)
		case protowire.BytesType:
			f.bytes, n = protowire.ConsumeBytes(b)
		default:
			n = protowire.ConsumeFieldValue(num, typ, b)
		}
		if n < 0 {
			return nil
		}
		all, b = append(all, f), b[n:]
	}
	return all
}

// rawOf are the fields of one number.
func rawOf(b []byte, num protowire.Number) (all []raw) {
	for _, f := range rawFields(b) {
		if f.num == num {
			all = append(all, f)
		}
	}
	return all
}

// rawMetrics are a payload's metrics as they stand on the wire.
func rawMetrics(m *sent) [][]byte {
	var all [][]byte
	for _, f := range rawOf(m.raw, 2) {
		all = append(all, f.bytes)
	}
	return all
}

// view is what a host knows of a press's metrics: births make it new, data
// change it, what is historical does not.
type view map[string]Metric

func (v view) hear(m *sent) {
	if m.Type == DBIRTH {
		clear(v)
	}
	if m.Type != DBIRTH && m.Type != DDATA {
		return
	}
	for _, k := range m.Metrics {
		if k.Historical {
			continue
		}
		if was, known := v[k.Name]; known && m.Type == DDATA {
			k.Value, _ = k.Value.As(was.Value.Type())
		}
		v[k.Name] = k
	}
}

// record copies what the stub has noted.
func (s *stub) record(name string, want map[string]Value) *trace {
	s.mu.Lock()
	defer s.mu.Unlock()
	return &trace{name, slices.Clone(s.noted), want}
}
