package sparkplug

import (
	"errors"
	"fmt"
	"io"
	"time"
	"unicode/utf8"

	"google.golang.org/protobuf/encoding/protowire"
)

// Limits of what Decode takes; our own, far above what an edge node is sent.
const (
	MaxPayload = 1 << 20 // bytes
	MaxMetrics = 1000    // of a payload

	maxProperties = 64 // of a metric
	maxDepth      = 16 // of groups inside of each other, in fields that are not known

	maxMillisecond uint64 = 253402300799999 // the last one of the year 9999, RFC 3339's last
)

// Decode reads a payload of any message type. As protobuf demands, fields come
// in any order, of a field that may be there once the last one counts, sets of
// properties join, and fields that are not known are passed over. So are bytes,
// data sets, templates and extensions, of whose values only the type is kept.
// A quality other than the three is taken for not said. It refuses what is cut
// off or malformed, beyond the limits above, a seq above 255, a time past the
// year 9999, text that is not UTF-8, and sets with more keys than values or the
// other way round; the error names the metric, counted from 1.
func Decode(b []byte) (Payload, error) {
	p, err := decode(b)
	if err != nil {
		return Payload{}, fmt.Errorf("sparkplug payload: %w", err)
	}
	return p, nil
}

func decode(b []byte) (Payload, error) {
	if len(b) > MaxPayload {
		return Payload{}, fmt.Errorf("%d bytes, at most %d are taken", len(b), MaxPayload)
	}
	var p Payload
	for len(b) > 0 {
		var f field
		var err error
		if f, b, err = next(b); err != nil {
			return Payload{}, err
		}
		switch {
		case f.is(payloadTimestamp, protowire.VarintType):
			if p.At, err = f.time(); err != nil {
				return Payload{}, err
			}
		case f.is(payloadMetrics, protowire.BytesType):
			if len(p.Metrics) == MaxMetrics {
				return Payload{}, fmt.Errorf("more than %d metrics", MaxMetrics)
			}
			m, err := decodeMetric(f.bytes)
			if err != nil {
				return Payload{}, fmt.Errorf("metric %d: %w", len(p.Metrics)+1, err)
			}
			p.Metrics = append(p.Metrics, m)
		case f.is(payloadSeq, protowire.VarintType):
			if f.number > 255 {
				return Payload{}, fmt.Errorf("seq %d is above 255", f.number)
			}
			p.HasSeq, p.Seq = true, uint8(f.number)
		}
	}
	return p, nil
}

func decodeMetric(b []byte) (Metric, error) {
	var m Metric
	var typ DataType
	var isNull bool
	var keys, values [][]byte
	for len(b) > 0 {
		var f field
		var err error
		if f, b, err = next(b); err != nil {
			return Metric{}, err
		}
		switch {
		case f.is(metricName, protowire.BytesType):
			m.Name, err = f.text("name")
		case f.is(metricTimestamp, protowire.VarintType):
			m.At, err = f.time()
		case f.is(metricDatatype, protowire.VarintType):
			typ = DataType(f.number) // protobuf takes the low 32 bits of a uint32
		case f.is(metricHistorical, protowire.VarintType):
			m.Historical = f.number != 0
		case f.is(metricTransient, protowire.VarintType):
			m.Transient = f.number != 0
		case f.is(metricNull, protowire.VarintType):
			isNull = f.number != 0
		case f.is(metricProperties, protowire.BytesType):
			keys, values, err = decodeSet(f.bytes, keys, values)
		default:
			if v, ok := f.value(protowire.Number(intKind), protowire.Number(extensionKind)); ok {
				if v.kind == stringKind {
					v.text, err = f.text("value")
				}
				m.Value = v
			}
		}
		if err != nil {
			return Metric{}, err
		}
	}
	if isNull {
		m.Value = Value{}
	}
	m.Value.typ = typ
	return m, m.take(keys, values)
}

// decodeSet appends the keys and values of a set of properties.
func decodeSet(b []byte, keys, values [][]byte) (allKeys, allValues [][]byte, err error) {
	for len(b) > 0 {
		var f field
		if f, b, err = next(b); err != nil {
			return nil, nil, fmt.Errorf("properties: %w", err)
		}
		switch {
		case f.is(setKeys, protowire.BytesType):
			keys = append(keys, f.bytes)
		case f.is(setValues, protowire.BytesType):
			values = append(values, f.bytes)
		}
		if len(keys) > maxProperties || len(values) > maxProperties {
			return nil, nil, fmt.Errorf("more than %d properties", maxProperties)
		}
	}
	return keys, values, nil
}

// take takes the properties that are known.
func (m *Metric) take(keys, values [][]byte) error {
	if len(keys) != len(values) {
		return fmt.Errorf("properties: keys and values differ in number, %d and %d", len(keys), len(values))
	}
	for i, key := range keys {
		if !utf8.Valid(key) {
			return errors.New("properties: a key is not UTF-8")
		}
		v, err := decodeProperty(values[i])
		if err != nil {
			return fmt.Errorf("property %.40q: %w", key, err)
		}
		switch string(key) {
		case qualityKey:
			m.Quality = ""
			if v, ok := v.As(TypeInt32); ok && !v.IsNull() {
				for _, q := range []Quality{Bad, Good, Stale} {
					if n, _ := q.number(); n == v.bits {
						m.Quality = q
					}
				}
			}
		case unitKey:
			m.Unit = ""
			if v, ok := v.As(TypeString); ok {
				m.Unit = v.text
			}
		}
	}
	return nil
}

