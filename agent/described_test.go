package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"maps"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"
	"github.com/google/go-cmp/cmp"
	"github.com/santhosh-tekuri/jsonschema/v6"
	"golang.org/x/tools/txtar"

	"benchtally/agent/record"
	"benchtally/agent/station"
	"benchtally/mqtt"
	"benchtally/store"
)

// messages are the golden messages, one for each topic. Package mqtt writes those
// of events and of the status.
const messages = "../testdata/messages"

// description is what a plant is told of a topic: its schema, as another program
// reads it, and the keys that it describes.
type description struct {
	schema   *jsonschema.Schema
	keys     map[string]bool
	required []string
	record   map[string]bool // keys of the record in an event
}

// descriptions are those of all topics.
func descriptions(t testing.TB) map[mqtt.Topic]description {
	t.Helper()
	all := map[mqtt.Topic]description{}
	for _, topic := range mqtt.Topics() {
		text, err := mqtt.Schema(topic)
		if err != nil {
			t.Fatal(err)
		}
		doc, err := jsonschema.UnmarshalJSON(bytes.NewReader(text))
		if err != nil {
			t.Fatalf("%s: %v", topic, err)
		}
		c := jsonschema.NewCompiler()
		c.AssertFormat()
		if err := c.AddResource("urn:test", doc); err != nil {
			t.Fatalf("%s: %v", topic, err)
		}
		schema, err := c.Compile("urn:test")
		if err != nil {
			t.Fatalf("%s: %v", topic, err)
		}
		d := description{schema: schema, keys: map[string]bool{}, record: map[string]bool{}, required: schema.Required}
		for _, s := range append([]*jsonschema.Schema{schema}, schema.AllOf...) {
			for key, p := range s.Properties {
				d.keys[key] = true
				for inner := range p.Properties {
					d.record[inner] = true
				}
			}
		}
		all[topic] = d
	}
	return all
}

// hold validates a message and wants every key of it to be described.
func (d description) hold(t testing.TB, topic mqtt.Topic, message []byte) {
	t.Helper()
	doc, err := jsonschema.UnmarshalJSON(bytes.NewReader(message))
	if err != nil {
		t.Errorf("%s: %v\n%s", topic, err, message)
		return
	}
	if err := d.schema.Validate(doc); err != nil {
		t.Errorf("%s: %v\n%s", topic, err, message)
	}
	for key, value := range doc.(map[string]any) {
		if !d.keys[key] {
			t.Errorf("%s: %s is not described\n%s", topic, key, message)
		}
		inner, _ := value.(map[string]any)
		for key := range inner {
			if !d.record[key] {
				t.Errorf("%s: %s is not described\n%s", topic, key, message)
			}
		}
	}
}

// asEvent is a record as it is sent.
func asEvent(t testing.TB, rec []byte) (mqtt.Topic, []byte) {
	t.Helper()
	var r record.Record
	if err := json.Unmarshal(rec, &r); err != nil {
		t.Fatalf("%v: %s", err, rec)
	}
	id := "5d0c1f6a72e94b38-1e7b90c4d2f35a86-" + strconv.FormatUint(r.Seq, 10)
	message, _, err := mqtt.AppendEvent(nil, "riverside/hose-shop/north-bench", record.Event{Seq: r.Seq, ID: id, Record: rec})
	if err != nil {
		t.Fatal(err)
	}
	return mqtt.EventTopic(r.Kind), message
}

// TestShiftsAreDescribed: every event of every shift is as the plant is told, to
// the last key.
func TestShiftsAreDescribed(t *testing.T) {
	all := descriptions(t)
	seen := map[mqtt.Topic]int{}
	for _, name := range scenarios(t) {
		a, err := txtar.ParseFile(name)
		if err != nil {
			t.Fatal(err)
		}
		dir, config := shopFor(t, a)
		tape := filepath.Join(dir, "tape.jsonl")
		write(t, tape, section(a, "tape"))
		code, out, errs := command(t, "", "replay", tape, "--config", config)
		if code != exitDone {
			t.Fatalf("%s: exit %d: %s", name, code, errs)
		}
		for line := range strings.Lines(out) {
			topic, message := asEvent(t, []byte(strings.TrimSuffix(line, "\n")))
			seen[topic]++
			all[topic].hold(t, topic, message)
		}
	}
	for _, k := range record.Kinds() {
		if k != record.Lot && k != record.Turn && seen[mqtt.EventTopic(k)] == 0 { // those are in TestPublishedIsDescribed
			t.Errorf("no shift has a record of the kind %s", k)
		}
	}
	t.Logf("events by topic: %v", seen)
}

