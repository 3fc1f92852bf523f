package mqtt

import (
	"bytes"
	"encoding/json"
	"flag"
	"fmt"
	"maps"
	"os"
	"path/filepath"
	"reflect"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/santhosh-tekuri/jsonschema/v6"

	"benchtally/agent/crimp"
	"benchtally/agent/record"
)

var update = flag.Bool("update", false, "rewrite the golden messages that this package writes")

// Golden messages, one for each topic, named by it: those who read them have
// built on these bytes. Package agent writes those of its states.
const (
	messages = "../testdata/messages"
	records  = "../testdata/records/v1"
)

// goldenMessage is the golden message of a topic, without the end of the line.
func goldenMessage(t testing.TB, topic Topic) []byte {
	t.Helper()
	b, err := os.ReadFile(filepath.Join(messages, string(topic)+".json"))
	if err != nil {
		t.Fatal(err)
	}
	return bytes.TrimSuffix(b, []byte("\n"))
}

// compiled is the schema of a topic's messages as another program reads it.
func compiled(t testing.TB, topic Topic) *jsonschema.Schema {
	t.Helper()
	text, err := Schema(topic)
	if err != nil {
		t.Fatal(err)
	}
	doc, err := jsonschema.UnmarshalJSON(bytes.NewReader(text))
	if err != nil {
		t.Fatalf("%s: %v", topic, err)
	}
	c := jsonschema.NewCompiler()
	c.AssertFormat()
	name := urn(topic)
	if err := c.AddResource(name, doc); err != nil {
		t.Fatalf("%s: %v", topic, err)
	}
	s, err := c.Compile(name)
	if err != nil {
		t.Fatalf("%s: %v", topic, err)
	}
	return s
}

// urn is the name of a topic's schema.
func urn(topic Topic) string {
	return "urn:benchtally:" + strings.ReplaceAll(string(topic), "/", ":") + ":v1"
}

// valid validates a message as another program would.
func valid(s *jsonschema.Schema, message []byte) error {
	doc, err := jsonschema.UnmarshalJSON(bytes.NewReader(message))
	if err != nil {
		return err
	}
	return s.Validate(doc)
}

// node is what these tests look at of a schema.
type node struct {
	Schema     string          `json:"$schema"`
	ID         string          `json:"$id"`
	Text       string          `json:"description"`
	Type       string          `json:"type"`
	Const      any             `json:"const"`
	Enum       []string        `json:"enum"`
	Required   []string        `json:"required"`
	AllOf      []node          `json:"allOf"`
	Properties map[string]node `json:"properties"`
}

// schemaOf is the schema of a topic, with the keys that it takes over.
func schemaOf(t testing.TB, topic Topic) node {
	t.Helper()
	text, err := Schema(topic)
	if err != nil {
		t.Fatal(err)
	}
	var n node
	if err := json.Unmarshal(text, &n); err != nil {
		t.Fatalf("%s: %v", topic, err)
	}
	return merged(n)
}

// merged is a schema with those of its allOf.
func merged(n node) node {
	if n.Properties == nil {
		n.Properties = map[string]node{}
	}
	for _, other := range n.AllOf {
		n.Required = append(n.Required, other.Required...)
		for key, p := range other.Properties {
			was := n.Properties[key]
			was.AllOf = append(was.AllOf, p)
			if was.Type == "" {
				was.Type = p.Type
			}
			was.Text += p.Text
			n.Properties[key] = merged(was)
		}
	}
	n.AllOf = nil
	return n
}

// recordOf is the schema of the record in the events of a kind.
func recordOf(t testing.TB, k record.Kind) node {
	t.Helper()
	return schemaOf(t, EventTopic(k)).Properties["data"]
}

// goldenID is the id of an event in the golden messages.
func goldenID(seq uint64) string { return fmt.Sprintf("5d0c1f6a72e94b38-1e7b90c4d2f35a86-%d", seq) }

// holdGolden holds what the code writes against a golden message, or rewrites
// that and the example in the document.
func holdGolden(t *testing.T, topic Topic, got []byte) {
	t.Helper()
	if *update {
		name := filepath.Join(messages, string(topic)+".json")
		was, _ := os.ReadFile(name) // there may be none yet
		document, err := os.ReadFile("asyncapi.json")
		if err != nil {
			t.Fatal(err)
		}
		if was = bytes.TrimSuffix(was, []byte("\n")); len(was) > 0 {
			document = bytes.ReplaceAll(document, was, got)
		}
		for name, b := range map[string][]byte{name: append(slices.Clone(got), '\n'), "asyncapi.json": document} {
			if err := os.WriteFile(name, b, 0o644); err != nil {
				t.Fatal(err)
			}
		}
	}
	if want := goldenMessage(t, topic); !bytes.Equal(got, want) {
		t.Errorf("%s: got\n%s\nwant\n%s", topic, got, want)
	}
}

