package sparkplug

import (
	"math"
	"time"

	"google.golang.org/protobuf/encoding/protowire"
)

// DataType is how a value is to be understood; 0 where it was not said.
type DataType uint32

// The data types that are written, by their numbers in chapter 6 of the
// specification.
const (
	TypeInt32    DataType = 3
	TypeInt64    DataType = 4
	TypeDouble   DataType = 10
	TypeBoolean  DataType = 11
	TypeString   DataType = 12
	TypeDateTime DataType = 13
)

// kind is the field of a metric that holds its value.
type kind uint8

const (
	null          kind = 0
	intKind       kind = 10
	longKind      kind = 11
	floatKind     kind = 12
	doubleKind    kind = 13
	booleanKind   kind = 14
	stringKind    kind = 15
	bytesKind     kind = 16
	datasetKind   kind = 17
	templateKind  kind = 18
	extensionKind kind = 19
)

// Value is a value of one data type, or the lack of one. Values can be compared
// with ==. The zero Value is a null of no said type.
type Value struct {
	typ  DataType
	kind kind
	bits uint64
	text string
}

// Int32 is a value of type Int32: two's complement in an unsigned field, which
// the specification leaves open and the decoder of npm reads (measured).
func Int32(v int32) Value {
	return Value{typ: TypeInt32, kind: intKind, bits: uint64(uint32(v))}
}

// Int64 is a value of type Int64, two's complement as Int32 is.
func Int64(v int64) Value { return Value{typ: TypeInt64, kind: longKind, bits: uint64(v)} }

// Double is a value of type Double. What is not a number is written as it is:
// Null serves hosts better.
func Double(v float64) Value {
	return Value{typ: TypeDouble, kind: doubleKind, bits: math.Float64bits(v)}
}

// Boolean is a value of type Boolean.
func Boolean(v bool) Value {
	return Value{typ: TypeBoolean, kind: booleanKind, bits: protowire.EncodeBool(v)}
}

// String is a value of type String, and not null where it is "".
func String(v string) Value { return Value{typ: TypeString, kind: stringKind, text: v} }

// DateTime is a value of type DateTime, to the millisecond, or null of that type
// for the zero time. A time before 1970 becomes 1970's first millisecond.
func DateTime(v time.Time) Value {
	if v.IsZero() {
		return Null(TypeDateTime)
	}
	return Value{typ: TypeDateTime, kind: longKind, bits: milliseconds(v)}
}

// Null is the lack of a value of the type.
func Null(t DataType) Value { return Value{typ: t} }

// Type is the data type, any number where the value arrived, 0 where it was not
// said.
func (v Value) Type() DataType { return v.typ }

// IsNull says that there is no value.
func (v Value) IsNull() bool { return v.kind == null }

// opaque says that the value arrived in a form whose contents are not kept.
func (v Value) opaque() bool { return v.kind >= bytesKind }

// As is the value taken for one of type t, where a message did not say and its
// birth did. It is false when the message said another type or the value cannot
// be of this one.
func (v Value) As(t DataType) (Value, bool) {
	if v.typ != 0 && v.typ != t {
		return Value{}, false
	}
	if !v.IsNull() && v.kind != t.kind() {
		return Value{}, false
	}
	v.typ = t
	return v, true
}

// kind is the field in which values of the type are written, null for types that
// are not.
func (t DataType) kind() kind {
	switch t {
	case TypeInt32:
		return intKind
	case TypeInt64, TypeDateTime:
		return longKind
	case TypeDouble:
		return doubleKind
	case TypeBoolean:
		return booleanKind
	case TypeString:
		return stringKind
	}
	return null
}

// is says that the value is there, of the type, and in the type's field.
func (v Value) is(t DataType) bool { return v.typ == t && v.kind == t.kind() }

// Int is the value of an Int32 or Int64; it is false for all others.
func (v Value) Int() (int64, bool) {
	switch {
	case v.is(TypeInt32):
		return int64(int32(uint32(v.bits))), true // two's complement
	case v.is(TypeInt64):
		return int64(v.bits), true // two's complement
	}
	return 0, false
}

// Float is the value of a Double; it is false for all others.
func (v Value) Float() (float64, bool) {
	if !v.is(TypeDouble) {
		return 0, false
	}
	return math.Float64frombits(v.bits), true
}

// Bool is the value of a Boolean; it is false for all others.
func (v Value) Bool() (value, ok bool) {
	if !v.is(TypeBoolean) {
		return false, false
	}
	return v.bits != 0, true
}

// Text is the value of a String; it is false for all others.
func (v Value) Text() (string, bool) {
	if !v.is(TypeString) {
		return "", false
	}
	return v.text, true
}

// Time is the value of a DateTime, in UTC; it is false for all others, and past
// the year 9999.
func (v Value) Time() (time.Time, bool) {
	if !v.is(TypeDateTime) || v.bits > maxMillisecond {
		return time.Time{}, false
	}
	return time.UnixMilli(int64(v.bits)).UTC(), true
}
