package store

import (
	"bytes"
	"encoding/hex"
	"errors"
	"math"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"
	"time"

	"benchtally/agent/record"
)

// Every field of a record is packed, alone and with all others, zero values
// behind pointers too.
func TestPackDropsNothing(t *testing.T) {
	var all record.Record
	v := reflect.ValueOf(&all).Elem()
	all.Seq, all.At = 7, epoch.Add(123456*time.Microsecond)
	for i := range v.NumField() {
		f := v.Type().Field(i)
		if f.Name == "Seq" || f.Name == "At" {
			continue
		}
		for _, n := range []int64{0, 1, -1, math.MaxInt32, math.MinInt32, 30_581_600} {
			one := record.Record{Seq: 7, At: all.At}
			into := reflect.ValueOf(&one).Elem().Field(i)
			set(t, into, n, f.Name)
			v.Field(i).Set(into)
			mustRoundTrip(t, f.Name, one)
		}
	}
	mustRoundTrip(t, "all fields", all)
}

// set gives a field a value made of n.
func set(t *testing.T, v reflect.Value, n int64, name string) {
	switch v.Kind() {
	case reflect.Pointer:
		v.Set(reflect.New(v.Type().Elem()))
		set(t, v.Elem(), n, name)
	case reflect.Struct:
		for i := range v.NumField() {
			set(t, v.Field(i), n, name+v.Type().Field(i).Name)
		}
	case reflect.String:
		v.SetString(strings.Repeat(name, int(n&3)))
	case reflect.Int, reflect.Int64:
		v.SetInt(n)
	case reflect.Uint64:
		v.SetUint(uint64(n))
	case reflect.Float64:
		v.SetFloat(float64(n) / 3)
	case reflect.Bool:
		v.SetBool(n > 0)
	default:
		t.Fatalf("field %s has a type that the test does not know", name)
	}
}

func mustRoundTrip(t *testing.T, name string, r record.Record) {
	t.Helper()
	got, err := unpack(r.Seq, pack(nil, &r))
	if err != nil {
		t.Fatalf("%s: %v", name, err)
	}
	if !reflect.DeepEqual(got, r) {
		t.Fatalf("%s\n got %s\nwant %s", name, got.AppendJSON(nil), r.AppendJSON(nil))
	}
}

func TestPackTexts(t *testing.T) {
	for _, text := range append([]string{"Stroke", "stroke ", "\x00", "\xff\xfe", "Ø 12 ✓", strings.Repeat("long ", 4000)}, words[1:]...) {
		mustRoundTrip(t, text, record.Record{At: epoch, Kind: record.Kind(text), Raw: text, Reason: text})
	}
	for _, at := range []time.Time{{}, epoch, time.Unix(0, 0).UTC(), time.Date(9999, 12, 31, 23, 59, 59, 999999000, time.UTC), time.Date(1969, 7, 20, 20, 17, 40, 1000, time.UTC)} {
		mustRoundTrip(t, at.String(), record.Record{At: at, Kind: record.Dry})
	}
}

// Every word that a record can hold by its declaration is short on disk.
func TestWordsCoverTheKinds(t *testing.T) {
	for _, k := range record.Kinds() {
		if wordNumber[string(k)] == 0 {
			t.Errorf("kind %q is not among the words: add it to the end", k)
		}
	}
}

// Values written once stay readable for ever.
func TestPackedFormStays(t *testing.T) {
	path := filepath.Join("testdata", "packed.txt")
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	seq := uint64(0)
	for line := range strings.Lines(string(b)) {
		seq++
		value, err := hex.DecodeString(strings.TrimSpace(line))
		if err != nil {
			t.Fatal(err)
		}
		want := shiftRecord(seq)
		got, err := readRecord(seq, seqKey(seq), value)
		if err != nil || !reflect.DeepEqual(got, stamped(want)) {
			t.Errorf("record %d: %v\n got %s\nwant %s", seq, err, got.AppendJSON(nil), want.AppendJSON(nil))
		}
		if now := finish(seqKey(seq), pack(begin(nil), &want)); !bytes.Equal(now, value) {
			t.Errorf("record %d is now written as\n%x", seq, now)
		}
	}
	if seq != 6 {
		t.Errorf("%d values in %s, want 6", seq, path)
	}
}

func TestUnpackRefuses(t *testing.T) {
	whole := func() []byte { r := shiftRecord(1); return pack(nil, &r) }()
	for _, row := range []struct {
		name  string
		b     []byte
		want  string
		newer bool
	}{
		{"nothing", nil, "in the middle of a field", false},
		{"a time without end", bytes.Repeat([]byte{0xff}, 12), "in the middle of a field", false},
		{"a field of tag 0", []byte{2, 0, 3}, "field 0 follows field 0", false},
		{"a field twice", []byte{2, 7, 2, 7, 2}, "field 7 follows field 7", false},
		{"a field not known", []byte{2, 200, 2}, "field 200 is not known here", true},
		{"a field without value", []byte{2, 7}, "in the middle of a field", false},
		{"a text longer than the value", []byte{2, 3, 200, 1, 'A'}, "in the middle of a text", false},
		{"a word not known", []byte{2, 3, 199, 1}, "a word not known", false},
		{"half a probability", []byte{2, 28, 0, 0, 0}, "in the middle of a field", false},
		{"the end cut off", whole[:len(whole)-1], "in the middle of a field", false},
	} {
		if _, err := unpack(1, row.b); err == nil || !strings.Contains(err.Error(), row.want) || errors.Is(err, ErrNewer) != row.newer {
			t.Errorf("%s: %v, want %q", row.name, err, row.want)
		}
	}
}

func FuzzUnpack(f *testing.F) {
	for seq := range uint64(6) {
		r := shiftRecord(seq + 1)
		f.Add(pack(nil, &r))
	}
	f.Fuzz(func(t *testing.T, b []byte) {
		r, err := unpack(1, b)
		if err != nil {
			return
		}
		again, err := unpack(1, pack(nil, &r))
		if err != nil {
			t.Fatalf("packed again: %v", err)
		}
		if got, want := again.AppendJSON(nil), r.AppendJSON(nil); !bytes.Equal(got, want) {
			t.Errorf("packed again\n got %s\nwant %s", got, want)
		}
	})
}

func FuzzUnseal(f *testing.F) {
	f.Add([]byte("key"), seal([]byte("key"), []byte("payload")))
	f.Add([]byte{}, []byte{1, 0, 0, 0, 0})
	f.Fuzz(func(t *testing.T, key, value []byte) {
		b, err := unseal(key, value)
		if err == nil && !bytes.Equal(seal(key, b), value) {
			t.Errorf("%x under %x unseals to %x, which seals otherwise", value, key, b)
		}
		if b, err := unseal(key, seal(key, value)); err != nil || !bytes.Equal(b, value) {
			t.Errorf("%x sealed under %x comes back as %x, %v", value, key, b, err)
		}
	})
}
