package mqtt

import (
	"bytes"
	"encoding/json"
	"fmt"
	"maps"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"benchtally/agent/record"
)

// document is what these tests look at of the AsyncAPI document, references
// unresolved.
type document struct {
	AsyncAPI string
	Servers  map[string]struct {
		Host, Protocol, ProtocolVersion string
		Bindings                        struct {
			MQTT struct {
				CleanSession bool
				KeepAlive    int
				LastWill     struct {
					Topic, Message string
					QoS            byte
					Retain         bool
				}
			}
		}
	}
	Channels map[string]struct {
		Address  string
		Messages map[string]ref
	}
	Operations map[string]struct {
		Action   string
		Channel  ref
		Messages []ref
		Bindings ref
	}
	Components struct {
		OperationBindings map[string]struct {
			MQTT struct {
				QoS    byte
				Retain bool
			}
		}
		Messages map[string]struct {
			Name, ContentType string
			Payload           json.RawMessage
			Examples          []struct{ Payload json.RawMessage }
		}
	}
}

type ref struct {
	To string `json:"$ref"`
}

// to is the last part of a reference.
func (r ref) to(t *testing.T, in string) string {
	t.Helper()
	name, ok := strings.CutPrefix(r.To, in)
	if !ok || strings.Contains(name, "/") {
		t.Fatalf("reference to %s, want one into %s", r.To, in)
	}
	return name
}

func readDocument(t *testing.T, base, brokers string) (d document) {
	t.Helper()
	text, err := Document(base, brokers)
	if err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(text, &d); err != nil {
		t.Fatal(err)
	}
	return d
}

// sending is how a message is sent on a topic.
type sending struct {
	QoS    byte
	Retain bool
}

// sendings are the topics of the document with how messages are sent there. Each
// operation is to send: the press receives nothing.
func (d document) sendings(t *testing.T) map[string]sending {
	t.Helper()
	all := map[string]sending{}
	for name, o := range d.Operations {
		if o.Action != "send" || len(o.Messages) != 1 {
			t.Errorf("%s: action %s of %d messages", name, o.Action, len(o.Messages))
		}
		channel := d.Channels[o.Channel.to(t, "#/channels/")]
		b := d.Components.OperationBindings[o.Bindings.to(t, "#/components/operationBindings/")].MQTT
		if _, twice := all[channel.Address]; twice {
			t.Errorf("%s is sent to by two operations", channel.Address)
		}
		all[channel.Address] = sending(b)
	}
	if len(all) != len(d.Channels) {
		t.Errorf("%d operations for %d channels", len(all), len(d.Channels))
	}
	return all
}

// TestChannelsAreTheTopics: the document has the topics of the code, and each has
// the schema and the golden message of its name.
func TestChannelsAreTheTopics(t *testing.T) {
	d := readDocument(t, exampleBase, "")
	want := []string{}
	for _, topic := range []Topic{Status, Info, Work, Cage, Last, Health} {
		want = append(want, topic.Under(exampleBase))
	}
	for _, k := range record.Kinds() {
		want = append(want, EventTopic(k).Under(exampleBase))
	}
	slices.Sort(want)
	if diff := cmp.Diff(want, slices.Sorted(maps.Keys(d.sendings(t)))); diff != "" {
		t.Errorf("topics of the code -, channels +:\n%s", diff)
	}
	if len(d.Components.Messages) != len(want) {
		t.Errorf("%d messages for %d topics", len(d.Components.Messages), len(want))
	}
	for name, c := range d.Channels {
		if len(c.Messages) != 1 {
			t.Fatalf("%s has %d messages, want 1", name, len(c.Messages))
		}
		for _, r := range c.Messages {
			m := d.Components.Messages[r.to(t, "#/components/messages/")]
			topic := Topic(strings.TrimPrefix(c.Address, exampleBase+"/"))
			if m.Name != string(topic) || len(m.Examples) != 1 {
				t.Fatalf("%s has the message %q with %d examples", name, m.Name, len(m.Examples))
			}
			contentType := "application/json"
			if strings.HasPrefix(string(topic), "event/") {
				contentType = "application/cloudevents+json" // CloudEvents 1.0.2, JSON event format, section 3
			}
			if m.ContentType != contentType {
				t.Errorf("%s has the content type %s, want %s", name, m.ContentType, contentType)
			}
			var example bytes.Buffer
			if err := json.Compact(&example, m.Examples[0].Payload); err != nil {
				t.Fatal(err)
			}
			if got, want := example.String(), string(goldenMessage(t, topic)); got != want {
				t.Errorf("example of %s\n%s\nwant the golden message\n%s", name, got, want)
			}
			schema, err := Schema(topic)
			if err != nil {
				t.Fatal(err)
			}
			if diff := cmp.Diff(withoutHeading(t, schema), withoutHeading(t, m.Payload)); diff != "" {
				t.Errorf("schema of %s, file -, document +:\n%s", topic, diff)
			}
		}
	}
}