// TestDemoIsDescribed: so is every event of a rehearsed shift.
func TestDemoIsDescribed(t *testing.T) {
	if testing.Short() {
		t.Skip("ten seconds of the demo")
	}
	all := descriptions(t)
	t.Setenv("TMPDIR", t.TempDir())
	code, out, errs := command(t, "", "demo", "--speed", "120", "--for", "10s", "--listen", "127.0.0.1:0")
	if code != exitDone {
		t.Fatalf("exit %d: %s", code, errs)
	}
	_, config, ok := strings.Cut(out, "benchtally log --config ")
	config, _, _ = strings.Cut(config, "\n")
	if !ok {
		t.Fatalf("the demo does not say where its records are:\n%s", out)
	}
	code, out, errs = command(t, "", "log", "--config", config, "--json")
	if code != exitDone {
		t.Fatalf("exit %d: %s", code, errs)
	}
	seen := map[mqtt.Topic]int{}
	for line := range strings.Lines(out) {
		topic, message := asEvent(t, []byte(strings.TrimSuffix(line, "\n")))
		seen[topic]++
		all[topic].hold(t, topic, message)
	}
	if seen[mqtt.EventTopic(record.Verdict)] < 10 {
		t.Errorf("events by topic: %v", seen)
	}
	t.Logf("events by topic: %v", seen)
}

// TestStatesAreDescribed: the schemas of the states have the keys that the agent
// can write, and want those that it always writes.
func TestStatesAreDescribed(t *testing.T) {
	all := descriptions(t)
	for topic, state := range map[mqtt.Topic]reflect.Type{
		mqtt.Info: reflect.TypeFor[infoState](), mqtt.Work: reflect.TypeFor[workState](), mqtt.Cage: reflect.TypeFor[cageState](),
		mqtt.Last: reflect.TypeFor[lastState](), mqtt.Health: reflect.TypeFor[healthState](),
	} {
		var keys, always []string
		for i := range state.NumField() {
			key, how, _ := strings.Cut(state.Field(i).Tag.Get("json"), ",")
			keys = append(keys, key)
			if how != "omitempty" {
				always = append(always, key)
			}
		}
		slices.Sort(keys)
		slices.Sort(always)
		if diff := cmp.Diff(keys, slices.Sorted(maps.Keys(all[topic].keys))); diff != "" {
			t.Errorf("%s: keys written -, described +:\n%s", topic, diff)
		}
		if diff := cmp.Diff(always, slices.Sorted(slices.Values(all[topic].required))); diff != "" {
			t.Errorf("%s: keys always written -, required +:\n%s", topic, diff)
		}
	}
}

// statesTape is a shift that leaves much to be told: an end that is to be crimped
// again, a worn cage, lots, a hint.
const statesTape = `{"tape":1,"at":"2026-03-02T06:00:00Z"}
{"t":1,"do":"operator","operator":"kj"}
{"t":2,"do":"load","cage":"C-21"}
{"t":3,"do":"care","cage":"C-21","work":"clean","finding":"one segment scored","condition":"worn"}
{"t":4,"do":"start","order":"A-1001"}
{"t":9,"level":0}
{"t":9.8,"level":1}
{"t":11.8,"text":"+1.2000\r\n"}
{"t":13.8,"text":"+1.2005\r\n"}
{"t":15.8,"text":"+1.1995\r\n"}
{"t":23.8,"level":0}
{"t":24.6,"level":1}
{"t":26.6,"text":"+1.2080\r\n"}
{"t":28.6,"text":"+1.2085\r\n"}
{"t":30.6,"text":"+1.2080\r\n"}
{"t":36.6,"level":0}
{"t":37.4,"level":1}
{"t":39.4,"text":"+1.2075\r\n"}
{"t":41.4,"text":"+1.2065\r\n"}
`

