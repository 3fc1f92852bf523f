package sparkplug

import (
	"bytes"
	"math"
	"path/filepath"
	"reflect"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/protobuf/encoding/protowire"
)

var values = cmp.AllowUnexported(Value{})

// What is written is read as the same: typed as it is, and otherwise once the
// types of the birth are given back.
func TestDecodeWritten(t *testing.T) {
	for _, w := range written {
		t.Run(w.name, func(t *testing.T) {
			got, err := Decode(AppendBirth(nil, w.p))
			if err != nil {
				t.Fatal(err)
			}
			if diff := cmp.Diff(w.p, got, values); diff != "" {
				t.Errorf("typed (-want +got):\n%s", diff)
			}
			if got, err = Decode(AppendData(nil, w.p)); err != nil {
				t.Fatal(err)
			}
			for i := range got.Metrics {
				m := &got.Metrics[i]
				if m.Value.Type() != 0 {
					t.Errorf("metric %s tells type %d in data", m.Name, m.Value.Type())
				}
				var ok bool
				if m.Value, ok = m.Value.As(w.p.Metrics[i].Value.Type()); !ok {
					t.Errorf("metric %s cannot be of type %d", m.Name, w.p.Metrics[i].Value.Type())
				}
			}
			if diff := cmp.Diff(w.p, got, values); diff != "" {
				t.Errorf("untyped (-want +got):\n%s", diff)
			}
		})
	}
}

// Lengths of every width: 0 to 127 bytes take one byte, up to 16,383 two, up to
// 2,097,151 three.
func TestDecodeLengths(t *testing.T) {
	for _, n := range []int{0, 1, 100, 120, 127, 128, 129, 16300, 16383, 16384, 100000} {
		for _, around := range []int{0, 1, 2, 3, 5, 7, 10, 20} {
			want := Payload{At: noon, HasSeq: true, Seq: 9, Metrics: []Metric{
				{Name: strings.Repeat("n", max(n-around, 0)), Value: Int32(1)},
				{Name: "b", Value: Boolean(true), Unit: strings.Repeat("u", max(n-around, 0))},
				{Name: "c", Value: String(strings.Repeat("v", max(n-around, 0)))},
			}}
			got, err := Decode(AppendBirth(nil, want))
			if diff := cmp.Diff(want, got, values); err != nil || diff != "" {
				t.Fatalf("%d bytes less %d: %v (-want +got):\n%.400s", n, around, err, diff)
			}
		}
	}
}

func TestDecodeLimits(t *testing.T) {
	metrics := func(n int) []byte { return AppendBirth(nil, Payload{Metrics: make([]Metric, n)}) }
	for _, tc := range []struct {
		name string
		b    []byte
		want string // "" none
	}{
		{"most metrics", metrics(1000), ""},
		{"one metric more", metrics(1001), "sparkplug payload: more than 1000 metrics"},
		{"most bytes", AppendBirth(nil, Payload{Metrics: []Metric{{Name: strings.Repeat("n", 1<<20-10)}}}), ""},
		{"one byte more", AppendBirth(nil, Payload{Metrics: []Metric{{Name: strings.Repeat("n", 1<<20-9)}}}), "sparkplug payload: 1048577 bytes, at most 1048576 are taken"},
		{"most groups in one another", groups(16), ""},
		{"very many groups in one another", groups(100000), "sparkplug payload: groups inside of each other more than 16 times"},
	} {
		t.Run(tc.name, func(t *testing.T) {
			_, err := Decode(tc.b)
			if got := text(err); got != tc.want {
				t.Errorf("%d bytes: %q, want %q", len(tc.b), got, tc.want)
			}
		})
	}
}

// groups are n of them inside of each other.
func groups(n int) (b []byte) {
	for range n {
		b = protowire.AppendTag(b, 100, protowire.StartGroupType)
	}
	for range n {
		b = protowire.AppendTag(b, 100, protowire.EndGroupType)
	}
	return b
}

func text(err error) string {
	if err == nil {
		return ""
	}
	return err.Error()
}

// number, message and chars put fields together as they may arrive.
func number(num protowire.Number, v uint64) []byte { return appendNumber(nil, num, v) }

func message(num protowire.Number, fields ...[]byte) []byte {
	b := protowire.AppendTag(nil, num, protowire.BytesType)
	return protowire.AppendBytes(b, bytes.Join(fields, nil))
}

func chars(num protowire.Number, s string) []byte { return message(num, []byte(s)) }