func withoutHeading(t *testing.T, schema []byte) map[string]any {
	t.Helper()
	var s map[string]any
	if err := json.Unmarshal(schema, &s); err != nil {
		t.Fatal(err)
	}
	delete(s, "$schema")
	delete(s, "$id")
	return s
}

// TestSentAsDescribed: what a broker gets of a publisher is what the document says,
// each topic with its quality of service and whether it is retained, the will,
// and nothing else.
func TestSentAsDescribed(t *testing.T) {
	f := &fake{}
	b := &box{}
	for i, k := range record.Kinds() {
		seq := uint64(i + 1)
		b.events = append(b.events, record.Event{
			Seq: seq, ID: goldenID(seq), Record: fmt.Appendf(nil, `{"seq":%d,"at":"2026-03-02T06:12:03.417000Z","kind":"%s"}`, seq, k),
		})
	}
	p := start(t, settings(f.listen(t)), b, nil)
	for _, topic := range retained {
		p.Retain(topic, []byte("{}"))
	}
	drain(t, p)
	p.stop()
	got := map[string]sending{}
	for _, m := range f.messages(nil) {
		is := sending{m.qos, m.retained}
		if was, twice := got[m.topic]; twice && was != is {
			t.Errorf("%s is sent as %+v and as %+v", m.topic, was, is)
		}
		got[m.topic] = is
	}
	d := readDocument(t, testBase, "tcp://127.0.0.1:1883")
	if diff := cmp.Diff(d.sendings(t), got); diff != "" {
		t.Errorf("document -, sent +:\n%s", diff)
	}
	c, is := f.connects[0], d.Servers["broker"].Bindings.MQTT
	if c.CleanSession != is.CleanSession || int(c.Keepalive) != is.KeepAlive || !c.WillFlag || c.WillQos != is.LastWill.QoS || c.WillRetain != is.LastWill.Retain ||
		c.WillTopic != is.LastWill.Topic {
		t.Errorf("CONNECT %s, the document says %+v", c, is)
	}
	if err := valid(compiled(t, Status), c.WillMessage); err != nil {
		t.Errorf("will %s: %v", c.WillMessage, err)
	}
	if _, others := f.ended(); len(others) > 0 {
		t.Errorf("the publisher sent %v besides", others)
	}
}

// TestDocumentOfAPress: the document is of the press's own base and brokers, and
// stands alone.
func TestDocumentOfAPress(t *testing.T) {
	for _, c := range []struct {
		name, base, brokers string
		hosts               map[string]string // host to protocol
		want                string            // part of the error; "" none
	}{
		{"no broker", "n", "", map[string]string{exampleBroker: "secure-mqtt"}, ""},
		{"without TLS", "a/b/c", "tcp://192.0.2.7", map[string]string{"192.0.2.7:1883": "mqtt"}, ""},
		{"with TLS", testBase, "ssl://broker.plant.example", map[string]string{"broker.plant.example:8883": "secure-mqtt"}, ""},
		{"three", "n", "ssl://a ssl://b:9 ssl://[::1]", map[string]string{"a:8883": "secure-mqtt", "b:9": "secure-mqtt", "[::1]:8883": "secure-mqtt"}, ""},
		{"no base", "", "", nil, "level 1 is empty"},
		{"a base with wildcards", "a/#", "", nil, "may hold only"},
		{"no address", "n", "http://a", nil, "want tcp://"},
	} {
		t.Run(c.name, func(t *testing.T) {
			text, err := Document(c.base, c.brokers)
			if c.want != "" {
				if err == nil || !strings.Contains(err.Error(), c.want) {
					t.Errorf("got %v, want an error with %q", err, c.want)
				}
				return
			}
			if err != nil {
				t.Fatal(err)
			}
			for _, foreign := range []string{"schema/", "urn:benchtally:event", "urn:benchtally:keys", `"$id"`} {
				if bytes.Contains(text, []byte(foreign)) {
					t.Errorf("the document holds %s", foreign)
				}
			}
			if c.base != exampleBase && bytes.Contains(text, []byte(exampleBase)) {
				t.Error("the document holds the invented base")
			}
			var d document
			if err := json.Unmarshal(text, &d); err != nil {
				t.Fatal(err)
			}
			hosts := map[string]string{}
			for name, s := range d.Servers {
				hosts[s.Host] = s.Protocol
				if got, want := s.Bindings.MQTT.LastWill.Topic, Status.Under(c.base); got != want || s.ProtocolVersion != "3.1.1" {
					t.Errorf("server %s: MQTT %s, will on %s, want %s", name, s.ProtocolVersion, got, want)
				}
			}
			if diff := cmp.Diff(c.hosts, hosts); diff != "" || d.AsyncAPI != "3.0.0" {
				t.Errorf("AsyncAPI %s; hosts, want -, got +:\n%s", d.AsyncAPI, diff)
			}
			for topic := range d.sendings(t) {
				if !strings.HasPrefix(topic, c.base+"/") {
					t.Errorf("%s is not below %s", topic, c.base)
				}
			}
		})
	}
}