// TestGoldenStates: a shop's day gives exactly the golden states.
func TestGoldenStates(t *testing.T) {
	a, err := txtar.ParseFile(filepath.Join(shifts, "whole-order.txtar"))
	if err != nil {
		t.Fatal(err)
	}
	dir, config := shopFor(t, a)
	tape := filepath.Join(dir, "tape.jsonl")
	write(t, tape, statesTape)
	if code, _, errs := command(t, "", "replay", tape, "--config", config, "--store", filepath.Join(dir, "bench.db")); code != exitDone {
		t.Fatalf("exit %d: %s", code, errs)
	}
	cfg, err := loadConfig(config)
	if err != nil {
		t.Fatal(err)
	}
	kept, err := openKept(cfg.Store.Path, store.Options{ReadOnly: true})
	if err != nil {
		t.Fatal(err)
	}
	is, err := storeStatus(cfg, kept)
	if err := kept.Close(); err != nil {
		t.Error(err)
	}
	if err != nil {
		t.Fatal(err)
	}
	all := descriptions(t)
	for topic, state := range map[mqtt.Topic]any{
		mqtt.Work: is.Work, mqtt.Cage: is.Cage, mqtt.Last: is.Last,
		mqtt.Info: infoState{
			Version: "0.1.0", Store: "5d0c1f6a72e94b38", Base: cfg.Base(), Length: "mm", Setting: cfg.Scale.Step.String(), Clock: "kernel",
		},
		mqtt.Health: healthState{
			Queue: 3, Oldest: 7, LastAck: "2026-03-02T06:00:24.600000Z", Clock: station.Unset, Switch: "ok",
			Caliper: "the port /dev/caliper0 is not there: look at the cable", Store: "ok", Broker: "ok", CheckDue: true, Doubt: 812,
		},
	} {
		got, err := json.Marshal(state)
		if err != nil {
			t.Fatal(err)
		}
		name := filepath.Join(messages, string(topic)+".json")
		want, err := os.ReadFile(name)
		if *update {
			putGolden(t, name, bytes.TrimSuffix(want, []byte("\n")), got)
			want, err = os.ReadFile(name)
		}
		if err != nil {
			t.Fatal(err)
		}
		if diff := cmp.Diff(strings.TrimSuffix(string(want), "\n"), string(got)); diff != "" {
			t.Errorf("%s, golden -, written +:\n%s", topic, diff)
		}
		all[topic].hold(t, topic, got)
	}
}

// putGolden rewrites a golden message and the example in the document.
func putGolden(t *testing.T, name string, was, is []byte) {
	t.Helper()
	const document = "../mqtt/asyncapi.json"
	text, err := os.ReadFile(document)
	if err != nil {
		t.Fatal(err)
	}
	if len(was) > 0 {
		text = bytes.ReplaceAll(text, was, is)
	}
	write(t, document, string(text))
	write(t, name, string(is)+"\n")
}