// TestGoldenEvents: the golden record of each kind makes exactly the golden
// event, which its schema takes.
func TestGoldenEvents(t *testing.T) {
	for _, k := range record.Kinds() {
		t.Run(string(k), func(t *testing.T) {
			text, err := os.ReadFile(filepath.Join(records, string(k)+".json"))
			if err != nil {
				t.Fatal(err)
			}
			text = bytes.TrimSuffix(text, []byte("\n"))
			var r record.Record
			if err := json.Unmarshal(text, &r); err != nil {
				t.Fatal(err)
			}
			got, topic, err := AppendEvent(nil, exampleBase, record.Event{Seq: r.Seq, ID: goldenID(r.Seq), Record: text})
			if err != nil || topic != EventTopic(k).Under(exampleBase) {
				t.Fatalf("topic %q, %v", topic, err)
			}
			holdGolden(t, EventTopic(k), got)
			if err := valid(compiled(t, EventTopic(k)), got); err != nil {
				t.Error(err)
			}
		})
	}
}

// TestGoldenStatus: so does a status, and the will that the document shows.
func TestGoldenStatus(t *testing.T) {
	l := &link{p: &Publisher{s: Settings{Base: exampleBase, Heartbeat: time.Minute}}, number: 42}
	at := time.Date(2026, 3, 2, 5, 59, 58, 0, time.UTC)
	schema := compiled(t, Status)
	online := l.statusJSON(true, "", at)
	holdGolden(t, Status, online)
	for _, m := range [][]byte{online, l.statusJSON(false, "stopped", at)} {
		if err := valid(schema, m); err != nil {
			t.Errorf("%s: %v", m, err)
		}
	}
	will := readDocument(t, exampleBase, "").Servers["broker"].Bindings.MQTT.LastWill.Message
	if want := string(l.statusJSON(false, "connection lost", at)); will != want {
		t.Errorf("the document's will is %s, want %s", will, want)
	}
	if err := valid(schema, []byte(will)); err != nil {
		t.Error(err)
	}
	l.p.s.ClockState = func() string { return "unset" }
	unset := l.statusJSON(true, "", at)
	if err := valid(schema, unset); err != nil {
		t.Error(err)
	}
	if want := strings.TrimSuffix(string(online), "}") + `,"clock":"unset"}`; string(unset) != want {
		t.Errorf("while nothing keeps the clock right: %s, want %s", unset, want)
	}
	var keys map[string]any
	if err := json.Unmarshal(unset, &keys); err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(slices.Sorted(maps.Keys(keys)), slices.Sorted(maps.Keys(schemaOf(t, Status).Properties))); diff != "" {
		t.Errorf("keys written -, described +:\n%s", diff)
	}
}

// TestGoldenMessages: there is one golden message for each topic, which its schema
// takes and which knows no key that the schema has not.
func TestGoldenMessages(t *testing.T) {
	for _, topic := range Topics() {
		m := goldenMessage(t, topic)
		if err := valid(compiled(t, topic), m); err != nil {
			t.Errorf("%s: %v", topic, err)
		}
		var keys map[string]json.RawMessage
		if err := json.Unmarshal(m, &keys); err != nil {
			t.Fatalf("%s: %v", topic, err)
		}
		n := schemaOf(t, topic)
		for key := range keys {
			if _, ok := n.Properties[key]; !ok {
				t.Errorf("%s: the schema has no key %s", topic, key)
			}
		}
	}
}

// change is one change to a golden message: the value that a key gets, or with
// none that the key is taken out.
type change struct {
	Name  string
	Topic Topic
	Path  []string
	Value json.RawMessage
	Valid bool // the message still is
}

