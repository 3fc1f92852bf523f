package sparkplug

import (
	"bufio"
	"maps"
	"os"
	"slices"
	"strings"
	"testing"
	"time"

	"google.golang.org/protobuf/encoding/protowire"
)

// rules are what Sparkplug 3.0 demands of an edge node, by the ids of its
// testable statements (testdata/sparkplug/assertions.txt), each with a check on
// what brokers heard in the scenarios.
var rules = []struct {
	ids   string // without tck-id-, parted by blanks
	check func(*look)
}{
	// Topics and ids.
	{"topic-structure topic-structure-namespace-a", func(l *look) {
		for m := range l.of() {
			levels := strings.Split(m.topic, "/")
			l.check(levels[0] == "spBv1.0" && (len(levels) == 4 || len(levels) == 5), "%v: topic %s", m, m.topic)
		}
	}},
	{"topic-structure-namespace-valid-group-id intro-group-id-string intro-group-id-chars", ids(1, func(s *Settings) *string { return &s.Group })},
	{"topic-structure-namespace-valid-edge-node-id intro-edge-node-id-string intro-edge-node-id-chars", ids(3, func(s *Settings) *string { return &s.Node })},
	{"topic-structure-namespace-valid-device-id intro-device-id-string intro-device-id-chars", ids(4, func(s *Settings) *string { return &s.Device })},
	{"topic-structure-namespace-unique-edge-node-descriptor intro-edge-node-id-uniqueness payloads-nbirth-edge-node-descriptor", func(l *look) {
		for m := range l.of() { // one group and node all its life; that no other press has them is the plant's to see to
			l.check(m.Group == settings().Group && m.Node == settings().Node, "%v: group %q, node %q", m, m.Group, m.Node)
		}
	}},
	{"topic-structure-namespace-unique-device-id topic-structure-namespace-duplicate-device-id-across-edge-node", func(l *look) {
		for m := range l.of(DBIRTH, DDATA, DDEATH) { // there is one, under its own node
			l.check(m.Device == settings().Device, "%v: device %q", m, m.Device)
		}
	}},
	{"topic-structure-namespace-device-id-associated-message-types", func(l *look) {
		for m := range l.of() {
			if strings.Contains(m.topic, "/D") {
				l.check(strings.Count(m.topic, "/") == 4 && m.Device != "", "%v: topic %s", m, m.topic)
			}
		}
	}},
	{"topic-structure-namespace-device-id-non-associated-message-types", func(l *look) {
		for m := range l.of() {
			if strings.Contains(m.topic, "/N") {
				l.check(strings.Count(m.topic, "/") == 3 && m.Device == "", "%v: topic %s", m, m.topic)
			}
		}
	}},
	{"case-sensitivity-sparkplug-ids", func(l *look) {
		byFold := map[string]string{}
		for m := range l.of() {
			for _, id := range []string{"g " + m.Group, "n " + m.Node, "d " + m.Device} {
				was, known := byFold[strings.ToLower(id)]
				l.check(!known || was == id, "%v: %q beside %q", m, id, was)
				byFold[strings.ToLower(id)] = id
			}
		}
	}},
	{"case-sensitivity-metric-names", func(l *look) {
		for m := range l.of(NBIRTH, DBIRTH) {
			seen := map[string]bool{}
			for _, k := range m.Metrics {
				l.check(!seen[strings.ToLower(k.Name)], "%v: %s is there twice, but for case", m, k.Name)
				seen[strings.ToLower(k.Name)] = true
			}
		}
	}},

	// Principles.
	{"principles-rbe-recommended operational-behavior-data-publish-nbirth-change operational-behavior-data-publish-dbirth-change", func(l *look) {
		idle := false
		for _, h := range l.trace("first start").all {
			switch {
			case h.what == quiet:
				idle = true
			case h.what == busy:
				idle = false
			case h.what == published && idle:
				l.check(false, "%s is published though nothing changed", h.topic)
			}
			if h.what == quiet {
				l.check(true, "")
			}
		}
		for m := range l.of(NDATA, DDATA) {
			l.check(len(m.Metrics) > 0, "%v: it tells nothing", m)
		}
	}},
	{"principles-birth-certificates-order", func(l *look) {
		for _, s := range l.sessions {
			if len(s.told) > 0 {
				l.check(s.told[0].Type == NBIRTH, "%v is the first of its session", s.told[0])
			}
		}
	}},
	{"principles-persistence-clean-session-311", func(l *look) {
		for _, s := range l.sessions {
			l.check(s.connect.connect.CleanSession, "connection %d: no clean session", s.connect.nth)
		}
	}},
	{"principles-persistence-clean-session-50 payloads-ndeath-will-message-publisher-disconnect-mqtt50", func(l *look) {
		for _, s := range l.sessions {
			c := s.connect.connect
			l.check(c.ProtocolName == "MQTT" && c.ProtocolVersion == 4, "connection %d: %s level %d, want 3.1.1's", s.connect.nth, c.ProtocolName, c.ProtocolVersion)
		}
	}},

	// The session and its will.
	{"message-flow-edge-node-birth-publish-connect", func(l *look) {
		for m := range l.of(NBIRTH) {
			l.check(m.session.connect.what == connected && !m.at.Before(m.session.connect.at), "%v: before a session", m)
		}
	}},
	{"message-flow-edge-node-birth-publish-will-message payloads-ndeath-will-message", func(l *look) {
		for _, s := range l.sessions {
			l.check(s.connect.connect.WillFlag && len(s.connect.connect.WillMessage) > 0, "connection %d: no will", s.connect.nth)
		}
	}},
	{"message-flow-edge-node-birth-publish-will-message-topic topics-ndeath-topic", func(l *look) {
		for _, s := range l.sessions {
			l.check(s.connect.connect.WillTopic == "spBv1.0/riverside-hose-shop/NDEATH/north-bench", "will on %s", s.connect.connect.WillTopic)
		}
		for m := range l.of(NDEATH) {
			l.check(m.topic == "spBv1.0/riverside-hose-shop/NDEATH/north-bench", "%v: %s", m, m.topic)
		}
	}},
	{"message-flow-edge-node-birth-publish-will-message-payload", func(l *look) {
		for _, s := range l.sessions {
			_, err := Decode(s.connect.connect.WillMessage)
			l.check(err == nil && rawFields(s.connect.connect.WillMessage) != nil, "connection %d: the will is no payload: %v", s.connect.nth, err)
		}
	}},
	{"message-flow-edge-node-birth-publish-will-message-payload-bdSeq topics-nbirth-bdseq-increment", func(l *look) {
		wrapped := false
		for _, tr := range l.traces {
			want := int64(0) // the first ever
			if tr.name == "restart" {
				want = 253
			}
			for _, s := range tr.sessions() {
				got, ok := bdSeqOf(s.connect.connect.WillMessage)
				l.check(ok && got == want, "%s: CONNECT %d has bdSeq %d, want %d", tr.name, s.connect.nth, got, want)
				wrapped = wrapped || want == 0 && s.connect.nth > 1
				want = (want + 1) % 256
			}
		}
		l.check(wrapped, "bdSeq never came to 0 behind 255")
	}},
	{"message-flow-edge-node-birth-publish-will-message-qos payloads-ndeath-will-message-qos", func(l *look) {
		for _, s := range l.sessions {
			l.check(s.connect.connect.WillQos == 1, "will at QoS %d", s.connect.connect.WillQos)
		}
	}},
	{"message-flow-edge-node-birth-publish-will-message-will-retained payloads-ndeath-will-message-retain", func(l *look) {
		for _, s := range l.sessions {
			l.check(!s.connect.connect.WillRetain, "connection %d: the will is retained", s.connect.nth)
		}
	}},
	{"topics-ndeath-payload", func(l *look) {
		for _, death := range deaths(l) {
			p, err := Decode(death)
			l.check(err == nil && len(p.Metrics) == 1 && p.Metrics[0].Name == "bdSeq", "death with the metrics %v", p.Metrics)
		}
	}},
	{"topics-ndeath-seq payloads-ndeath-seq", func(l *look) {
		for _, death := range deaths(l) {
			l.check(len(rawOf(death, 3)) == 0, "a death has a seq: %x", death)
		}
	}},
	{"payloads-ndeath-bdseq", func(l *look) {
		for m := range l.of(NDEATH) {
			birth, _ := bdSeqOf(m.session.told[0].raw)
			death, ok := bdSeqOf(m.raw)
			l.check(ok && birth == death, "%v: bdSeq %d, its birth %d", m, death, birth)
		}
	}},
	{"payloads-ndeath-will-message-publisher operational-behavior-edge-node-intentional-disconnect-ndeath payloads-ndeath-will-message-publisher-disconnect-mqtt311 operational-behavior-edge-node-intentional-disconnect-packet", func(l *look) {
		for _, s := range l.sessions { // DISCONNECT comes behind NDEATH; who was never born has no death
			if s.parting != nil && len(s.told) > 0 {
				last := s.told[len(s.told)-1]
				l.check(last.Type == NDEATH, "%v is the last before DISCONNECT", last)
			}
		}
		for m := range l.of(NDEATH) {
			l.check(m.session.parting != nil && m.i == len(m.session.told)-1, "%v: it is not the end", m)
		}
	}},
	{"message-flow-edge-node-ncmd-subscribe", func(l *look) {
		for _, s := range l.sessions {
			l.check(asked(s, "spBv1.0/riverside-hose-shop/NCMD/north-bench"), "connection %d: no subscription to its commands at QoS 1", s.connect.nth)
			if len(s.told) > 0 {
				l.check(s.told[0].behind > 0, "%v: before the subscription", s.told[0])
			}
		}
	}},

	// NBIRTH.
	{"topics-nbirth-topic message-flow-edge-node-birth-publish-nbirth-topic", topicIs(NBIRTH, "spBv1.0/riverside-hose-shop/NBIRTH/north-bench")},
	{"topics-nbirth-mqtt message-flow-edge-node-birth-publish-nbirth-qos message-flow-edge-node-birth-publish-nbirth-retained payloads-nbirth-qos payloads-nbirth-retain", unsure(NBIRTH)},
	{"message-flow-edge-node-birth-publish-nbirth-payload", isPayload(NBIRTH)},
	{"topics-nbirth-seq-num message-flow-edge-node-birth-publish-nbirth-payload-seq payloads-nbirth-seq payloads-sequence-num-req-nbirth", func(l *look) {
		for m := range l.of(NBIRTH) {
			seq := rawOf(m.raw, 3)
			l.check(len(seq) == 1 && seq[0].typ == protowire.VarintType && seq[0].n == 0, "%v: seq %v", m, seq)
		}
	}},
	{"topics-nbirth-timestamp payloads-nbirth-timestamp", stamped(NBIRTH)},
	{"topics-nbirth-metric-reqs operational-behavior-data-publish-nbirth", declared(NBIRTH, NDATA, append(names(nodeMetrics), "bdSeq", "Node Control/Rebirth"))},
	{"topics-nbirth-metrics", whole(NBIRTH)},
	{"operational-behavior-data-publish-nbirth-values", nulls(NBIRTH, func(l *look) {
		births := 0
		for _, s := range l.trace("node metrics").sessions() {
			health := map[string]Value{"Health/Clock": String("ok"), "Health/Store": String("ok"), "Health/Broker": String("ok"), "Health/Scanner": String("ok"), "Agent/Version": String("1.2.3"), "Agent/Store": String("7f3a9c1e00000000")}
			for _, m := range s.told {
				for _, k := range m.Metrics {
					if _, known := health[k.Name]; known && m.Type == NDATA {
						health[k.Name], _ = k.Value.As(TypeString)
					}
				}
				if m.Type == NBIRTH {
					births++
					for name, want := range health {
						got, _ := value(m.Payload, name)
						l.check(got.Value == want, "%v: %s is %v, want %v", m, name, got.Value, want)
					}
				}
			}
			l.check(births == 2 && health["Health/Broker"] == String("ok") && health["Health/Store"] == String("cable unplugged"), "%d births, then %v", births, health)
		}
	})},
	{"operational-behavior-data-publish-nbirth-order", ordered(NBIRTH, NDATA)},
	{"topics-nbirth-bdseq-included payloads-nbirth-bdseq message-flow-edge-node-birth-publish-nbirth-payload-bdSeq", func(l *look) {
		for m := range l.of(NBIRTH) {
			k, ok := value(m.Payload, "bdSeq")
			n, is := k.Value.Int()
			l.check(ok && is && k.Value.Type() == TypeInt64 && n >= 0 && n <= 255, "%v: bdSeq %v", m, k)
		}
	}},
	{"topics-nbirth-bdseq-matching payloads-nbirth-bdseq-repeat operational-behavior-data-commands-rebirth-action-3", func(l *look) {
		again := false
		for m := range l.of(NBIRTH) {
			got, _ := bdSeqOf(m.raw)
			want, ok := bdSeqOf(m.session.connect.connect.WillMessage)
			l.check(ok && got == want, "%v: bdSeq %d, its will %d", m, got, want)
			again = again || m.i > 0
		}
		l.check(again, "no second birth in a session")
	}},
	{"topics-nbirth-rebirth-metric payloads-nbirth-rebirth-req operational-behavior-data-commands-rebirth-name operational-behavior-data-commands-rebirth-datatype operational-behavior-data-commands-rebirth-value", func(l *look) {
		for m := range l.of(NBIRTH) {
			k, ok := value(m.Payload, "Node Control/Rebirth")
			l.check(ok && k.Value == Boolean(false), "%v: rebirth %v", m, k)
		}
	}},
	{"operational-behavior-data-commands-rebirth-name-aliases payloads-alias-uniqueness payloads-alias-birth-requirement payloads-alias-data-cmd-requirement", without(2)},

	// NDATA.
	{"topics-ndata-topic", topicIs(NDATA, "spBv1.0/riverside-hose-shop/NDATA/north-bench")},
	{"topics-ndata-mqtt payloads-ndata-qos payloads-ndata-retain", unsure(NDATA)},
	{"topics-ndata-seq-num payloads-ndata-seq payloads-ndata-seq-inc", counted(NDATA)},
	{"topics-ndata-timestamp payloads-ndata-timestamp", stamped(NDATA)},
	{"topics-ndata-payload", func(l *look) {
		told := map[string]bool{}
		for m := range l.of(NDATA) {
			if m.session.trace.name != "node metrics" {
				continue
			}
			for _, k := range m.Metrics {
				told[k.Name] = true
				v, ok := k.Value.As(TypeString)
				text, _ := v.Text()
				l.check(ok && (text == "ok" || text == "cable unplugged"), "%v: %s is %v", m, k.Name, k.Value)
			}
		}
		for _, name := range []string{"Health/Clock", "Health/Store", "Health/Broker", "Health/Scanner"} {
			l.check(told[name], "the change of %s was not told", name)
		}
	}},
	{"payloads-ndata-order", behindBirths(NDATA)},

	// Sequences.
	{"payloads-sequence-num-always-included", func(l *look) {
		for m := range l.of() {
			l.check(len(rawOf(m.raw, 3)) == 1 || m.Type == NDEATH, "%v: no seq", m)
		}
	}},
	{"payloads-sequence-num-incrementing", counted(NDATA, DBIRTH, DDATA, DDEATH)},

	// DBIRTH.
	{"message-flow-device-birth-publish-nbirth-wait", func(l *look) {
		for m := range l.of(DBIRTH) {
			l.check(m.i > 0 && m.session.told[0].Type == NBIRTH, "%v: before NBIRTH", m)
		}
	}},
	{"topics-dbirth-topic message-flow-device-birth-publish-dbirth-topic message-flow-device-birth-publish-dbirth-match-edge-node-topic", topicIs(DBIRTH, "spBv1.0/riverside-hose-shop/DBIRTH/north-bench/press")},
	{"message-flow-device-birth-publish-dbirth-payload", isPayload(DBIRTH)},
	{"topics-dbirth-mqtt message-flow-device-birth-publish-dbirth-qos message-flow-device-birth-publish-dbirth-retained payloads-dbirth-qos payloads-dbirth-retain", unsure(DBIRTH)},
	{"topics-dbirth-seq message-flow-device-birth-publish-dbirth-payload-seq payloads-dbirth-seq payloads-dbirth-seq-inc", counted(DBIRTH)},
	{"topics-dbirth-timestamp payloads-dbirth-timestamp", stamped(DBIRTH)},
	{"topics-dbirth-metric-reqs operational-behavior-data-publish-dbirth", declared(DBIRTH, DDATA, names(deviceMetrics))},
	{"topics-dbirth-metrics", whole(DBIRTH)},
	{"operational-behavior-data-publish-dbirth-values", nulls(DBIRTH, func(l *look) {
		for m := range l.of(DBIRTH) {
			if m.i < 2 || m.before.Type != NBIRTH || m.before.before.Type == DDEATH { // of a rebirth: what was told is what is
				continue
			}
			known := view{}
			for _, was := range m.session.told[:m.i] {
				known.hear(was)
			}
			for _, k := range m.Metrics {
				was := known[k.Name]
				l.check(was.Value == k.Value, "%v: %s is %v, was %v", m, k.Name, k.Value, was.Value)
			}
		}
	})},
	{"operational-behavior-data-publish-dbirth-order", ordered(DBIRTH, DDATA)},
	{"payloads-dbirth-order operational-behavior-data-commands-rebirth-action-2", func(l *look) {
		for m := range l.of(NBIRTH) { // the press is born next, if it can be seen
			if m.i+1 == len(m.session.told) {
				continue
			}
			next := m.session.told[m.i+1]
			unseen := (m.session.trace.name == "device lost" || m.session.trace.name == "rebirth") && next.Type != DDATA
			l.check(next.Type == DBIRTH || unseen, "%v is followed by %s", m, next.Type)
		}
	}},

	// DDATA.
	{"topics-ddata-topic", topicIs(DDATA, "spBv1.0/riverside-hose-shop/DDATA/north-bench/press")},
	{"topics-ddata-mqtt payloads-ddata-qos payloads-ddata-retain", unsure(DDATA)},
	{"topics-ddata-seq-num payloads-ddata-seq payloads-ddata-seq-inc", counted(DDATA)},
	{"topics-ddata-timestamp payloads-ddata-timestamp", stamped(DDATA)},
	{"topics-ddata-payload", func(l *look) {
		for _, tr := range l.traces { // births and changes together are what there is
			known := view{}
			for _, s := range tr.sessions() {
				for _, m := range s.told {
					known.hear(m)
				}
			}
			for name, want := range tr.want {
				l.check(known[name].Value == want, "%s: a host has %s as %v, want %v", tr.name, name, known[name].Value, want)
			}
		}
	}},
	{"payloads-ddata-order", behindBirths(DDATA)},

	// The press dies.
	{"operational-behavior-device-ddeath", func(l *look) {
		for m := range l.of(DDEATH) {
			for _, next := range m.session.told[m.i+1:] {
				if next.Type == DBIRTH {
					break
				}
				l.check(next.Type != DDATA, "%v behind its death", next)
			}
		}
		lost := map[string]int{}
		for m := range l.of(DDEATH) {
			lost[m.session.trace.name]++
		}
		l.check(maps.Equal(lost, map[string]int{"wrap": 1, "rebirth": 1, "device lost": 2}), "deaths of the press: %v", lost)
	}},
	{"topics-ddeath-topic", topicIs(DDEATH, "spBv1.0/riverside-hose-shop/DDEATH/north-bench/press")},
	{"topics-ddeath-mqtt", unsure(DDEATH)},
	{"topics-ddeath-seq-num payloads-ddeath-seq payloads-ddeath-seq-inc payloads-ddeath-seq-number", counted(DDEATH)},
	{"payloads-ddeath-timestamp", stamped(DDEATH)},

	// Payloads.
	{"payloads-timestamp-in-UTC payloads-metric-timestamp-in-UTC", func(l *look) {
		for m := range l.of() { // Unix time is UTC's: nothing is from before the scenario, nor after the message
			sent := uint64(m.at.UnixMilli())
			first := uint64(noon.UnixMilli())
			for _, b := range rawMetrics(m) {
				for _, at := range rawOf(b, 3) {
					ahead := m.session.trace.name == "clock set back" && at.n <= sent+3600_000
					l.check(at.n >= first && (at.n <= sent || ahead), "%v: a metric's time is %d, sent at %d", m, at.n, sent)
				}
			}
			for _, at := range rawOf(m.raw, 1) {
				l.check(at.n == sent, "%v: time %d, sent at %d", m, at.n, sent)
			}
		}
	}},
	{"payloads-name-requirement", func(l *look) {
		for m := range l.of() {
			for _, b := range rawMetrics(m) {
				name := rawOf(b, 1)
				l.check(len(name) == 1 && len(name[0].bytes) > 0, "%v: a metric without a name", m)
			}
		}
	}},
	{"payloads-name-birth-data-requirement", func(l *look) {
		for m := range l.of(NBIRTH, DBIRTH, NDATA, DDATA) {
			for _, b := range rawMetrics(m) {
				l.check(len(rawOf(b, 3)) == 1, "%v: a metric without a time", m)
			}
		}
	}},
	{"payloads-metric-datatype-value-type payloads-metric-datatype-value payloads-metric-datatype-req", func(l *look) {
		for m := range l.of(NBIRTH, DBIRTH) {
			for _, b := range rawMetrics(m) {
				typ := rawOf(b, 4)
				l.check(len(typ) == 1 && typ[0].typ == protowire.VarintType && typ[0].n >= 1 && typ[0].n <= 34, "%v: data type %v", m, typ)
			}
		}
	}},
	{"payloads-metric-datatype-not-req", func(l *look) {
		for m := range l.of(NDATA, DDATA) {
			for _, b := range rawMetrics(m) {
				l.check(len(rawOf(b, 4)) == 0, "%v: a data type", m)
			}
		}
	}},
	{"payloads-propertyset-keys-array-size payloads-propertyset-values-array-size", properties(func(l *look, m *sent, keys, values []raw) {
		l.check(len(keys) == len(values) && len(keys) > 0, "%v: %d keys, %d values", m, len(keys), len(values))
	})},
	{"payloads-metric-propertyvalue-type-type payloads-metric-propertyvalue-type-value payloads-metric-propertyvalue-type-req", properties(func(l *look, m *sent, _, values []raw) {
		for _, v := range values {
			typ := rawOf(v.bytes, 1)
			l.check(len(typ) == 1 && typ[0].typ == protowire.VarintType && typ[0].n >= 1 && typ[0].n <= 34, "%v: property of type %v", m, typ)
		}
	})},
	{"payloads-propertyset-quality-value-type payloads-propertyset-quality-value-value", properties(func(l *look, m *sent, keys, values []raw) {
		for i, key := range keys {
			if string(key.bytes) == "Quality" {
				typ, n := rawOf(values[i].bytes, 1), rawOf(values[i].bytes, 3)
				l.check(len(typ) == 1 && typ[0].n == 3 && len(n) == 1 && (n[0].n == 0 || n[0].n == 192 || n[0].n == 500), "%v: quality %v %v", m, typ, n)
			}
		}
	})},

	// Commands: what hosts send, and what is taken of it.
	{"topics-ncmd-topic operational-behavior-data-commands-ncmd-verb operational-behavior-data-commands-ncmd-rebirth-verb", func(l *look) {
		l.heard(true, commands, rebirthCommand(), false)
		for _, topic := range []string{
			"spBv1.0/riverside-hose-shop/NCMD/south-bench", "spBv1.0/other/NCMD/north-bench", "spBv1.0/riverside-hose-shop/NDATA/north-bench",
			"spBv1.0/riverside-hose-shop/DCMD/north-bench/press", "spBv1.0/riverside-hose-shop/NCMD/north-bench/press", "spAv1.0/riverside-hose-shop/NCMD/north-bench", "nonsense", "",
		} {
			l.heard(false, topic, rebirthCommand(), false)
		}
	}},
	{"topics-ncmd-mqtt payloads-ncmd-qos payloads-ncmd-retain", func(l *look) {
		l.heard(false, commands, rebirthCommand(), true)
	}},
	{"topics-ncmd-timestamp payloads-ncmd-timestamp payloads-ncmd-seq payloads-name-cmd-requirement", func(l *look) { // nothing hangs on them
		l.heard(true, commands, AppendBirth(nil, Payload{Metrics: []Metric{{Name: Rebirth, Value: Boolean(true)}}}), false)
		l.heard(true, commands, AppendBirth(nil, Payload{At: noon, HasSeq: true, Seq: 7, Metrics: []Metric{{Name: Rebirth, At: noon, Value: Boolean(true)}}}), false)
	}},
	{"topics-ncmd-payload operational-behavior-data-commands-ncmd-metric-name operational-behavior-data-commands-ncmd-metric-value operational-behavior-data-commands-ncmd-rebirth-name operational-behavior-data-commands-ncmd-rebirth-value", func(l *look) {
		l.heard(true, commands, AppendData(nil, Payload{Metrics: []Metric{{Name: Rebirth, Value: Boolean(true)}}}), false)
		for _, m := range []Metric{
			{Name: Rebirth, Value: Boolean(false)}, {Name: Rebirth, Value: Null(TypeBoolean)}, {Name: Rebirth, Value: Int32(1)}, {Name: Rebirth, Value: String("true")},
			{Name: "node control/rebirth", Value: Boolean(true)}, {Name: "Node Control/Reboot", Value: Boolean(true)}, {Name: "Health/Clock", Value: String("ok")}, {Value: Boolean(true)},
		} {
			l.heard(false, commands, AppendBirth(nil, Payload{Metrics: []Metric{m}}), false)
		}
		l.heard(false, commands, nil, false)
		l.heard(false, commands, []byte("true"), false)
	}},
	{"operational-behavior-data-commands-rebirth-action-1", func(l *look) {
		asked, data := false, 0
		for _, h := range l.trace("rebirth").all {
			switch {
			case h.what == spoken && h.topic == commands:
				asked, data = true, 0
			case h.what == published && asked && strings.Contains(h.topic, "DATA"):
				data++
			case h.what == published && asked && strings.Contains(h.topic, "NBIRTH"):
				l.check(data <= 8, "%d messages of data between a command and its births", data) // were under way
				asked = false
			}
		}
		l.check(!asked, "a command without births")
	}},
	{"message-flow-device-dcmd-subscribe topics-dcmd-topic topics-dcmd-mqtt topics-dcmd-timestamp topics-dcmd-payload operational-behavior-data-commands-dcmd-verb operational-behavior-data-commands-dcmd-metric-name operational-behavior-data-commands-dcmd-metric-value payloads-dcmd-timestamp payloads-dcmd-seq payloads-dcmd-qos payloads-dcmd-retain", func(l *look) {
		for _, s := range l.sessions {
			for _, h := range s.asked {
				for _, topic := range h.topics {
					l.check(!strings.Contains(topic, "DCMD") && !strings.ContainsAny(topic, "+#"), "connection %d asks for %s", h.nth, topic)
				}
			}
		}
	}},

	// A primary host.
	{"operational-behavior-primary-application-state-with-multiple-servers-state-subs", func(l *look) {
		for _, s := range l.sessions {
			host := s.trace.name == "primary host" || s.trace.name == "several brokers"
			l.check(asked(s, "spBv1.0/STATE/control-room") == host, "%s: connection %d asks for %v", s.trace.name, s.connect.nth, s.asked)
		}
	}},
	{"message-flow-edge-node-birth-publish-phid-wait operational-behavior-edge-node-birth-sequence-wait operational-behavior-primary-application-state-with-multiple-servers-state message-flow-edge-node-birth-publish-phid-wait-id message-flow-edge-node-birth-publish-phid-wait-online message-flow-edge-node-birth-publish-phid-wait-timestamp", func(l *look) {
		for _, tr := range l.traces { // the host as a reader of the rules has it
			if tr.name != "primary host" && tr.name != "several brokers" {
				continue
			}
			host := map[int]HostState{} // newest valid one by connection
			for _, h := range tr.all {
				switch {
				case h.what == spoken && h.topic == "spBv1.0/STATE/control-room":
					s, err := ParseHostState(h.raw)
					if was, known := host[h.nth]; err == nil && (!known || !s.At.Before(was.At)) {
						host[h.nth] = s
					}
				case h.what == published && strings.Contains(h.topic, "NBIRTH"):
					l.check(host[h.nth].Online, "%s: a birth in connection %d, the host is %+v", tr.name, h.nth, host[h.nth])
				}
			}
		}
		wants := []MessageType{NBIRTH, NBIRTH, NBIRTH} // and it is born when the host comes
		var got []MessageType
		for _, s := range l.trace("primary host").sessions() {
			if len(s.told) > 0 {
				got = append(got, s.told[0].Type)
			}
		}
		l.check(slices.Equal(got, wants), "sessions begin with %v, want %v", got, wants)
	}},
	{"message-flow-edge-node-birth-publish-phid-offline operational-behavior-edge-node-termination-host-offline", func(l *look) {
		for i, s := range l.trace("primary host").sessions() {
			l.check(s.parting != nil && len(s.told) > 0 && s.told[len(s.told)-1].Type == NDEATH, "session %d does not end with a death", i+1)
		}
		l.check(len(l.trace("primary host").sessions()) == 3, "%d sessions, want 3: the host left twice", len(l.trace("primary host").sessions()))
	}},
	{"operational-behavior-edge-node-termination-host-offline-reconnect operational-behavior-primary-application-state-with-multiple-servers-walk", func(l *look) {
		var walk []string
		for _, s := range l.trace("several brokers").sessions() {
			walk = append(walk, strings.TrimSuffix(s.connect.broker, ".example:1883"))
		}
		l.check(slices.Equal(walk, []string{"b", "c", "a", "b", "c"}), "walked by %v", walk)
	}},
	{"operational-behavior-edge-node-termination-host-offline-timestamp", func(l *look) {
		old := false
		for _, h := range l.trace("primary host").all {
			switch {
			case h.what == spoken && string(h.raw) == `{"online":false,"timestamp":1999}`:
				old = true
			case h.what == spoken && old:
				l.check(false, "nothing is told behind an old word of the host")
				old = false
			case h.what == published && old:
				l.check(strings.Contains(h.topic, "DDATA"), "an old word of the host is followed by %s", h.topic)
				old = false
			}
		}
	}},
	{"operational-behavior-primary-application-state-with-multiple-servers-single-server", func(l *look) {
		for _, tr := range l.traces {
			open := 0
			for _, h := range tr.all {
				switch h.what {
				case opened:
					open++
					l.check(open == 1, "%s: %d connections at %v", tr.name, open, h.at)
				case closed:
					open--
				}
			}
		}
	}},

	// What is not used.
	{"topics-nbirth-templates payloads-template-definition-nbirth-only payloads-template-definition-is-definition payloads-template-definition-ref payloads-template-definition-members payloads-template-definition-nbirth payloads-template-definition-parameters payloads-template-definition-parameters-default payloads-template-instance-is-definition payloads-template-instance-ref payloads-template-instance-members payloads-template-instance-members-birth payloads-template-instance-members-data payloads-template-instance-parameters payloads-template-version payloads-template-ref-definition payloads-template-ref-instance payloads-template-is-definition payloads-template-is-definition-definition payloads-template-is-definition-instance payloads-template-parameter-name-required payloads-template-parameter-name-type payloads-template-parameter-value-type payloads-template-parameter-type-value payloads-template-parameter-type-req payloads-template-parameter-value", without(18)},
	{"payloads-dataset-column-size payloads-dataset-column-num-headers payloads-dataset-types-def payloads-dataset-types-num payloads-dataset-types-type payloads-dataset-types-value payloads-dataset-parameter-type-req payloads-template-dataset-value", without(17)},
}