func decodeProperty(b []byte) (Value, error) {
	var v Value
	var typ DataType
	var isNull bool
	for len(b) > 0 {
		var f field
		var err error
		if f, b, err = next(b); err != nil {
			return Value{}, err
		}
		switch {
		case f.is(propertyType, protowire.VarintType):
			typ = DataType(f.number) // protobuf takes the low 32 bits of a uint32
		case f.is(propertyNull, protowire.VarintType):
			isNull = f.number != 0
		default:
			if w, ok := f.value(propertyInt, propertyLast); ok {
				v = w
				if v.kind == stringKind {
					if v.text, err = f.text("value"); err != nil {
						return Value{}, err
					}
				}
			}
		}
	}
	if isNull {
		v = Value{}
	}
	v.typ = typ
	return v, nil
}

// field is one field of a message as it stands on the wire.
type field struct {
	num    protowire.Number
	typ    protowire.Type
	number uint64 // of a varint, fixed32 or fixed64
	bytes  []byte // of a message, a text or bytes; a part of what is decoded
}

// next is the field at the beginning of b, and what follows it.
func next(b []byte) (f field, rest []byte, err error) {
	num, typ, n := protowire.ConsumeTag(b)
	if n < 0 {
		return field{}, nil, wireFault(n)
	}
	f, b = field{num: num, typ: typ}, b[n:]
	switch typ {
	case protowire.VarintType:
		f.number, n = protowire.ConsumeVarint(b)
	case protowire.Fixed32Type:
		var v uint32
		v, n = protowire.ConsumeFixed32(b)
		f.number = uint64(v)
	case protowire.Fixed64Type:
		f.number, n = protowire.ConsumeFixed64(b)
	case protowire.BytesType:
		f.bytes, n = protowire.ConsumeBytes(b)
	case protowire.StartGroupType:
		rest, err := behindGroup(b, num, 1)
		return f, rest, err
	case protowire.EndGroupType:
		return field{}, nil, fmt.Errorf("group %d ends and has not begun", num)
	default:
		return field{}, nil, fmt.Errorf("field %d: wire type %d", num, typ)
	}
	if n < 0 {
		return field{}, nil, fmt.Errorf("field %d: %w", num, wireFault(n))
	}
	return f, b[n:], nil
}

// wireFault is what a negative length of protowire's stands for. Its own texts change
// from build to build.
func wireFault(n int) error {
	if errors.Is(protowire.ParseError(n), io.ErrUnexpectedEOF) {
		return io.ErrUnexpectedEOF
	}
	return errors.New("malformed number")
}

// behindGroup is what follows a group that has begun. Protobuf once had groups; no
// payload of Sparkplug does.
func behindGroup(b []byte, group protowire.Number, depth int) (rest []byte, err error) {
	if depth > maxDepth {
		return nil, fmt.Errorf("groups inside of each other more than %d times", maxDepth)
	}
	for {
		num, typ, n := protowire.ConsumeTag(b)
		switch {
		case n < 0:
			return nil, fmt.Errorf("group %d: %w", group, wireFault(n))
		case typ == protowire.EndGroupType && num != group:
			return nil, fmt.Errorf("group %d ends as group %d", group, num)
		case typ == protowire.EndGroupType:
			return b[n:], nil
		case typ == protowire.StartGroupType:
			b, err = behindGroup(b[n:], num, depth+1)
		default:
			_, b, err = next(b)
		}
		if err != nil {
			return nil, err
		}
	}
}

// is says that the field has the number and the wire type. One with the number
// alone is not known, as generated decoders have it.
func (f field) is(num protowire.Number, typ protowire.Type) bool { return f.num == num && f.typ == typ }

func (f field) text(what string) (string, error) {
	if !utf8.Valid(f.bytes) {
		return "", fmt.Errorf("the %s is not UTF-8", what)
	}
	return string(f.bytes), nil
}

func (f field) time() (time.Time, error) {
	if f.number > maxMillisecond {
		return time.Time{}, fmt.Errorf("timestamp %d is past the year 9999", f.number)
	}
	return time.UnixMilli(int64(f.number)).UTC(), nil
}

// value is the value that the field holds, without its type and its text, where
// the field is one of a value's, which are those from first to last: in a
// property they stand in the order of a metric's, as far as text.
func (f field) value(first, last protowire.Number) (v Value, ok bool) {
	if f.num < first || f.num > last {
		return Value{}, false
	}
	v = Value{kind: intKind + kind(f.num-first), bits: f.number}
	switch v.kind {
	case intKind:
		v.bits = uint64(uint32(v.bits)) // protobuf takes the low 32 bits of a uint32
		return v, f.typ == protowire.VarintType
	case longKind:
		return v, f.typ == protowire.VarintType
	case booleanKind:
		v.bits = protowire.EncodeBool(v.bits != 0)
		return v, f.typ == protowire.VarintType
	case floatKind:
		return v, f.typ == protowire.Fixed32Type
	case doubleKind:
		return v, f.typ == protowire.Fixed64Type
	case stringKind, bytesKind, datasetKind, templateKind, extensionKind:
		return v, f.typ == protowire.BytesType
	case null:
	}
	return Value{}, false
}
