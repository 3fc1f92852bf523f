package sparkplug

import (
	"math"
	"testing"
	"time"
)

func TestValue(t *testing.T) {
	type read struct {
		i     int64
		f     float64
		b     bool
		s     string
		at    time.Time
		which string // the one method that is true
		typ   DataType
		null  bool
	}
	for _, tc := range []struct {
		name string
		v    Value
		want read
	}{
		{"zero", Value{}, read{null: true}},
		{"int32", Int32(-5), read{i: -5, which: "Int", typ: 3}},
		{"least int32", Int32(math.MinInt32), read{i: math.MinInt32, which: "Int", typ: 3}},
		{"int64", Int64(-5), read{i: -5, which: "Int", typ: 4}},
		{"most int64", Int64(math.MaxInt64), read{i: math.MaxInt64, which: "Int", typ: 4}},
		{"double", Double(-0.5), read{f: -0.5, which: "Float", typ: 10}},
		{"true", Boolean(true), read{b: true, which: "Bool", typ: 11}},
		{"false", Boolean(false), read{which: "Bool", typ: 11}},
		{"string", String("s"), read{s: "s", which: "Text", typ: 12}},
		{"empty string", String(""), read{which: "Text", typ: 12}},
		{"date", DateTime(noon), read{at: noon, which: "Time", typ: 13}},
		{"date before 1970", DateTime(noon.AddDate(-100, 0, 0)), read{at: time.UnixMilli(0).UTC(), which: "Time", typ: 13}},
		{"date past the year 9999", Value{typ: TypeDateTime, kind: longKind, bits: math.MaxUint64}, read{typ: 13}},
		{"no date", DateTime(time.Time{}), read{typ: 13, null: true}},
		{"null double", Null(TypeDouble), read{typ: 10, null: true}},
		{"boolean in an int's field", Value{typ: TypeBoolean, kind: intKind, bits: 1}, read{typ: 11}},
		{"untyped", Value{kind: booleanKind, bits: 1}, read{}},
		{"unsigned", Value{typ: 7, kind: longKind, bits: 1}, read{typ: 7}},
		{"bytes", Value{typ: 17, kind: bytesKind}, read{typ: 17}},
	} {
		t.Run(tc.name, func(t *testing.T) {
			got := read{typ: tc.v.Type(), null: tc.v.IsNull()}
			var ok bool
			if got.i, ok = tc.v.Int(); ok {
				got.which += "Int"
			}
			if got.f, ok = tc.v.Float(); ok {
				got.which += "Float"
			}
			if got.b, ok = tc.v.Bool(); ok {
				got.which += "Bool"
			}
			if got.s, ok = tc.v.Text(); ok {
				got.which += "Text"
			}
			if got.at, ok = tc.v.Time(); ok {
				got.which += "Time"
			}
			if got != tc.want {
				t.Errorf("got %+v, want %+v", got, tc.want)
			}
		})
	}
}

func TestValueAs(t *testing.T) {
	for _, tc := range []struct {
		name string
		v    Value
		typ  DataType
		want Value
		ok   bool
	}{
		{"untyped boolean", Value{kind: booleanKind, bits: 1}, TypeBoolean, Boolean(true), true},
		{"untyped int", Value{kind: intKind, bits: 0xFFFFFFFB}, TypeInt32, Int32(-5), true},
		{"untyped long", Value{kind: longKind, bits: math.MaxUint64 - 4}, TypeInt64, Int64(-5), true},
		{"untyped null", Value{}, TypeInt64, Null(TypeInt64), true},
		{"the same type", Int64(1), TypeInt64, Int64(1), true},
		{"another type", Int64(1), TypeDateTime, Value{}, false},
		{"another field", Value{kind: intKind, bits: 1}, TypeBoolean, Value{}, false},
		{"type that is not written", Value{kind: intKind, bits: 1}, 5, Value{}, false},
	} {
		t.Run(tc.name, func(t *testing.T) {
			if got, ok := tc.v.As(tc.typ); got != tc.want || ok != tc.ok {
				t.Errorf("got %+v, %v, want %+v, %v", got, ok, tc.want, tc.ok)
			}
		})
	}
}