// deaths are the payloads of all wills and deaths.
func deaths(l *look) (all [][]byte) {
	for _, s := range l.sessions {
		all = append(all, s.connect.connect.WillMessage)
	}
	for m := range l.of(NDEATH) {
		all = append(all, m.raw)
	}
	return all
}

// bdSeqOf is the bdSeq of a birth or death.
func bdSeqOf(b []byte) (int64, bool) {
	p, _ := Decode(b)
	m, _ := value(p, "bdSeq")
	return m.Value.Int()
}

// asked says whether a session asked for a topic at QoS 1.
func asked(s *session, topic string) bool {
	for _, h := range s.asked {
		if i := slices.Index(h.topics, topic); i >= 0 && h.qoss[i] == 1 {
			return true
		}
	}
	return false
}

func names(all []metric) (names []string) {
	for _, m := range all {
		names = append(names, m.name)
	}
	return names
}

// ids checks an id at its level of the topic, and that none is taken that may
// not be.
func ids(level int, field func(*Settings) *string) func(*look) {
	return func(l *look) {
		for m := range l.of(DBIRTH, DDATA) {
			id := strings.Split(m.topic, "/")[level]
			l.check(id != "" && !strings.ContainsAny(id, "+#/\x00"), "%v: id %q", m, id)
		}
		for _, bad := range []string{"", "a+b", "a/b", "a#b", "a\x00b", "a\xff"} {
			s := settings()
			*field(&s) = bad
			_, err := New(s, newLogbook())
			l.check(err != nil, "the id %q is taken", bad)
		}
	}
}

