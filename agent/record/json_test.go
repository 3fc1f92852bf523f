package record

import (
	"bytes"
	"encoding/json"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"benchtally/agent/crimp"
)

// goldens holds one record of each kind as version 1 writes it. Those who read
// records have built on these bytes: a key may be added, nothing else changes.
const goldens = "../../testdata/records/v1"

// golden is the wanted JSON of a kind, without the end of the line.
func golden(t testing.TB, k Kind) []byte {
	t.Helper()
	b, err := os.ReadFile(filepath.Join(goldens, string(k)+".json"))
	if err != nil {
		t.Fatal(err)
	}
	return bytes.TrimSuffix(b, []byte("\n"))
}

func TestAppendJSON(t *testing.T) {
	all := examples()
	var kinds []Kind
	for _, r := range all {
		kinds = append(kinds, r.Kind)
		t.Run(string(r.Kind), func(t *testing.T) {
			got, want := r.AppendJSON([]byte("before")), golden(t, r.Kind)
			if text, ok := bytes.CutPrefix(got, []byte("before")); !ok || !bytes.Equal(text, want) {
				t.Errorf("got  %s\nwant before%s", got, want)
			}
		})
	}
	if diff := cmp.Diff(Kinds(), kinds); diff != "" {
		t.Errorf("kinds, want -, examples +:\n%s", diff)
	}
	files, err := filepath.Glob(filepath.Join(goldens, "*"))
	if err != nil || len(files) != len(Kinds()) {
		t.Errorf("%d files in %s, %v; want one for each of %d kinds", len(files), goldens, err, len(Kinds()))
	}
}

// TestRoundTrip: what a reader decodes and writes again are the same bytes.
func TestRoundTrip(t *testing.T) {
	for _, k := range Kinds() {
		t.Run(string(k), func(t *testing.T) {
			want := golden(t, k)
			var r Record
			d := json.NewDecoder(bytes.NewReader(want))
			d.DisallowUnknownFields()
			if err := d.Decode(&r); err != nil {
				t.Fatal(err)
			}
			if got := r.AppendJSON(nil); !bytes.Equal(got, want) {
				t.Errorf("got  %s\nwant %s", got, want)
			}
			// encoding/json writes it too, here with no sign that it would escape for HTML.
			if got, err := json.Marshal(r); err != nil || !bytes.Equal(got, want) {
				t.Errorf("Marshal: got %s, %v\nwant %s", got, err, want)
			}
		})
	}
}

// TestUnknownKeys: readers of today read what is written tomorrow.
func TestUnknownKeys(t *testing.T) {
	var r Record
	text := `{"seq":7,"at":"2026-03-02T06:00:00.000001Z","kind":"stroke","tomorrow":{"a":[1]},"crimp":2}`
	if err := json.Unmarshal([]byte(text), &r); err != nil {
		t.Fatal(err)
	}
	want := Record{Seq: 7, At: time.Date(2026, 3, 2, 6, 0, 0, 1000, time.UTC), Kind: Stroke, Crimp: 2}
	if diff := cmp.Diff(want, r); diff != "" {
		t.Errorf("want -, got +:\n%s", diff)
	}
}

// tag is the key of a field.
func tag(f reflect.StructField) string {
	name, _, _ := strings.Cut(f.Tag.Get("json"), ",")
	return name
}

// keys are the keys of an object as they stand in it.
func keys(t *testing.T, object []byte) []string {
	t.Helper()
	d := json.NewDecoder(bytes.NewReader(object))
	if open, err := d.Token(); err != nil || open != json.Delim('{') {
		t.Fatalf("%s begins with %v, %v", object, open, err)
	}
	var all []string
	for d.More() {
		name, err := d.Token()
		if err != nil {
			t.Fatalf("%s: %v", object, err)
		}
		all = append(all, name.(string))
		if _, err := d.Token(); err != nil { // the value: records are flat
			t.Fatalf("%s: %v", object, err)
		}
	}
	return all
}

