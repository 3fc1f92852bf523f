package record

import (
	"strconv"
	"time"
	"unicode/utf8"

	"benchtally/agent/crimp"
)

// TimeLayout is RFC 3339 in UTC with microseconds: the form of every time that
// leaves the agent. Its strings sort as the times do.
const TimeLayout = "2006-01-02T15:04:05.000000Z"

// AppendJSON appends the record as one flat JSON object, keys in the order of
// the struct's fields, and returns the extended buffer. Given room in b it does
// not allocate.
func (r *Record) AppendJSON(b []byte) []byte {
	b = append(b, `{"seq":`...)
	b = strconv.AppendUint(b, r.Seq, 10)
	b = append(b, `,"at":"`...)
	b = r.At.UTC().AppendFormat(b, TimeLayout)
	b = append(b, `","kind":"`...)
	b = append(b, r.Kind...)
	b = append(b, '"')
	b = text(b, "clock", r.Clock)
	b = text(b, "order", r.Order)
	b = text(b, "piece", r.Piece)
	b = text(b, "spec", r.Spec)
	b = text(b, "revision", r.Revision)
	b = count(b, "quantity", r.Quantity)
	b = count(b, "pieces", r.Pieces)
	b = text(b, "cage", r.Cage)
	b = text(b, "operator", r.Operator)
	b = length(b, "target_mm", r.Target)
	b = length(b, "plus_mm", r.Plus)
	b = length(b, "minus_mm", r.Minus)
	b = text(b, "unit", string(r.Unit))
	b = number(b, "nominal", r.Nominal)
	b = count(b, "recrimps", r.Recrimps)
	b = count(b, "places", r.Places)
	b = number(b, "setting", r.Setting)
	b = count(b, "crimp", r.Crimp)
	if r.Held != nil {
		b = key(b, "held_ms")
		b = strconv.AppendInt(b, *r.Held, 10)
	}
	b = count(b, "place", r.Place)
	b = length(b, "diameter_mm", r.Diameter)
	b = length(b, "resolution_mm", r.Step)
	b = text(b, "raw", r.Raw)
	b = text(b, "outcome", string(r.Outcome))
	b = length(b, "mean_mm", r.Mean)
	b = length(b, "deviation_mm", r.Deviation)
	b = length(b, "ovality_mm", r.Ovality)
	b = count(b, "readings", r.Readings)
	if r.Conformity != nil {
		b = key(b, "conformity")
		b = strconv.AppendFloat(b, *r.Conformity, 'f', -1, 64)
	}
	b = length(b, "u_mm", r.U)
	b = text(b, "for", r.For)
	b = number(b, "change", r.Change)
	b = length(b, "offset_mm", r.Offset)
	b = length(b, "offset_u_mm", r.OffsetU)
	b = text(b, "work", string(r.Work))
	b = text(b, "state", r.State)
	b = number(b, "strokes", r.Strokes)
	b = length(b, "value_mm", r.Value)
	if r.OK != nil {
		b = key(b, "ok")
		b = strconv.AppendBool(b, *r.OK)
	}
	if r.Of != 0 {
		b = key(b, "of")
		b = strconv.AppendUint(b, r.Of, 10)
	}
	b = text(b, "source", string(r.Source))
	b = text(b, "reason", r.Reason)
	return append(b, '}')
}

// MarshalJSON is AppendJSON for encoding/json.
func (r Record) MarshalJSON() ([]byte, error) { return r.AppendJSON(make([]byte, 0, 384)), nil }

// Stamp brings a time to the precision that records keep: UTC, microseconds.
func Stamp(t time.Time) time.Time { return t.UTC().Truncate(time.Microsecond) }

func key(b []byte, name string) []byte {
	b = append(b, ',', '"')
	b = append(b, name...)
	return append(b, '"', ':')
}

func text(b []byte, name, s string) []byte {
	if s == "" {
		return b
	}
	return AppendString(key(b, name), s)
}

func count(b []byte, name string, n int) []byte {
	if n == 0 {
		return b
	}
	return strconv.AppendInt(key(b, name), int64(n), 10)
}

func number(b []byte, name string, n *int) []byte {
	if n == nil {
		return b
	}
	return strconv.AppendInt(key(b, name), int64(*n), 10)
}

func length(b []byte, name string, l *crimp.Length) []byte {
	if l == nil {
		return b
	}
	return l.AppendMM(key(b, name))
}

const hexDigits = "0123456789abcdef"

// AppendString appends s as a JSON string. Bytes that are not UTF-8 become
// U+FFFD, control characters are escaped (RFC 8259, section 7).
func AppendString(b []byte, s string) []byte {
	b = append(b, '"')
	for i := 0; i < len(s); {
		c := s[i]
		if c < utf8.RuneSelf {
			switch {
			case c == '"' || c == '\\':
				b = append(b, '\\', c)
			case c == '\n':
				b = append(b, '\\', 'n')
			case c == '\r':
				b = append(b, '\\', 'r')
			case c == '\t':
				b = append(b, '\\', 't')
			case c < 0x20 || c == 0x7f:
				b = append(b, '\\', 'u', '0', '0', hexDigits[c>>4], hexDigits[c&15])
			default:
				b = append(b, c)
			}
			i++
			continue
		}
		r, size := utf8.DecodeRuneInString(s[i:])
		if r == utf8.RuneError && size == 1 {
			b = append(b, "\ufffd"...)
		} else {
			b = append(b, s[i:i+size]...)
		}
		i += size
	}
	return append(b, '"')
}