func topicIs(t MessageType, want string) func(*look) {
	return func(l *look) {
		for _, s := range l.sessions {
			for _, m := range s.told {
				if strings.Contains(m.topic, "/"+string(t)+"/") {
					l.check(m.topic == want, "%v: %s", m, m.topic)
				}
			}
		}
	}
}

func unsure(t MessageType) func(*look) {
	return func(l *look) {
		for m := range l.of(t) {
			l.check(m.qos == 0 && !m.retained, "%v: QoS %d, retained %t", m, m.qos, m.retained)
		}
	}
}

func isPayload(t MessageType) func(*look) {
	return func(l *look) {
		for m := range l.of(t) {
			l.check(m.err == nil && rawFields(m.raw) != nil, "%v: %v", m, m.err)
		}
	}
}

func stamped(t MessageType) func(*look) {
	return func(l *look) {
		for m := range l.of(t) {
			at := rawOf(m.raw, 1)
			l.check(len(at) == 1 && at[0].n == uint64(m.at.UnixMilli()), "%v: time %v, sent at %d", m, at, m.at.UnixMilli())
		}
	}
}

// declared checks that births declare all metrics, and data no others.
func declared(birth, data MessageType, want []string) func(*look) {
	slices.Sort(want)
	return func(l *look) {
		for m := range l.of(birth) {
			var got []string
			for _, k := range m.Metrics {
				got = append(got, k.Name)
			}
			slices.Sort(got)
			l.check(slices.Equal(got, want), "%v: metrics %v, want %v", m, got, want)
		}
		for m := range l.of(data) {
			for _, k := range m.Metrics {
				l.check(slices.Contains(want, k.Name), "%v: %s was not declared", m, k.Name)
			}
		}
	}
}