func TestDecodeMetric(t *testing.T) {
	quality := message(2, number(1, 3), number(3, 500))
	for _, tc := range []struct {
		name   string
		fields [][]byte
		want   Metric
	}{
		{"nothing", nil, Metric{}},
		{
			// Protobuf joins the repeated fields of a message that comes twice;
			// protobufjs 6 keeps the last set only.
			"two sets of properties join",
			[][]byte{message(9, chars(1, "Quality"), quality), message(9, chars(1, "engUnit"), message(2, number(1, 12), chars(8, "in")))},
			Metric{Quality: Stale, Unit: "in"},
		},
		{"untyped properties", [][]byte{message(9, chars(1, "Quality"), message(2, number(3, 0)), chars(1, "engUnit"), message(2, chars(8, "in")))}, Metric{Quality: Bad, Unit: "in"}},
		{"null properties", [][]byte{message(9, chars(1, "Quality"), message(2, number(1, 3), number(2, 1), number(3, 500)), chars(1, "engUnit"), message(2, number(1, 12), number(2, 1)))}, Metric{}},
		{"quality of another type", [][]byte{message(9, chars(1, "Quality"), message(2, number(1, 4), number(4, 500)))}, Metric{}},
		{"quality that is none", [][]byte{message(9, chars(1, "Quality"), message(2, number(1, 3), number(3, 193)))}, Metric{}},
		{"unit that is a number", [][]byte{message(9, chars(1, "engUnit"), message(2, number(1, 3), number(3, 1)))}, Metric{}},
		{"unit behind it in another field", [][]byte{message(9, chars(1, "engUnit"), message(2, chars(8, "in"), number(3, 1)))}, Metric{}},
		{"the same property twice", [][]byte{message(9, chars(1, "engUnit"), chars(1, "engUnit"), message(2, chars(8, "in")), message(2, chars(8, "mm")))}, Metric{Unit: "mm"}},
		{"property's field past its last", [][]byte{message(9, chars(1, "engUnit"), message(2, chars(8, "in"), chars(12, "x")))}, Metric{Unit: "in"}},
		{"properties inside of properties", [][]byte{message(9, chars(1, "x"), message(2, number(1, 20), message(9, chars(1, "no value"))))}, Metric{}},
		{"name of another wire type", [][]byte{number(1, 5)}, Metric{}},
		{"boolean of another wire type", [][]byte{number(4, 11), chars(14, "true")}, Metric{Value: Null(TypeBoolean)}},
		{"boolean of 2", [][]byte{number(4, 11), number(14, 2)}, Metric{Value: Boolean(true)}},
		{"data type above 32 bits", [][]byte{number(4, 1<<32|11), number(14, 1)}, Metric{Value: Boolean(true)}},
		{"data type that is none", [][]byte{number(4, 4000000000), number(11, 1)}, Metric{Value: Value{typ: 4000000000, kind: longKind, bits: 1}}},
		{"type and field differ", [][]byte{number(4, 11), number(10, 1)}, Metric{Value: Value{typ: TypeBoolean, kind: intKind, bits: 1}}},
		{"float", [][]byte{number(4, 9), protowire.AppendFixed32(protowire.AppendTag(nil, 12, protowire.Fixed32Type), math.Float32bits(0.5))}, Metric{Value: Value{typ: 9, kind: floatKind, bits: 0x3F000000}}},
		{"bytes", [][]byte{number(4, 17), chars(16, "\xff")}, Metric{Value: Value{typ: 17, kind: bytesKind}}},
		{"data set", [][]byte{number(4, 16), message(17, number(1, 1))}, Metric{Value: Value{typ: 16, kind: datasetKind}}},
		{"template that is malformed inside", [][]byte{number(4, 19), message(18, []byte{0xff})}, Metric{Value: Value{typ: 19, kind: templateKind}}},
		{"extension", [][]byte{message(19)}, Metric{Value: Value{kind: extensionKind}}},
		{"field behind the last", [][]byte{message(20), number(266, 1)}, Metric{}},
	} {
		t.Run(tc.name, func(t *testing.T) {
			got, err := Decode(message(2, tc.fields...))
			if diff := cmp.Diff(Payload{Metrics: []Metric{tc.want}}, got, values); err != nil || diff != "" {
				t.Errorf("%v (-want +got):\n%s", err, diff)
			}
		})
	}
}

