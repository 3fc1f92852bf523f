package sparkplug

import (
	"encoding/hex"
	"encoding/json"
	"flag"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
)

var update = flag.Bool("update", false, "rewrite the .hex files of what is written; the .want files are never rewritten")

// messages are one file per case, named after it:
// testdata/sparkplug/<case>.hex, the bytes of one payload as hexadecimal digits
// beside lines of comment, and <case>.want, what has to be read from them as
// JSON. mqtt/outsiders/sparkplug.test.mjs holds the npm package
// sparkplug-payload to the same files.
const messages = "../../testdata/sparkplug"

// noon is the time in the files, 1767268800000 ms since 1970.
var noon = time.Date(2026, 1, 1, 12, 0, 0, 0, time.UTC)

// written are the payloads whose bytes lie in the files of their names.
var written = []struct {
	name   string
	append func([]byte, Payload) []byte
	p      Payload
}{
	{"nbirth", AppendBirth, Payload{At: noon, HasSeq: true, Metrics: []Metric{
		{Name: BdSeq, At: noon, Value: Int64(7)},
		{Name: Rebirth, At: noon, Value: Boolean(false)},
		{Name: "Version", At: noon, Value: String("v0.9.0")},
		{Name: "Started", At: noon, Value: DateTime(noon.Add(-1500 * time.Millisecond))},
	}}},
	{"ndeath", AppendBirth, Payload{At: noon, Metrics: []Metric{{Name: BdSeq, At: noon, Value: Int64(255)}}}},
	{"dbirth", AppendBirth, Payload{At: noon, HasSeq: true, Seq: 1, Metrics: []Metric{
		{Name: "Strokes", At: noon, Value: Int64(123456)},
		{Name: "Die Cage/Setting", At: noon, Value: Int32(-5), Unit: "in/1000"},
		{Name: "Last/Crimp Diameter", At: noon, Value: Double(0.8125), Unit: "in"},
		{Name: "Last/Error", At: noon, Value: Int64(-5)},
		{Name: "Last/Outcome", At: noon, Value: String("pass")},
		{Name: "Last/Note", At: noon, Value: String("")},
		{Name: "Working", At: noon, Value: Boolean(true), Transient: true},
	}}},
	{"dbirth_without_values", AppendBirth, Payload{At: noon, HasSeq: true, Seq: 2, Metrics: []Metric{
		{Name: "a", At: noon, Value: Null(TypeInt32)},
		{Name: "b", At: noon, Value: Null(TypeInt64)},
		{Name: "c", At: noon, Value: Null(TypeDouble), Unit: "mm"},
		{Name: "d", At: noon, Value: Null(TypeBoolean)},
		{Name: "e", At: noon, Value: Null(TypeString)},
		{Name: "f", At: noon, Value: DateTime(time.Time{})},
	}}},
	{"dbirth_qualities", AppendBirth, Payload{At: noon, HasSeq: true, Seq: 3, Metrics: []Metric{
		{Name: "bad", At: noon, Value: Double(1), Quality: Bad},
		{Name: "good", At: noon, Value: Double(2), Quality: Good, Unit: "in"},
		{Name: "stale", At: noon, Value: Double(3), Quality: Stale, Unit: "in"},
	}}},
	{"dbirth_extremes", AppendBirth, Payload{At: time.UnixMilli(0).UTC(), HasSeq: true, Seq: 255, Metrics: []Metric{
		{Name: "least Int32", At: noon, Value: Int32(math.MinInt32)},
		{Name: "most Int32", At: noon, Value: Int32(math.MaxInt32)},
		{Name: "least Int64", At: noon, Value: Int64(math.MinInt64)},
		{Name: "most Int64", At: noon, Value: Int64(math.MaxInt64)},
		{Name: "most Double", At: noon, Value: Double(math.MaxFloat64)},
		{Name: "smallest Double", At: noon, Value: Double(-math.SmallestNonzeroFloat64)},
		{Name: "first DateTime", At: noon, Value: DateTime(time.UnixMilli(0).UTC())},
		{Name: "last DateTime", At: noon, Value: DateTime(time.UnixMilli(int64(maxMillisecond)).UTC())},
		{Name: "Maß 直径 🔧", At: noon, Value: String("süd \x00 \"\\\n"), Unit: "µm"},
	}}},
	{"dbirth_long", AppendBirth, Payload{At: noon, HasSeq: true, Seq: 4, Metrics: []Metric{
		{Name: "text", At: noon, Value: String(strings.Repeat("0123456789", 15)), Unit: strings.Repeat("u", 130)},
		{Name: "after", At: noon, Value: Int32(1)},
	}}},
	{"ddata", AppendData, Payload{At: noon, HasSeq: true, Seq: 5, Metrics: []Metric{
		{Name: "Die Cage/Setting", At: noon, Value: Int32(-5)},
		{Name: "Strokes", At: noon, Value: Int64(-5)},
		{Name: "Last/Crimp Diameter", At: noon, Value: Double(0.8125), Quality: Stale},
		{Name: "Last/Outcome", At: noon, Value: String("fail")},
		{Name: "Working", At: noon, Value: Boolean(false)},
		{Name: "Last/At", At: noon, Value: DateTime(noon)},
		{Name: "Last/Error", At: noon, Value: Null(TypeDouble)},
	}}},
	{"ddata_historical", AppendData, Payload{At: noon, HasSeq: true, Seq: 255, Metrics: []Metric{
		{Name: "Last/Crimp Diameter", At: noon.Add(-time.Hour), Value: Double(0.8125), Historical: true},
		{Name: "Last/Crimp Diameter", At: noon.Add(-time.Minute), Value: Double(0.5), Historical: true, Transient: true},
	}}},
	{"ddeath", AppendData, Payload{At: noon, HasSeq: true, Seq: 6}},
	{"nothing", AppendData, Payload{}},
}