// whole checks that each metric has a name, a data type, and a value or the word
// that there is none.
func whole(t MessageType) func(*look) {
	return func(l *look) {
		for m := range l.of(t) {
			l.check(len(rawMetrics(m)) > 0, "%v: no metrics", m)
			for _, b := range rawMetrics(m) {
				l.check(len(rawOf(b, 1)) == 1 && len(rawOf(b, 4)) == 1 && len(rawValues(b))+len(rawOf(b, 7)) == 1, "%v: a metric is not whole: %x", m, b)
			}
		}
	}
}

// rawValues are the values on the wire.
func rawValues(metric []byte) (all []raw) {
	for num := protowire.Number(10); num <= 19; num++ {
		all = append(all, rawOf(metric, num)...)
	}
	return all
}

// nulls checks that there is a value or the word that there is none, then more.
func nulls(t MessageType, more func(*look)) func(*look) {
	return func(l *look) {
		for m := range l.of(t) {
			for _, b := range rawMetrics(m) {
				none := rawOf(b, 7)
				l.check(len(none) == 0 && len(rawValues(b)) == 1 || len(none) == 1 && none[0].n == 1 && len(rawValues(b)) == 0, "%v: value and null: %x", m, b)
			}
		}
		more(l)
	}
}

// ordered checks that times of what is not historical do not fall inside of a
// message, nor those of one metric from birth to birth.
func ordered(types ...MessageType) func(*look) {
	return func(l *look) {
		for _, s := range l.sessions {
			newest := map[string]time.Time{}
			for _, m := range s.told {
				if m.Type == NBIRTH {
					clear(newest)
				}
				if !slices.Contains(types, m.Type) {
					continue
				}
				var before time.Time
				for _, k := range m.Metrics {
					if k.Historical {
						continue
					}
					l.check(!k.At.Before(before) && !k.At.Before(newest[k.Name]), "%v: %s of %v behind %v, and %v of its own", m, k.Name, k.At, before, newest[k.Name])
					before, newest[k.Name] = k.At, k.At
				}
			}
		}
	}
}