func FuzzDecode(f *testing.F) {
	files, err := filepath.Glob(filepath.Join(messages, "*.hex"))
	if err != nil || len(files) == 0 {
		f.Fatalf("no messages in %s: %v", messages, err)
	}
	for _, file := range files {
		f.Add(readHex(f, file))
	}
	f.Fuzz(func(t *testing.T, b []byte) {
		before := bytes.Clone(b)
		p, err := Decode(b)
		if !bytes.Equal(before, b) {
			t.Fatal("what is decoded was changed")
		}
		if err != nil {
			if !reflect.DeepEqual(p, Payload{}) || len(err.Error()) > 400 {
				t.Errorf("%v beside %+v", err, p)
			}
			return
		}
		if len(p.Metrics) > MaxMetrics {
			t.Errorf("%d metrics", len(p.Metrics))
		}
		want := p
		want.Metrics = nil
		for _, m := range p.Metrics {
			if m.Value.opaque() { // what it holds is not kept
				m.Value = Null(m.Value.typ)
			}
			want.Metrics = append(want.Metrics, m)
		}
		again := AppendBirth(nil, p)
		if len(again) > MaxPayload { // each is_null that was not said takes two bytes
			t.Skip("larger than what is taken")
		}
		got, err := Decode(again)
		if err != nil {
			t.Fatalf("%x: %v", again, err)
		}
		if diff := cmp.Diff(want, got, values); diff != "" {
			t.Errorf("(-first +again):\n%s", diff)
		}
		data, err := Decode(AppendData(nil, p))
		if err != nil || len(data.Metrics) != len(p.Metrics) {
			t.Errorf("%d metrics as data: %d, %v", len(p.Metrics), len(data.Metrics), err)
		}
	})
}

// FuzzAppend writes what the node could be told to write, and reads it again.
func FuzzAppend(f *testing.F) {
	f.Add("name", "in", "text", int64(1767268800000), uint64(5), uint8(3), uint8(255), true)
	f.Add("\xff", "\xff", "\xff", int64(-1), uint64(math.MaxUint64), uint8(0), uint8(0), false)
	f.Add(strings.Repeat("n", 127), "", strings.Repeat("v", 16384), int64(0), uint64(1<<63), uint8(5), uint8(1), true)
	f.Fuzz(func(t *testing.T, name, unit, s string, ms int64, bits uint64, typ, seq uint8, flag bool) {
		ms = min(ms, int64(maxMillisecond))
		at := time.UnixMilli(ms)
		if at.IsZero() || len(name)+len(unit)+len(s) > 1<<18 {
			t.Skip()
		}
		value := []Value{
			Int32(int32(bits)), Int64(int64(bits)), Double(math.Float64frombits(bits)), Boolean(flag), String(s), DateTime(at), Null(TypeDouble),
		}[typ%7]
		quality := []Quality{"", Bad, Good, Stale}[typ%4]
		want := Payload{At: at, HasSeq: flag, Seq: seq, Metrics: []Metric{
			{Name: name, At: at, Value: value, Historical: flag, Transient: typ%2 == 0, Quality: quality, Unit: unit},
			{Name: s, Value: value, Unit: name},
		}}
		got, err := Decode(AppendBirth(nil, want))
		if err != nil {
			t.Fatal(err)
		}
		// The doc comments' own words: 1970's first millisecond, U+FFFD.
		want.At = time.UnixMilli(max(ms, 0)).UTC()
		want.Metrics[0].At = want.At
		if !flag {
			want.Seq = 0
		}
		for i := range want.Metrics {
			m := &want.Metrics[i]
			m.Name, m.Unit, m.Value.text = strings.ToValidUTF8(m.Name, "\uFFFD"), strings.ToValidUTF8(m.Unit, "\uFFFD"), strings.ToValidUTF8(m.Value.text, "\uFFFD")
		}
		if diff := cmp.Diff(want, got, values); diff != "" {
			t.Errorf("(-want +got):\n%s", diff)
		}
	})
}

// A message is written into the buffer that is handed in, and nothing else is
// taken from the heap.
func TestAppendAllocatesNothing(t *testing.T) {
	b := make([]byte, 0, 4096)
	for _, w := range written {
		if n := testing.AllocsPerRun(100, func() { b = w.append(b[:0], w.p) }); n != 0 {
			t.Errorf("%s: %v allocations, want 0", w.name, n)
		}
	}
}

func BenchmarkAppend(b *testing.B) {
	for _, w := range written {
		if w.name != "dbirth" && w.name != "ddata" {
			continue
		}
		b.Run(w.name, func(b *testing.B) {
			buf := make([]byte, 0, 4096)
			b.ReportAllocs()
			for b.Loop() {
				buf = w.append(buf[:0], w.p)
			}
			b.SetBytes(int64(len(buf)))
		})
	}
}

func BenchmarkDecode(b *testing.B) {
	for _, name := range []string{"ncmd_rebirth", "dbirth"} {
		b.Run(name, func(b *testing.B) {
			message := readHex(b, filepath.Join(messages, name+".hex"))
			b.SetBytes(int64(len(message)))
			b.ReportAllocs()
			for b.Loop() {
				if _, err := Decode(message); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
