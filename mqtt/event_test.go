package mqtt

import (
	"bytes"
	"encoding/json"
	"math"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"benchtally/agent/crimp"
	"benchtally/agent/record"
	"benchtally/mqtt/broker"
)

// goldenRecord is a record as the store keeps it.
func goldenRecord() record.Record {
	return record.Record{
		Seq: 18422, At: time.Date(2026, 3, 2, 6, 12, 3, 417_000_000, time.UTC), Kind: record.Verdict,
		Order: "A-1001", Piece: "A-1001/1", Crimp: 1, Outcome: crimp.Pass,
		Mean: record.Ptr(30_581_250 * crimp.Nanometre), Deviation: record.Ptr(1_250 * crimp.Nanometre), Readings: 3,
		Reason: `within limits: "30.58" ± 0.1`,
	}
}

const golden = `{"specversion":"1.0","id":"7f3a9c1e-b2d4-18422","source":"/riverside/hose-shop/north-bench",` +
	`"type":"benchtally.verdict.v1","time":"2026-03-02T06:12:03.417000Z","datacontenttype":"application/json",` +
	`"sequence":"00000000000000018422","data":{"seq":18422,"at":"2026-03-02T06:12:03.417000Z","kind":"verdict",` +
	`"order":"A-1001","piece":"A-1001/1","crimp":1,"outcome":"pass","mean_mm":30.58125,"deviation_mm":0.00125,` +
	`"readings":3,"reason":"within limits: \"30.58\" ± 0.1"}}`

func TestAppendEventGolden(t *testing.T) {
	r := goldenRecord()
	e := record.Event{Seq: r.Seq, ID: "7f3a9c1e-b2d4-18422", Record: r.AppendJSON(nil)}
	got, topic, err := AppendEvent([]byte("before"), testBase, e)
	if err != nil {
		t.Fatal(err)
	}
	if want := "before" + golden; string(got) != want {
		t.Errorf("got\n%s\nwant\n%s", got, want)
	}
	if want := testBase + "/event/verdict"; topic != want {
		t.Errorf("topic %q, want %q", topic, want)
	}
	again, _, err := AppendEvent(nil, testBase, e)
	if err != nil || string(again) != golden {
		t.Errorf("a repeat gives other bytes:\n%s\n%v", again, err)
	}
}

// checkCloudEvent checks the rules of CloudEvents 1.0.2, "Context Attributes"
// and "Type System", and of its JSON event format, section 3.
func checkCloudEvent(t *testing.T, event []byte) map[string]json.RawMessage {
	t.Helper()
	var attributes map[string]json.RawMessage
	if err := json.Unmarshal(event, &attributes); err != nil || !utf8.Valid(event) {
		t.Fatalf("no JSON object in UTF-8: %v\n%s", err, event)
	}
	for _, required := range []string{"id", "source", "specversion", "type"} { // "REQUIRED Attributes"
		var s string
		if err := json.Unmarshal(attributes[required], &s); err != nil || s == "" {
			t.Errorf("%s = %s, want a string that is not empty", required, attributes[required])
		}
		for _, c := range s {
			if broker.Control(c) {
				t.Errorf("%s = %q: control characters are not allowed", required, s)
			}
		}
	}
	if got := string(attributes["specversion"]); got != `"1.0"` {
		t.Errorf("specversion = %s, want \"1.0\"", got)
	}
	var at time.Time
	if err := json.Unmarshal(attributes["time"], &at); err != nil {
		t.Errorf("time = %s, want RFC 3339: %v", attributes["time"], err)
	}
	for name := range attributes {
		if len(name) > 20 || strings.Trim(name, "abcdefghijklmnopqrstuvwxyz0123456789") != "" {
			t.Errorf("attribute name %q: want at most 20 of a-z and 0-9", name)
		}
	}
	if d := attributes["data"]; len(d) == 0 || d[0] != '{' {
		t.Errorf("data = %.40s, want an object", d)
	}
	return attributes
}