// counted checks that messages of some types have the sequence behind that of the
// message before, and that 0 behind 255 was among it for each type.
func counted(types ...MessageType) func(*look) {
	return func(l *look) {
		wraps := map[MessageType]bool{}
		for m := range l.of(types...) {
			if m.before == nil {
				l.check(false, "%v: it is the first", m)
				continue
			}
			got, was := rawOf(m.raw, 3), rawOf(m.before.raw, 3)
			ok := len(got) == 1 && len(was) == 1 && got[0].n == (was[0].n+1)%256
			l.check(ok, "%v: seq %v behind %v", m, got, was)
			if ok && got[0].n == 0 {
				wraps[m.Type] = true
			}
		}
		for _, t := range types {
			l.check(wraps[t], "no %s had 0 behind 255", t)
		}
	}
}

// behindBirths checks that data comes behind NBIRTH and DBIRTH.
func behindBirths(t MessageType) func(*look) {
	return func(l *look) {
		for m := range l.of(t) {
			node, press := -1, -1
			for _, was := range m.session.told[:m.i] {
				switch was.Type { //nolint:exhaustive // births alone
				case NBIRTH:
					node = was.i
				case DBIRTH:
					press = was.i
				}
			}
			unseen := t == NDATA && m.session.told[m.i-1].Type != NBIRTH // the press may be dead, but not unborn
			l.check(node >= 0 && (press > node || unseen), "%v: NBIRTH at %d, DBIRTH at %d", m, node, press)
		}
	}
}