// sample gives a field a value that is not its zero value.
func sample(t *testing.T, v reflect.Value) {
	t.Helper()
	switch v.Interface().(type) {
	case time.Time:
		v.Set(reflect.ValueOf(time.Date(2026, 3, 2, 6, 0, 0, 0, time.UTC)))
		return
	case crimp.Unit:
		v.SetString("mm")
		return
	}
	switch v.Kind() {
	case reflect.Pointer: // to the zero value, which must be written
		v.Set(reflect.New(v.Type().Elem()))
	case reflect.String:
		v.SetString("x")
	case reflect.Int, reflect.Int64:
		v.SetInt(3)
	case reflect.Uint64:
		v.SetUint(3)
	default:
		t.Fatalf("a field has the type %s, which this test does not know", v.Type())
	}
}

// TestEveryField: each field is written under its key, is read from it, and is
// left out while empty; the keys stand in the order of the fields.
func TestEveryField(t *testing.T) {
	kind := reflect.TypeFor[Record]()
	always := []string{"seq", "at", "kind"}
	var all Record
	var tags []string
	all.Job = &Job{}
	for i, f := range slices.DeleteFunc(reflect.VisibleFields(kind), func(f reflect.StructField) bool { return f.Anonymous }) {
		tags = append(tags, tag(f))
		if length := reflect.TypeFor[*crimp.Length](); (f.Type == length) != strings.HasSuffix(tag(f), "_mm") {
			t.Errorf("%s: the key %s of a %s: lengths and only they end in _mm", f.Name, tag(f), f.Type)
		}
		sample(t, reflect.ValueOf(&all).Elem().FieldByIndex(f.Index))
		one := Record{Seq: 1, At: all.At, Kind: "x"}
		if len(f.Index) > 1 {
			one.Job = &Job{}
		}
		sample(t, reflect.ValueOf(&one).Elem().FieldByIndex(f.Index))
		want := slices.Clone(always)
		if i >= len(always) {
			want = append(want, tag(f))
		}
		text := one.AppendJSON(nil)
		if got := keys(t, text); !slices.Equal(got, want) {
			t.Errorf("%s: keys %q, want %q", f.Name, got, want)
		}
		var back Record
		if err := json.Unmarshal(text, &back); err != nil {
			t.Errorf("%s: %s: %v", f.Name, text, err)
		} else if diff := cmp.Diff(one, back); diff != "" {
			t.Errorf("%s: written -, read +:\n%s", f.Name, diff)
		}
	}
	if got := keys(t, all.AppendJSON(nil)); !slices.Equal(got, tags) {
		t.Errorf("keys\n%q, want\n%q", got, tags)
	}
	// The examples leave no key out, so the files show them all.
	shown := map[string]bool{}
	for _, k := range Kinds() {
		for _, name := range keys(t, golden(t, k)) {
			shown[name] = true
		}
	}
	for _, name := range tags {
		if !shown[name] {
			t.Errorf("no file in %s shows the key %s", goldens, name)
		}
	}
}

func TestAppendJSONDoesNotAllocate(t *testing.T) {
	b := make([]byte, 0, 1024)
	for _, r := range examples() {
		if n := testing.AllocsPerRun(100, func() { b = r.AppendJSON(b[:0]) }); n != 0 {
			t.Errorf("%s: %g allocations, want none", r.Kind, n)
		}
	}
}

// BenchmarkAppendJSON: the goal is 300 ns and no allocation for each.
func BenchmarkAppendJSON(b *testing.B) {
	frequent := []Kind{Stroke, Reading, Verdict, Correction}
	for _, r := range examples() {
		if !slices.Contains(frequent, r.Kind) {
			continue
		}
		b.Run(string(r.Kind), func(b *testing.B) {
			buf := make([]byte, 0, 1024)
			b.ReportAllocs()
			for b.Loop() {
				buf = r.AppendJSON(buf[:0])
			}
		})
	}
}