// on makes the change.
func (c change) on(t *testing.T, message []byte) []byte {
	t.Helper()
	var all map[string]any
	d := json.NewDecoder(bytes.NewReader(message))
	d.UseNumber()
	if err := d.Decode(&all); err != nil {
		t.Fatal(err)
	}
	at := all
	for _, key := range c.Path[:len(c.Path)-1] {
		at = at[key].(map[string]any)
	}
	key := c.Path[len(c.Path)-1]
	if c.Value != nil {
		at[key] = c.Value
	} else {
		if _, ok := at[key]; !ok {
			t.Fatalf("there is no %s to be taken out", c.Path)
		}
		delete(at, key)
	}
	b, err := json.Marshal(all)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// TestWrongMessages: one thing that is wrong is enough to be refused, and what
// may come within a version is taken. Another validator reads the same table in
// outsiders.
func TestWrongMessages(t *testing.T) {
	text, err := os.ReadFile(filepath.Join(messages, "changes.json"))
	if err != nil {
		t.Fatal(err)
	}
	var changes []change
	if err := json.Unmarshal(text, &changes); err != nil {
		t.Fatal(err)
	}
	schemas := map[Topic]*jsonschema.Schema{}
	refused := 0
	for _, c := range changes {
		t.Run(c.Name, func(t *testing.T) {
			if schemas[c.Topic] == nil {
				schemas[c.Topic] = compiled(t, c.Topic)
			}
			m := c.on(t, goldenMessage(t, c.Topic))
			err := valid(schemas[c.Topic], m)
			if (err == nil) != c.Valid {
				t.Errorf("valid: %t, want %t: %v\n%s", err == nil, c.Valid, err, m)
			}
			if err != nil {
				refused++
			}
		})
	}
	if len(changes) < 70 || refused < 60 {
		t.Errorf("%d changes, %d refused: the table was not read whole", len(changes), refused)
	}
}

// recordKeys are the keys that a record can have, by the tags of its fields.
func recordKeys(of reflect.Type) (keys []string) {
	for i := range of.NumField() {
		f := of.Field(i)
		if f.Anonymous {
			keys = append(keys, recordKeys(f.Type.Elem())...)
			continue
		}
		name, _, _ := strings.Cut(f.Tag.Get("json"), ",")
		keys = append(keys, name)
	}
	return keys
}

// TestEveryKeyIsDescribed: every key that a record can have is described with
// some kind, in words, and every key described is one that a record can have.
func TestEveryKeyIsDescribed(t *testing.T) {
	of := map[string]bool{}
	for _, k := range record.Kinds() {
		n := recordOf(t, k)
		for key, p := range n.Properties {
			of[key] = true
			if p.Type == "" || p.Text == "" && p.Const == nil {
				t.Errorf("%s: %s has the type %q and is described by %q", k, key, p.Type, p.Text)
			}
			if !slices.Contains(n.Required, key) && !strings.Contains(p.Text, "Absent: ") {
				t.Errorf("%s: %s may be absent, and what that means is not told", k, key)
			}
			if slices.Contains(n.Required, key) && strings.Contains(p.Text, "Absent: ") {
				t.Errorf("%s: %s is never absent, and what that means is told", k, key)
			}
		}
		for _, key := range n.Required {
			if _, ok := n.Properties[key]; !ok {
				t.Errorf("%s: %s is required and not described", k, key)
			}
		}
	}
	want := recordKeys(reflect.TypeFor[record.Record]())
	slices.Sort(want)
	if diff := cmp.Diff(want, slices.Sorted(maps.Keys(of))); diff != "" {
		t.Errorf("keys of a record -, described +:\n%s", diff)
	}
}

// TestWholeRecordIsDescribed: the golden record of each kind has only keys that are
// described with that kind.
func TestWholeRecordIsDescribed(t *testing.T) {
	for _, k := range record.Kinds() {
		var e struct{ Data map[string]any }
		if err := json.Unmarshal(goldenMessage(t, EventTopic(k)), &e); err != nil {
			t.Fatal(err)
		}
		n := recordOf(t, k)
		for key := range e.Data {
			if _, ok := n.Properties[key]; !ok {
				t.Errorf("%s: %s is not described", k, key)
			}
		}
	}
}

// TestEnumerationsAreTheCodes: what a key may say in the schemas is what it may say
// in the code.
func TestEnumerationsAreTheCodes(t *testing.T) {
	for _, c := range []struct {
		kind record.Kind
		key  string
		want []string
	}{
		{record.Verdict, "outcome", texts(crimp.Pass, crimp.Recrimp, crimp.Scrap, crimp.Unsure)},
		{record.Verdict, "zone", texts(crimp.Inside, crimp.NearInside, crimp.NearOutside, crimp.Outside)},
		{record.Verdict, "end", texts(crimp.EndA, crimp.EndB)},
		{record.Turn, "end", texts(crimp.EndA, crimp.EndB)},
		{record.Start, "unit", texts(crimp.Inches, crimp.Millimetres)},
		{record.Correction, "for", []string{record.ForNext, record.ForRecrimp}},
		{record.Care, "work", texts(append(crimp.Works(), crimp.Oil)...)},
		{record.Care, "condition", texts(crimp.Conditions()...)},
		{record.Care, "state", []string{record.Due, record.Done}},
		{record.Fault, "state", []string{record.On, record.Off}},
		{record.Scrap, "state", []string{record.On, record.Off}},
		{record.Standard, "state", []string{record.Due, record.Done, record.Off}},
		{record.Fault, "source", texts(record.Switch, record.Caliper, record.Scanner, record.Clock, record.Store, record.Broker)},
		{record.Refused, "source", texts(record.Caliper, record.Action, record.Scanner)},
	} {
		if diff := cmp.Diff(c.want, recordOf(t, c.kind).Properties[c.key].Enum); diff != "" {
			t.Errorf("%s of %s, code -, schema +:\n%s", c.key, c.kind, diff)
		}
	}
	for _, k := range record.Kinds() {
		n := schemaOf(t, EventTopic(k))
		if got, want := n.Properties["type"].Const, "benchtally."+string(k)+".v1"; got != want {
			t.Errorf("type of %s is %v, want %s", k, got, want)
		}
		if got := n.Properties["data"].Properties["kind"].Const; got != string(k) {
			t.Errorf("kind of %s is %v", k, got)
		}
	}
}

func texts[T ~string](values ...T) []string {
	all := make([]string, len(values))
	for i, v := range values {
		all[i] = string(v)
	}
	return all
}

// TestSchemaFiles: each schema has its name and says its draft; it uses only words
// that mean the same in draft 7, which many readers still have; no file is left
// over, and none is missing.
func TestSchemaFiles(t *testing.T) {
	words := []string{
		"$schema", "$id", "$ref", "$defs", "title", "description", "type", "const", "enum", "required", "properties", "allOf", "format", "pattern",
		"minimum", "maximum", "exclusiveMinimum", "minLength", "maxLength",
	}
	known := map[string]bool{"envelope": true, "keys": true}
	for _, topic := range Topics() {
		known[string(topic)] = true
	}
	files := 0
	err := filepath.WalkDir("schema", func(name string, d os.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		files++
		topic := strings.TrimSuffix(strings.TrimPrefix(filepath.ToSlash(name), "schema/"), ".json")
		if !known[topic] {
			t.Errorf("%s is the schema of nothing", name)
		}
		text, err := os.ReadFile(name)
		if err != nil {
			return err
		}
		var n node
		if err := json.Unmarshal(text, &n); err != nil {
			return fmt.Errorf("%s: %w", name, err)
		}
		if n.ID != urn(Topic(topic)) || n.Schema != "https://json-schema.org/draft/2020-12/schema" {
			t.Errorf("%s: its name is %s, its draft %s", name, n.ID, n.Schema)
		}
		var doc any
		if err := json.Unmarshal(text, &doc); err != nil {
			return err
		}
		for _, word := range keywords(doc) {
			if !slices.Contains(words, word) {
				t.Errorf("%s uses %s: want one of %v", name, word, words)
			}
		}
		return nil
	})
	if err != nil || files != len(known) {
		t.Errorf("%d files, %v; want %d", files, err, len(known))
	}
	for _, topic := range Topics() {
		text, err := Schema(topic)
		if err != nil || bytes.Contains(text, []byte("$ref")) || bytes.Count(text, []byte(`"$id"`)) != 1 {
			t.Errorf("%s, %v: want one that refers to nothing and has one name:\n%s", topic, err, text)
		}
	}
	if _, err := Schema("event/#"); err == nil || !strings.Contains(err.Error(), "event/stroke") {
		t.Errorf("got %v, want an error that names the topics", err)
	}
}

// keywords are the words of JSON Schema in a schema.
func keywords(schema any) (words []string) {
	s, ok := schema.(map[string]any)
	if !ok {
		return nil
	}
	for word, value := range s {
		words = append(words, word)
		switch word {
		case "properties", "$defs":
			for _, p := range value.(map[string]any) {
				words = append(words, keywords(p)...)
			}
		case "allOf":
			for _, p := range value.([]any) {
				words = append(words, keywords(p)...)
			}
		}
	}
	return words
}

// TestNoPromise: nothing here reads as a promise about an assembly.
func TestNoPromise(t *testing.T) {
	never := regexp.MustCompile(`(?i)\b(safe(ly)?|approved?|release[ds]?|certif(y|ied)|accepted|ok to|ready for|fit for|guarantee[ds]?)\b`)
	document, err := Document(exampleBase, "")
	if err != nil {
		t.Fatal(err)
	}
	if found := never.FindAll(document, -1); found != nil {
		t.Errorf("the document says %q", found)
	}
}
