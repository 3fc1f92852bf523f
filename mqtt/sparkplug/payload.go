package sparkplug

import (
	"encoding/binary"
	"strings"
	"time"

	"google.golang.org/protobuf/encoding/protowire"
)

// Payload is what one message carries.
type Payload struct {
	At      time.Time // when it is sent, to the millisecond; the zero time is not written
	HasSeq  bool      // false in NDEATH and in commands
	Seq     uint8     // the place among the node's messages, see Sequence
	Metrics []Metric
}

// Metric is one named value.
type Metric struct {
	Name       string    // "" where it arrived without, under an alias perhaps
	At         time.Time // when the value was acquired, to the millisecond; the zero time is not written
	Value      Value
	Historical bool    // the value is an earlier one, not for real-time use
	Transient  bool    // hosts need not store it
	Quality    Quality // "" is not written: the value is good
	Unit       string  // of the value, such as "in"; "" is not written
}

// Metrics that Sparkplug gives a meaning.
const (
	BdSeq   = "bdSeq"                // Int64 0 to 255: which connection of the node births and deaths belong to
	Rebirth = "Node Control/Rebirth" // Boolean, false in NBIRTH; true in NCMD asks for all births once more
)

// Names of properties. Quality is of the specification, chapter 6; engUnit is
// not, hosts are used to it (common practice, no source).
const (
	qualityKey = "Quality"
	unitKey    = "engUnit"
)

// Quality is how far a value can be relied on.
type Quality string

// The qualities of the specification, chapter 6. Only what is not good has to
// say so.
const (
	Bad   Quality = "bad"   // 0
	Good  Quality = "good"  // 192
	Stale Quality = "stale" // 500: it was good, and is not known to be so still
)

// Field numbers, as in chapter 6 of the specification.
const (
	payloadTimestamp protowire.Number = 1
	payloadMetrics   protowire.Number = 2
	payloadSeq       protowire.Number = 3

	metricName       protowire.Number = 1
	metricTimestamp  protowire.Number = 3
	metricDatatype   protowire.Number = 4
	metricHistorical protowire.Number = 5
	metricTransient  protowire.Number = 6
	metricNull       protowire.Number = 7
	metricProperties protowire.Number = 9

	setKeys   protowire.Number = 1
	setValues protowire.Number = 2

	propertyType protowire.Number = 1
	propertyNull protowire.Number = 2
	propertyInt  protowire.Number = 3
	propertyText protowire.Number = 8
	propertyLast protowire.Number = 11 // extension, the last of a property's values
)

// AppendBirth appends the payload of an NBIRTH, DBIRTH or NDEATH: every metric
// tells its data type. A time before 1970 is written as 1970's first
// millisecond, bytes of a text that are not UTF-8 as U+FFFD.
func AppendBirth(b []byte, p Payload) []byte { return appendPayload(b, p, true) }

// AppendData appends the payload of an NDATA, DDATA or DDEATH: as AppendBirth,
// but metrics leave out their data types, which hosts know from the birth
// (tck-id-payloads-metric-datatype-not-req).
func AppendData(b []byte, p Payload) []byte { return appendPayload(b, p, false) }

func appendPayload(b []byte, p Payload, typed bool) []byte {
	b = appendTime(b, payloadTimestamp, p.At)
	for i := range p.Metrics {
		var at int
		b, at = open(b, payloadMetrics)
		b = shut(appendMetric(b, &p.Metrics[i], typed), at)
	}
	if p.HasSeq {
		b = appendNumber(b, payloadSeq, uint64(p.Seq))
	}
	return b
}

func appendMetric(b []byte, m *Metric, typed bool) []byte {
	if m.Name != "" {
		b = appendText(b, metricName, m.Name)
	}
	b = appendTime(b, metricTimestamp, m.At)
	if typed && m.Value.typ != 0 {
		b = appendNumber(b, metricDatatype, uint64(m.Value.typ))
	}
	if m.Historical {
		b = appendNumber(b, metricHistorical, 1)
	}
	if m.Transient {
		b = appendNumber(b, metricTransient, 1)
	}
	if m.Value.IsNull() || m.Value.opaque() {
		b = appendNumber(b, metricNull, 1)
	}
	b = appendProperties(b, m)
	v := m.Value
	switch v.kind {
	case intKind, longKind, booleanKind:
		b = appendNumber(b, protowire.Number(v.kind), v.bits)
	case floatKind:
		b = protowire.AppendTag(b, protowire.Number(v.kind), protowire.Fixed32Type)
		b = protowire.AppendFixed32(b, uint32(v.bits))
	case doubleKind:
		b = protowire.AppendTag(b, protowire.Number(v.kind), protowire.Fixed64Type)
		b = protowire.AppendFixed64(b, v.bits)
	case stringKind:
		b = appendText(b, protowire.Number(v.kind), v.text)
	case null, bytesKind, datasetKind, templateKind, extensionKind: // nothing is known to write
	}
	return b
}

// appendProperties appends the set of a metric's properties: all keys, then as
// many values, each with its type
// (tck-id-payloads-metric-propertyvalue-type-req).
func appendProperties(b []byte, m *Metric) []byte {
	quality, said := m.Quality.number()
	if !said && m.Unit == "" {
		return b
	}
	b, set := open(b, metricProperties)
	if said {
		b = appendText(b, setKeys, qualityKey)
	}
	if m.Unit != "" {
		b = appendText(b, setKeys, unitKey)
	}
	if said {
		var at int
		b, at = open(b, setValues)
		b = appendNumber(b, propertyType, uint64(TypeInt32))
		b = shut(appendNumber(b, propertyInt, quality), at)
	}
	if m.Unit != "" {
		var at int
		b, at = open(b, setValues)
		b = appendNumber(b, propertyType, uint64(TypeString))
		b = shut(appendText(b, propertyText, m.Unit), at)
	}
	return shut(b, set)
}

// number is the quality's number, if it has one.
func (q Quality) number() (n uint64, ok bool) {
	switch q {
	case Bad:
		return 0, true
	case Good:
		return 192, true
	case Stale:
		return 500, true
	}
	return 0, false
}

func appendNumber(b []byte, num protowire.Number, v uint64) []byte {
	return protowire.AppendVarint(protowire.AppendTag(b, num, protowire.VarintType), v)
}

func appendText(b []byte, num protowire.Number, s string) []byte {
	return protowire.AppendString(protowire.AppendTag(b, num, protowire.BytesType), strings.ToValidUTF8(s, "\uFFFD"))
}

func appendTime(b []byte, num protowire.Number, at time.Time) []byte {
	if at.IsZero() {
		return b
	}
	return appendNumber(b, num, milliseconds(at))
}

// milliseconds are those since 1970 began, in UTC as in every zone; 0 before.
func milliseconds(at time.Time) uint64 { return uint64(max(at.UnixMilli(), 0)) }

// open begins a message inside of another one, leaving one byte for its length,
// and returns where the message begins.
func open(b []byte, num protowire.Number) (grown []byte, at int) {
	b = append(protowire.AppendTag(b, num, protowire.BytesType), 0)
	return b, len(b)
}

// shut ends the message that began at at, moving it where its length takes more
// than the byte that was left.
func shut(b []byte, at int) []byte {
	n := len(b) - at
	if more := protowire.SizeVarint(uint64(n)) - 1; more > 0 {
		var room [binary.MaxVarintLen64]byte
		b = append(b, room[:more]...)
		copy(b[at+more:], b[at:at+n])
	}
	binary.PutUvarint(b[at-1:], uint64(n))
	return b
}