func TestEventIsCloudEvent(t *testing.T) {
	attributes := checkCloudEvent(t, []byte(golden))
	if len(attributes) != 8 {
		t.Errorf("%d attributes, want 8", len(attributes))
	}
	for _, k := range record.Kinds() {
		r := record.Record{Seq: 1, At: time.Unix(1_772_000_000, 0), Kind: k}
		b, topic, err := AppendEvent(nil, testBase, record.Event{Seq: 1, ID: "s-r-1", Record: r.AppendJSON(nil)})
		if err != nil {
			t.Fatalf("%s: %v", k, err)
		}
		checkCloudEvent(t, b)
		if want := EventTopic(k).Under(testBase); topic != want {
			t.Errorf("topic %q, want %q", topic, want)
		}
	}
}

func TestAppendEventReadsOtherSpellings(t *testing.T) {
	for _, tc := range []struct{ name, record string }{
		{"blanks", ` { "seq" : 7 , "at":"2026-03-02T06:12:03Z", "kind":"stroke" } `},
		{"other order", `{"kind":"stroke","at":"2026-03-02T06:12:03Z","order":"A","seq":7}`},
		{"line breaks", "{\n\"seq\":7,\n\"at\":\"2026-03-02T06:12:03Z\",\"kind\":\"stroke\"}"},
		{"escaped kind", `{"seq":7,"at":"2026-03-02T06:12:03Z","kind":"st\u0072oke"}`},
	} {
		t.Run(tc.name, func(t *testing.T) {
			b, topic, err := AppendEvent(nil, "b", record.Event{Seq: 7, ID: "i", Record: []byte(tc.record)})
			if tc.name == "escaped kind" { // the usual beginning is taken at its word
				if err == nil || !strings.Contains(err.Error(), "kind") {
					t.Fatalf("got %v, want a refusal of the kind", err)
				}
				return
			}
			if err != nil || topic != "b/event/stroke" {
				t.Fatalf("topic %q, %v; want b/event/stroke", topic, err)
			}
			checkCloudEvent(t, b)
			if !bytes.Contains(b, []byte(tc.record)) {
				t.Errorf("the record was changed:\n%s", b)
			}
		})
	}
}

func TestAppendEventRefuses(t *testing.T) {
	const good = `{"seq":7,"at":"2026-03-02T06:12:03Z","kind":"stroke"}`
	for _, tc := range []struct{ name, id, record, want string }{
		{"no id", "", good, "event 7: its id"},
		{"id with a quote", `a"b`, good, "its id"},
		{"id with a line break", "a\nb", good, "its id"},
		{"id beyond ASCII", "ä", good, "its id"},
		{"nothing", "i", ``, "not JSON"},
		{"cut off", "i", good[:len(good)-1], "not JSON"},
		{"more behind it", "i", good + "}", "not JSON"},
		{"two objects", "i", good + good, "not JSON"},
		{"not utf-8", "i", `{"seq":7,"at":"2026-03-02T06:12:03Z","kind":"stroke","raw":"` + "\xff" + `"}`, "not JSON in UTF-8"},
		{"a list", "i", `[7]`, "not an object"},
		{"null", "i", `null`, "lacks seq, at or kind"},
		{"no kind", "i", `{"seq":7,"at":"2026-03-02T06:12:03Z"}`, "lacks"},
		{"seq as text", "i", `{"seq":"7","at":"2026-03-02T06:12:03Z","kind":"stroke"}`, "not an object with seq"},
		{"another seq", "i", `{"seq":8,"at":"2026-03-02T06:12:03Z","kind":"stroke"}`, "has the sequence 8"},
		{"time without zone", "i", `{"seq":7,"at":"2026-03-02T06:12:03","kind":"stroke"}`, "not RFC 3339"},
		{"no time", "i", `{"seq":7,"at":"","kind":"stroke"}`, "not RFC 3339"},
		{"kind with a slash", "i", `{"seq":7,"at":"2026-03-02T06:12:03Z","kind":"a/b"}`, "its record's kind"},
		{"kind as wildcard", "i", `{"seq":7,"at":"2026-03-02T06:12:03Z","kind":"#"}`, "its record's kind"},
		{"empty kind", "i", `{"seq":7,"at":"2026-03-02T06:12:03Z","kind":""}`, "its record's kind"},
	} {
		t.Run(tc.name, func(t *testing.T) {
			b, topic, err := AppendEvent([]byte("before"), "b", record.Event{Seq: 7, ID: tc.id, Record: []byte(tc.record)})
			if err == nil || !strings.Contains(err.Error(), tc.want) {
				t.Errorf("got %v, want an error with %q", err, tc.want)
			}
			if string(b) != "before" || topic != "" {
				t.Errorf("got %q and topic %q, want the buffer as it was", b, topic)
			}
		})
	}
}