// without checks that a field of metrics is never used, nor what else there is
// not: uuid and body of payloads, types beyond ours.
func without(field protowire.Number) func(*look) {
	return func(l *look) {
		for m := range l.of() {
			l.check(len(rawOf(m.raw, 4))+len(rawOf(m.raw, 5)) == 0, "%v: a uuid or a body", m)
			for _, b := range rawMetrics(m) {
				l.check(len(rawOf(b, field)) == 0, "%v: a metric has field %d", m, field)
				for _, typ := range rawOf(b, 4) {
					l.check(typ.n == 3 || typ.n == 4 || typ.n >= 10 && typ.n <= 13, "%v: data type %d", m, typ.n)
				}
			}
		}
	}
}

// properties checks all sets of properties.
func properties(check func(l *look, m *sent, keys, values []raw)) func(*look) {
	return func(l *look) {
		for m := range l.of() {
			for _, b := range rawMetrics(m) {
				for _, set := range rawOf(b, 9) {
					check(l, m, rawOf(set.bytes, 1), rawOf(set.bytes, 2))
				}
			}
		}
	}
}

// heard lets a link hear a message, and checks that it is taken as a rebirth, or
// counted as ignored.
func (l *look) heard(want bool, topic string, payload []byte, retained bool) {
	n, err := New(settings(), newLogbook())
	if err != nil {
		l.check(false, "%v", err)
		return
	}
	k := newLink(n, 0)
	k.hear(topic, payload, retained)
	ignored := n.State().Ignored
	l.check(k.rebirth == want && (ignored == 0) == want, "%q with %x, retained %t: rebirth %t, %d ignored; want %t", topic, payload, retained, k.rebirth, ignored, want)
}