// readHex reads the bytes of a file, passing over lines that begin with #.
func readHex(t testing.TB, file string) []byte {
	t.Helper()
	text, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	b := []byte{}
	for line := range strings.Lines(string(text)) {
		line = strings.TrimSpace(line)
		if strings.HasPrefix(line, "#") {
			continue
		}
		more, err := hex.DecodeString(strings.ReplaceAll(line, " ", ""))
		if err != nil {
			t.Fatalf("%s: %v", file, err)
		}
		b = append(b, more...)
	}
	return b
}

func TestWritten(t *testing.T) {
	for _, w := range written {
		t.Run(w.name, func(t *testing.T) {
			file := filepath.Join(messages, w.name+".hex")
			got := w.append([]byte{}, w.p)
			if *update {
				var text strings.Builder
				for i, c := range got {
					end := " "
					if i%24 == 23 || i == len(got)-1 {
						end = "\n"
					}
					fmt.Fprintf(&text, "%02x%s", c, end)
				}
				if err := os.WriteFile(file, []byte(text.String()), 0o644); err != nil {
					t.Fatal(err)
				}
			}
			if diff := cmp.Diff(readHex(t, file), got); diff != "" {
				t.Errorf("bytes (-want +got):\n%s", diff)
			}
			if got := w.append([]byte("before"), w.p); !strings.HasPrefix(string(got), "before") || len(got)-6 != len(readHex(t, file)) {
				t.Errorf("behind other bytes: %x", got)
			}
		})
	}
}

// typeNames are those of the types in the files, specification, chapter 6; ours
// are those whose values are read.
var (
	typeNames = map[DataType]string{
		3: "Int32", 4: "Int64", 5: "UInt8", 7: "UInt32", 8: "UInt64", 9: "Float", 10: "Double", 11: "Boolean", 12: "String", 13: "DateTime", 14: "Text", 15: "UUID",
		16: "DataSet", 17: "Bytes", 19: "Template",
	}
	ours = map[string]bool{"Int32": true, "Int64": true, "Double": true, "Boolean": true, "String": true, "DateTime": true}
)

// portray writes what Decode read as the .want files do.
func portray(t *testing.T, p Payload, err error) any {
	t.Helper()
	if err != nil {
		return map[string]any{"refused": err.Error()}
	}
	out := map[string]any{}
	if !p.At.IsZero() {
		out["timestamp"] = p.At.UnixMilli()
	}
	if p.HasSeq {
		out["seq"] = p.Seq
	}
	var metrics []any
	for _, m := range p.Metrics {
		metrics = append(metrics, tellMetric(m))
	}
	if metrics != nil {
		out["metrics"] = metrics
	}
	text, err := json.Marshal(out)
	if err != nil {
		t.Fatal(err)
	}
	return parsed(t, text)
}