// TestPublishedIsDescribed: all that a running agent publishes is as the plant is
// told: each message by its schema to the last key, only topics that are in the
// document, and a sequence without gaps.
func TestPublishedIsDescribed(t *testing.T) {
	all := descriptions(t)
	address := newPlant(t)
	const base = "riverside/hose-shop/north-bench"
	messages := make(chan paho.Message, 1000)
	c := paho.NewClient(paho.NewClientOptions().AddBroker("tcp://" + address).SetClientID("plant"))
	for _, token := range []func() paho.Token{
		c.Connect,
		func() paho.Token {
			return c.Subscribe("#", 1, func(_ paho.Client, m paho.Message) { messages <- m })
		},
	} {
		if token := token(); token.Wait() && token.Error() != nil {
			t.Fatal(token.Error())
		}
	}
	defer c.Disconnect(100)

	a, err := txtar.ParseFile(filepath.Join(shifts, "whole-order.txtar"))
	if err != nil {
		t.Fatal(err)
	}
	_, config := shop(t, section(a, "config")+"[mqtt]\nbroker = \"tcp://"+address+"\"\n[measure]\nplaces = 1\n")
	write(t, filepath.Join(filepath.Dir(config), "jobs.csv"), section(a, "jobs"))
	press := startAgent(t, config)
	for _, line := range []string{
		`{"do":"operator","operator":"kj"}`,
		`{"do":"load","cage":"C-21"}`,
		`{"do":"start","order":"A-1001"}`,
		`{"do":"lot","maker":"M2","lot":"H-77"}`,
		`{"do":"turn","end":"B"}`,
		`{"do":"set","setting":118}`,
		`{"do":"care","work":"clean","condition":"good"}`,
		`{"do":"standard","standard":"ring-25"}`,
		`{"text":"+0.9843\r\n"}`,
		`{"do":"start","order":"A-1001","spec":"none"}`,
		`{"level":0}`,
	} {
		press.say("%s", line)
	}
	press.next(record.Refused)
	time.Sleep(250 * time.Millisecond) // a stroke takes its time
	press.say(`{"level":1}`)
	press.next(record.Stroke)
	for _, line := range []string{
		`{"text":"+1.2080\r\n"}`, `{"do":"check"}`, `{"do":"proof","assembly":1,"pressure_pa":55160000,"hold_s":45}`,
		`{"do":"scrap","reason":"cut not square"}`, `{"do":"finish"}`,
	} {
		press.say("%s", line)
	}
	press.next(record.Finish)
	press.end()

	seen := map[mqtt.Topic]int{}
	sequence := uint64(0)
	for stopped := false; !stopped; {
		select {
		case m := <-messages:
			name, ok := strings.CutPrefix(m.Topic(), base+"/")
			topic := mqtt.Topic(name)
			d, known := all[topic]
			if !ok || !known {
				t.Fatalf("%s is not described", m.Topic())
			}
			seen[topic]++
			d.hold(t, topic, m.Payload())
			var is struct {
				Sequence string
				Reason   string
			}
			if err := json.Unmarshal(m.Payload(), &is); err != nil {
				t.Fatal(err)
			}
			if is.Sequence != "" {
				sequence++
				if want := fmt.Sprintf("%020d", sequence); is.Sequence != want {
					t.Errorf("sequence %s, want %s", is.Sequence, want)
				}
			}
			stopped = topic == mqtt.Status && is.Reason == "stopped"
		case <-time.After(20 * time.Second):
			t.Fatalf("the goodbye is missing: %v", seen)
		}
	}
	wanted := []mqtt.Topic{mqtt.Status, mqtt.Info, mqtt.Work, mqtt.Cage, mqtt.Last, mqtt.Health}
	for _, k := range []record.Kind{
		record.Operator, record.Load, record.Start, record.Lot, record.Turn, record.Set, record.Care, record.Standard, record.Refused,
		record.Stroke, record.Reading, record.Verdict, record.Correction, record.Check, record.Proof, record.Scrap, record.Finish,
	} {
		wanted = append(wanted, mqtt.EventTopic(k))
	}
	for _, topic := range wanted {
		if seen[topic] == 0 {
			t.Errorf("nothing came on %s: %v", topic, seen)
		}
	}
}

// TestTopics: the command prints the document of this press, or a schema alone.
func TestTopics(t *testing.T) {
	_, config := shop(t, "[mqtt]\nbroker = \"tcp://192.0.2.7 tcp://192.0.2.8\"\n")
	code, out, errs := command(t, "", "topics", "--config", config)
	if code != exitDone || errs != "" {
		t.Fatalf("exit %d: %s", code, errs)
	}
	want, err := mqtt.Document("riverside/hose-shop/north-bench", "tcp://192.0.2.7:1883 tcp://192.0.2.8:1883")
	if err != nil || out != string(want) || !json.Valid([]byte(out)) {
		t.Errorf("%v, printed\n%s", err, out)
	}
	_, config = shop(t, "")
	if code, out, errs := command(t, "", "topics", "--config", config); code != exitDone || !strings.Contains(errs, "names no broker") || !json.Valid([]byte(out)) {
		t.Errorf("without a broker: exit %d, %s", code, errs)
	}
	for _, topic := range mqtt.Topics() {
		code, out, errs := command(t, "", "topics", "--schema", string(topic))
		if want, err := mqtt.Schema(topic); code != exitDone || err != nil || out != string(want) {
			t.Errorf("%s: exit %d, %v: %s", topic, code, err, errs)
		}
	}
	for _, c := range []struct {
		name string
		args []string
		says string
	}{
		{"a topic that there is not", []string{"--schema", "event/press"}, "event/stroke"},
		{"a whole topic", []string{"--schema", "riverside/hose-shop/north-bench/status"}, "want one of status, info"},
		{"a configuration that is not there", []string{"--config", filepath.Join(t.TempDir(), "none.toml")}, "none.toml"},
	} {
		if code, out, errs := command(t, "", append([]string{"topics"}, c.args...)...); code != exitUsage || out != "" || !strings.Contains(errs, c.says) {
			t.Errorf("%s: exit %d, printed %q, %s", c.name, code, out, errs)
		}
	}
}