// assertions reads the ids of the rules, with their marks.
func assertions(t *testing.T) map[string]string {
	t.Helper()
	f, err := os.Open("../../testdata/sparkplug/assertions.txt")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close() //nolint:errcheck // nothing was written
	marks := map[string]string{}
	for lines := bufio.NewScanner(f); lines.Scan(); {
		mark, id, _ := strings.Cut(lines.Text(), " ")
		if mark == "#" {
			continue
		}
		if marks[id] != "" || !strings.Contains("APHX", mark) || !strings.HasPrefix(id, "tck-id-") {
			t.Errorf("assertions.txt: %q", lines.Text())
		}
		marks[id] = mark
	}
	return marks
}

func TestConformance(t *testing.T) {
	marks := assertions(t)
	if len(marks) != 227 {
		t.Errorf("%d ids, want 227", len(marks))
	}
	l := newLook(traces(t))
	for _, r := range rules {
		l.seen, l.faults = 0, nil
		r.check(l)
		for _, id := range strings.Fields(r.ids) {
			id = "tck-id-" + id
			if marks[id] == "" {
				t.Errorf("%s is not among the ids, or has a row already", id)
			}
			delete(marks, id)
			if l.seen == 0 {
				t.Errorf("%s: there was nothing to look at", id)
			}
			if len(l.faults) > 0 {
				t.Errorf("%s: %d faults:\n\t%s", id, len(l.faults), strings.Join(l.faults[:min(3, len(l.faults))], "\n\t"))
			}
		}
	}
	for _, id := range slices.Sorted(maps.Keys(marks)) {
		t.Errorf("%s has no row", id)
	}
}