func tellMetric(m Metric) map[string]any {
	out := map[string]any{}
	if m.Name != "" {
		out["name"] = m.Name
	}
	if !m.At.IsZero() {
		out["timestamp"] = m.At.UnixMilli()
	}
	if m.Historical {
		out["isHistorical"] = true
	}
	if m.Transient {
		out["isTransient"] = true
	}
	properties := map[string]any{}
	if n, ok := m.Quality.number(); ok {
		properties["Quality"] = map[string]any{"type": "Int32", "value": n}
	}
	if m.Unit != "" {
		properties["engUnit"] = map[string]any{"type": "String", "value": m.Unit}
	}
	if len(properties) > 0 {
		out["properties"] = properties
	}
	v := m.Value
	if v.Type() != 0 {
		out["type"] = typeNames[v.Type()]
		if ours[typeNames[v.Type()]] {
			out["value"] = tellValue(v)
		}
		return out
	}
	field, taken := "", any(nil)
	switch v.kind { //nolint:exhaustive // the rest has no text in the files
	case null:
		field, taken = "isNull", true
	case intKind:
		w, _ := v.As(TypeInt32)
		field, taken = "intValue", tellValue(w)
	case longKind:
		w, _ := v.As(TypeInt64)
		field, taken = "longValue", tellValue(w)
	case doubleKind:
		w, _ := v.As(TypeDouble)
		field, taken = "doubleValue", tellValue(w)
	case booleanKind:
		w, _ := v.As(TypeBoolean)
		field, taken = "booleanValue", tellValue(w)
	case stringKind:
		w, _ := v.As(TypeString)
		field, taken = "stringValue", tellValue(w)
	}
	out[field] = taken
	return out
}

func tellValue(v Value) any {
	if i, ok := v.Int(); ok {
		if i > 1<<53-1 || i < -(1<<53-1) {
			return fmt.Sprint(i) // JSON's readers have no more than a double
		}
		return i
	}
	if f, ok := v.Float(); ok {
		return f
	}
	if b, ok := v.Bool(); ok {
		return b
	}
	if s, ok := v.Text(); ok {
		return s
	}
	if at, ok := v.Time(); ok {
		return at.UnixMilli()
	}
	return nil
}

func parsed(t *testing.T, text []byte) (v any) {
	t.Helper()
	if err := json.Unmarshal(text, &v); err != nil {
		t.Fatalf("%s: %v", text, err)
	}
	return v
}

// known is what of a .want file this package reads, too: not the values of other
// types, not other properties, no alias, and no difference between false and not
// said.
func known(want any) any {
	p, _ := want.(map[string]any)
	delete(p, "uuid")
	delete(p, "body")
	metrics, _ := p["metrics"].([]any)
	for _, m := range metrics {
		m, _ := m.(map[string]any)
		delete(m, "alias")
		delete(m, "metadata")
		if m["isHistorical"] == false {
			delete(m, "isHistorical")
		}
		if typ, ok := m["type"].(string); ok && !ours[typ] {
			delete(m, "value")
		}
		if set, ok := m["properties"].(map[string]any); ok {
			for key := range set {
				if key != qualityKey && key != unitKey {
					delete(set, key)
				}
			}
			if len(set) == 0 {
				delete(m, "properties")
			}
		}
	}
	return want
}

func TestMessages(t *testing.T) {
	files, err := filepath.Glob(filepath.Join(messages, "*.hex"))
	if err != nil || len(files) < len(written) {
		t.Fatalf("%d messages in %s: %v", len(files), messages, err)
	}
	for _, file := range files {
		name := strings.TrimSuffix(filepath.Base(file), ".hex")
		t.Run(name, func(t *testing.T) {
			text, err := os.ReadFile(strings.TrimSuffix(file, ".hex") + ".want")
			if err != nil {
				t.Fatal(err)
			}
			p, err := Decode(readHex(t, file))
			if diff := cmp.Diff(known(parsed(t, text)), portray(t, p, err)); diff != "" {
				t.Errorf("(-want +got):\n%s", diff)
			}
		})
	}
}