func TestSequenceSortsAsNumbersDo(t *testing.T) {
	before := ""
	for _, n := range []uint64{0, 1, 9, 10, 18422, math.MaxUint32, math.MaxInt64, math.MaxUint64} {
		s := string(appendSequence(nil, n))
		if len(s) != 20 || s <= before {
			t.Errorf("%d is written %q, behind %q: want 20 digits that sort", n, s, before)
		}
		before = s
	}
	if before != "18446744073709551615" {
		t.Errorf("the largest is %q", before)
	}
}

func TestEventIsSmall(t *testing.T) {
	r := goldenRecord()
	r.Reason = strings.Repeat("x", 1024)
	b, _, err := AppendEvent(nil, strings.Repeat("a", 128), record.Event{Seq: r.Seq, ID: strings.Repeat("i", 64), Record: r.AppendJSON(nil)})
	if err != nil || len(b) >= 4096 {
		t.Errorf("%d bytes, %v; want less than 4096", len(b), err)
	}
	e := testEvent(1)
	if b, _, _ = AppendEvent(nil, testBase, e); len(b)-len(e.Record) > envelope {
		t.Errorf("the envelope has %d bytes, more than %d", len(b)-len(e.Record), envelope)
	}
}

func FuzzAppendEvent(f *testing.F) {
	r := goldenRecord()
	f.Add(uint64(18422), "7f3a9c1e-b2d4-18422", r.AppendJSON(nil))
	f.Add(uint64(7), "i", []byte(`{"kind":"stroke","at":"2026-03-02T06:12:03Z","seq":7}`))
	f.Add(uint64(7), "", []byte(`{"seq":7,"at":"","kind":"#"}`))
	f.Add(uint64(1), "a\"b", []byte(`null`))
	f.Add(uint64(0), "i", []byte("{\"seq\":0,\"at\":\"0000-01-01T00:00:00Z\",\"kind\":\"a\",\"\xff\":1}"))
	f.Fuzz(func(t *testing.T, seq uint64, id string, rec []byte) {
		e := record.Event{Seq: seq, ID: id, Record: rec}
		b, topic, err := AppendEvent(nil, testBase, e)
		if err != nil {
			if len(b) != 0 || topic != "" {
				t.Fatalf("refused, but gave %q on %q", b, topic)
			}
			return
		}
		attributes := checkCloudEvent(t, b)
		checkTopicName(t, topic)
		if !strings.HasPrefix(topic, testBase+"/event/") || strings.Count(topic, "/") != 4 {
			t.Errorf("topic %q", topic)
		}
		if got := attributes["data"]; !bytes.Equal(got, bytes.TrimSpace(rec)) {
			t.Errorf("data %q, want %q", got, rec)
		}
		if string(attributes["sequence"]) != `"`+string(appendSequence(nil, seq))+`"` {
			t.Errorf("sequence %s of %d", attributes["sequence"], seq)
		}
		again, _, _ := AppendEvent(make([]byte, 3, 5000), testBase, e)
		if !bytes.Equal(again[3:], b) {
			t.Errorf("a repeat gives other bytes:\n%s\n%s", again[3:], b)
		}
	})
}

func BenchmarkAppendEvent(b *testing.B) {
	r := goldenRecord()
	e := record.Event{Seq: r.Seq, ID: "7f3a9c1e-b2d4-18422", Record: r.AppendJSON(nil)}
	buf := make([]byte, 0, 1024)
	b.ReportAllocs()
	for b.Loop() {
		var err error
		if buf, _, err = AppendEvent(buf[:0], testBase, e); err != nil {
			b.Fatal(err)
		}
	}
	b.SetBytes(int64(len(buf)))
}