// broken is a fault made into the traces, and an id that has to tell it.
var broken = []struct {
	id    string
	spoil func(*happening) bool // whether it did
}{
	{"payloads-ddata-seq-inc", again(DDATA, func(p *Payload) { p.Seq++ })},
	{"topics-nbirth-seq-num", again(NBIRTH, func(p *Payload) { p.Seq = 1 })},
	{"payloads-sequence-num-always-included", again(DDATA, func(p *Payload) { p.HasSeq = false })},
	{"topics-ddata-timestamp", again(DDATA, func(p *Payload) { p.At = time.Time{} })},
	{"payloads-timestamp-in-UTC", again(DDATA, func(p *Payload) { p.At = p.At.Add(-time.Hour) })},
	{"payloads-name-birth-data-requirement", again(DDATA, func(p *Payload) { p.Metrics[0].At = time.Time{} })},
	{"payloads-name-requirement", again(DDATA, func(p *Payload) { p.Metrics[0].Name = "" })},
	{"operational-behavior-data-publish-dbirth-order", again(DDATA, func(p *Payload) { p.Metrics[0].At = p.At.Add(time.Second) })},
	{"topics-dbirth-metric-reqs", again(DBIRTH, func(p *Payload) { p.Metrics = p.Metrics[1:] })},
	{"topics-nbirth-metric-reqs", again(NBIRTH, func(p *Payload) { p.Metrics = p.Metrics[1:] })},
	{"topics-nbirth-rebirth-metric", again(NBIRTH, func(p *Payload) { p.Metrics[len(p.Metrics)-1].Value = Boolean(true) })},
	{"topics-nbirth-bdseq-matching", again(NBIRTH, func(p *Payload) { p.Metrics[len(p.Metrics)-2].Value = Int64(99) })},
	{"payloads-ndeath-bdseq", again(NDEATH, func(p *Payload) { p.Metrics[0].Value = Int64(99) })},
	{"topics-ndeath-payload", again(NDEATH, func(p *Payload) { p.Metrics = append(p.Metrics, p.Metrics[0]) })},
	{"payloads-ndeath-seq", again(NDEATH, func(p *Payload) { p.HasSeq = true })},
	{"topics-ddata-mqtt", func(h *happening) bool { h.qos = 1; return strings.Contains(h.topic, "DDATA") }},
	{"payloads-nbirth-retain", func(h *happening) bool { h.retained = true; return strings.Contains(h.topic, "NBIRTH") }},
	{"topics-ndata-topic", func(h *happening) bool {
		was := h.topic
		h.topic = strings.Replace(was, "/NDATA/", "/NDATA/north/", 1)
		return h.topic != was
	}},
	{"principles-birth-certificates-order", func(h *happening) bool {
		was := h.topic
		h.topic = strings.Replace(was, "NBIRTH", "NDATA", 1)
		return h.topic != was
	}},
	{"principles-persistence-clean-session-311", func(h *happening) bool {
		if h.what != connected {
			return false
		}
		c := *h.connect
		c.CleanSession, h.connect = false, &c
		return true
	}},
	{"message-flow-edge-node-ncmd-subscribe", func(h *happening) bool { h.qoss = []byte{0}; return h.what == subscribed }},
	{"message-flow-device-dcmd-subscribe", func(h *happening) bool {
		h.topics = []string{"spBv1.0/riverside-hose-shop/DCMD/north-bench/press"}
		return h.what == subscribed
	}},
	{"payloads-metric-datatype-req", func(h *happening) bool {
		p, _ := Decode(h.raw)
		h.raw = AppendData(nil, p)
		return strings.Contains(h.topic, "DBIRTH")
	}},
	{"payloads-metric-datatype-not-req", func(h *happening) bool {
		p, _ := Decode(h.raw)
		for i := range p.Metrics {
			p.Metrics[i].Value.typ = TypeInt64
		}
		h.raw = AppendBirth(nil, p)
		return strings.Contains(h.topic, "DDATA")
	}},
	{"operational-behavior-device-ddeath", func(h *happening) bool {
		was := h.topic
		h.topic = strings.Replace(was, "DDEATH", "DDATA", 1)
		return h.topic != was
	}},
}

// again spoils the payload of messages of one type.
func again(t MessageType, spoil func(*Payload)) func(*happening) bool {
	return func(h *happening) bool {
		if h.what != published || !strings.Contains(h.topic, "/"+string(t)+"/") {
			return false
		}
		p, _ := Decode(h.raw)
		spoil(&p)
		if h.raw = AppendBirth(nil, p); t == DDATA || t == NDATA || t == DDEATH {
			h.raw = AppendData(nil, p)
		}
		return true
	}
}

// TestConformanceCanFail spoils one happening of the first trace that has it, and
// wants the row of the rule to see it.
func TestConformanceCanFail(t *testing.T) {
	all := traces(t)
	if t.Failed() {
		return
	}
	for _, b := range broken {
		var spoilt []*trace
		done := false
		for _, tr := range all {
			c := *tr
			c.all = slices.Clone(tr.all)
			for i := range c.all {
				h := c.all[i]
				if done || (h.what != published && h.what != connected && h.what != subscribed) {
					continue
				}
				if b.spoil(&h) {
					c.all[i], done = h, true
				}
			}
			spoilt = append(spoilt, &c)
		}
		if !done {
			t.Errorf("%s: nothing was spoilt", b.id)
			continue
		}
		l, told := newLook(spoilt), false
		for _, r := range rules {
			if slices.Contains(strings.Fields(r.ids), b.id) {
				r.check(l)
				told = len(l.faults) > 0
			}
		}
		if !told {
			t.Errorf("%s does not see the fault made for it", b.id)
		}
	}
}
