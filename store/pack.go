package store

import (
	"encoding/binary"
	"errors"
	"fmt"
	"math"
	"time"

	"benchtally/agent/crimp"
	"benchtally/agent/record"
)

// A packed record is its time (microseconds since 1970, varint), then each field
// that is not empty as its tag and its value, tags ascending. The seq is the key
// of the value and not repeated. Packing takes about a quarter of the JSON.
//
// fields says where each tag's field is; the type of the place says how it is
// written. Tags and words keep their meaning for ever: a new one goes to the end.
var fields = [...]any{
	1:  func(r *record.Record) *string { return (*string)(&r.Kind) },
	2:  func(r *record.Record) *string { return &r.Clock },
	3:  func(r *record.Record) *string { return &r.Order },
	4:  func(r *record.Record) *string { return &r.Piece },
	5:  func(r *record.Record) *string { return &r.Spec },
	6:  func(r *record.Record) *string { return &r.Revision },
	7:  func(r *record.Record) *int { return &r.Quantity },
	8:  func(r *record.Record) *int { return &r.Pieces },
	9:  func(r *record.Record) *string { return &r.Cage },
	10: func(r *record.Record) *string { return &r.Operator },
	11: func(r *record.Record) **crimp.Length { return &r.Target },
	12: func(r *record.Record) **crimp.Length { return &r.Plus },
	13: func(r *record.Record) **crimp.Length { return &r.Minus },
	14: func(r *record.Record) **int { return &r.Nominal },
	15: func(r *record.Record) *int { return &r.Recrimps },
	16: func(r *record.Record) *int { return &r.Places },
	17: func(r *record.Record) **int { return &r.Setting },
	18: func(r *record.Record) *int { return &r.Crimp },
	19: func(r *record.Record) **int64 { return &r.Held },
	20: func(r *record.Record) *int { return &r.Place },
	21: func(r *record.Record) **crimp.Length { return &r.Diameter },
	22: func(r *record.Record) *string { return &r.Raw },
	23: func(r *record.Record) *string { return (*string)(&r.Outcome) },
	24: func(r *record.Record) **crimp.Length { return &r.Mean },
	25: func(r *record.Record) **crimp.Length { return &r.Deviation },
	26: func(r *record.Record) **crimp.Length { return &r.Ovality },
	27: func(r *record.Record) *int { return &r.Readings },
	28: func(r *record.Record) **float64 { return &r.Conformity },
	29: func(r *record.Record) **crimp.Length { return &r.U },
	30: func(r *record.Record) *string { return &r.For },
	31: func(r *record.Record) **int { return &r.Change },
	32: func(r *record.Record) **crimp.Length { return &r.Offset },
	33: func(r *record.Record) **crimp.Length { return &r.OffsetU },
	34: func(r *record.Record) *string { return (*string)(&r.Work) },
	35: func(r *record.Record) *string { return &r.State },
	36: func(r *record.Record) **int { return &r.Strokes },
	37: func(r *record.Record) **crimp.Length { return &r.Value },
	38: func(r *record.Record) **bool { return &r.OK },
	39: func(r *record.Record) *uint64 { return &r.Of },
	40: func(r *record.Record) *string { return (*string)(&r.Source) },
	41: func(r *record.Record) *string { return &r.Reason },
	42: func(r *record.Record) *string { return (*string)(&r.Unit) },
	43: func(r *record.Record) **crimp.Length { return &r.Step },
	44: func(r *record.Record) **crimp.Length { return &r.Guard },
	45: func(r *record.Record) *string { return (*string)(&r.Zone) },
	46: func(r *record.Record) *string { return &r.Hint },
	47: func(r *record.Record) *int { return &r.Crimps },
	48: func(r *record.Record) *int { return &r.SetUps },
	49: func(r *record.Record) **crimp.Length { return &r.Aim },
	50: func(r *record.Record) **int { return &r.Advised },
	51: func(r *record.Record) *int { return &r.Assembly },
	52: func(r *record.Record) *string { return (*string)(&r.End) },
	53: func(r *record.Record) *string { return &r.Hose },
	54: func(r *record.Record) *string { return &r.Fitting },
	55: func(r *record.Record) *string { return &r.Size },
	56: func(r *record.Record) **crimp.Length { return &r.Skive },
	57: func(r *record.Record) **crimp.Length { return &r.Insertion },
	58: func(r *record.Record) *string { return &r.Finding },
	59: func(r *record.Record) *string { return (*string)(&r.Condition) },
	60: func(r *record.Record) *string { return &r.Points },
	61: func(r *record.Record) **float64 { return &r.Angle },
	62: func(r *record.Record) *int64 { return (*int64)(&r.Pressure) },
	63: func(r *record.Record) *int { return &r.Hold },
	64: func(r *record.Record) *string { return &r.Standard },
	65: func(r *record.Record) *uint64 { return &r.Doubt },

	// firstOfJob: those of the job card, up to lastOfJob.
	66: func(r *record.Record) *string { return &r.Reference },
	67: func(r *record.Record) *string { return &r.HosePart },
	68: func(r *record.Record) *string { return &r.HoseMaker },
	69: func(r *record.Record) *string { return &r.HoseLot },
	70: func(r *record.Record) *string { return &r.ASpec },
	71: func(r *record.Record) *string { return &r.APart },
	72: func(r *record.Record) *string { return &r.AMaker },
	73: func(r *record.Record) *string { return &r.ALot },
	74: func(r *record.Record) **crimp.Length { return &r.ACutOff },
	75: func(r *record.Record) *string { return &r.BSpec },
	76: func(r *record.Record) *string { return &r.BPart },
	77: func(r *record.Record) *string { return &r.BMaker },
	78: func(r *record.Record) *string { return &r.BLot },
	79: func(r *record.Record) **crimp.Length { return &r.BCutOff },
	80: func(r *record.Record) **crimp.Length { return &r.Length },
	81: func(r *record.Record) **crimp.Length { return &r.LengthPlus },
	82: func(r *record.Record) **crimp.Length { return &r.LengthMinus },
	83: func(r *record.Record) **crimp.Length { return &r.Cut },
	84: func(r *record.Record) **int { return &r.Elbows },
	85: func(r *record.Record) *int64 { return (*int64)(&r.Working) },
	86: func(r *record.Record) *string { return &r.Note },

	87: func(r *record.Record) **int64 { return &r.Behind },
}

// The tags of the job card, which a record has or has not.
const firstOfJob, lastOfJob = 66, 86

// words are texts that come again and again; each is written as its number.
var words = [...]string{
	1: "start", 2: "finish", 3: "set", 4: "load", 5: "retract", 6: "measure", 7: "stroke", 8: "reading",
	9: "verdict", 10: "correction", 11: "care", 12: "zero", 13: "undo", 14: "dry", 15: "same", 16: "fault",
	17: "refused", 18: "switch", 19: "caliper", 20: "clock", 21: "store", 22: "broker", 23: "action",
	24: "next", 25: "recrimp", 26: "due", 27: "done", 28: "on", 29: "off", 30: "pass", 31: "scrap",
	32: "unsure", 33: "lubricate", 34: "clean", 35: "teardown", 36: "unset", 37: "in", 38: "mm",
	39: "inside", 40: "near-inside", 41: "near-outside", 42: "outside",
	43: "operator", 44: "turn", 45: "lot", 46: "check", 47: "proof", 48: "standard", 49: "oil", 50: "A", 51: "B",
	52: "good", 53: "worn", 54: "out", 55: "length", 56: "angle", 57: "first-piece", 58: "scanner",
}

var wordNumber = func() map[string]uint64 {
	m := make(map[string]uint64, len(words))
	for n, w := range words[1:] {
		m[w] = uint64(n + 1)
	}
	return m
}()

// pack appends the packed record to b. Parts of a microsecond are not kept, as
// they are not written in JSON.
func pack(b []byte, r *record.Record) []byte {
	b = binary.AppendVarint(b, r.At.UnixMicro())
	for tag := 1; tag < len(fields); tag++ {
		if tag == firstOfJob && r.Job == nil {
			tag = lastOfJob
			continue
		}
		t := byte(tag)
		switch at := fields[tag].(type) {
		case func(*record.Record) *string:
			if s := *at(r); s != "" {
				b = packText(append(b, t), s)
			}
		case func(*record.Record) *int:
			if n := *at(r); n != 0 {
				b = binary.AppendVarint(append(b, t), int64(n))
			}
		case func(*record.Record) *int64:
			if n := *at(r); n != 0 {
				b = binary.AppendVarint(append(b, t), n)
			}
		case func(*record.Record) *uint64:
			if n := *at(r); n != 0 {
				b = binary.AppendUvarint(append(b, t), n)
			}
		case func(*record.Record) **int:
			if n := *at(r); n != nil {
				b = binary.AppendVarint(append(b, t), int64(*n))
			}
		case func(*record.Record) **int64:
			if n := *at(r); n != nil {
				b = binary.AppendVarint(append(b, t), *n)
			}
		case func(*record.Record) **crimp.Length:
			if l := *at(r); l != nil {
				b = binary.AppendVarint(append(b, t), int64(*l))
			}
		case func(*record.Record) **float64:
			if f := *at(r); f != nil {
				b = binary.BigEndian.AppendUint64(append(b, t), math.Float64bits(*f))
			}
		case func(*record.Record) **bool:
			if v := *at(r); v != nil && *v {
				b = append(b, t, 1)
			} else if v != nil {
				b = append(b, t, 0)
			}
		}
	}
	return b
}

// packText writes an odd number for a word, or twice the length and the bytes.
func packText(b []byte, s string) []byte {
	if n, ok := wordNumber[s]; ok {
		return binary.AppendUvarint(b, n<<1|1)
	}
	return append(binary.AppendUvarint(b, uint64(len(s))<<1), s...)
}

// unpack reads a packed record. The result shares no memory with b.
func unpack(seq uint64, b []byte) (record.Record, error) {
	in := input{b: b}
	r := record.Record{Seq: seq, At: time.UnixMicro(in.varint()).UTC()}
	for last := 0; len(in.b) > 0 && in.err == nil; {
		tag := int(in.b[0])
		in.b = in.b[1:]
		if tag <= last {
			return record.Record{}, fmt.Errorf("field %d follows field %d", tag, last)
		}
		if tag >= len(fields) {
			return record.Record{}, fmt.Errorf("field %d is not known here: it %w", tag, ErrNewer)
		}
		last = tag
		if tag >= firstOfJob && tag <= lastOfJob && r.Job == nil {
			r.Job = &record.Job{}
		}
		switch at := fields[tag].(type) {
		case func(*record.Record) *string:
			*at(&r) = in.text()
		case func(*record.Record) *int:
			*at(&r) = in.int()
		case func(*record.Record) *int64:
			*at(&r) = in.varint()
		case func(*record.Record) *uint64:
			*at(&r) = in.uvarint()
		case func(*record.Record) **int:
			*at(&r) = record.Ptr(in.int())
		case func(*record.Record) **int64:
			*at(&r) = record.Ptr(in.varint())
		case func(*record.Record) **crimp.Length:
			*at(&r) = record.Ptr(crimp.Length(in.varint()))
		case func(*record.Record) **float64:
			*at(&r) = record.Ptr(math.Float64frombits(in.fixed64()))
		case func(*record.Record) **bool:
			*at(&r) = record.Ptr(in.uvarint() != 0)
		}
	}
	if in.err != nil {
		return record.Record{}, in.err
	}
	return r, nil
}

// input is what is left to unpack, and the first thing that was wrong with it.
type input struct {
	b   []byte
	err error
}

// take moves past n bytes; n of 0 or less, or beyond the end, is a fault.
func (in *input) take(n int) []byte {
	if n <= 0 || n > len(in.b) {
		in.b, in.err = nil, errors.New("ends in the middle of a field")
		return nil
	}
	head := in.b[:n]
	in.b = in.b[n:]
	return head
}

func (in *input) varint() int64 {
	v, n := binary.Varint(in.b)
	in.take(n)
	return v
}

func (in *input) uvarint() uint64 {
	v, n := binary.Uvarint(in.b)
	in.take(n)
	return v
}

func (in *input) int() int {
	v := in.varint()
	if int64(int(v)) != v {
		in.err = errors.New("holds a number too large for this machine")
	}
	return int(v)
}

func (in *input) fixed64() uint64 {
	if b := in.take(8); b != nil {
		return binary.BigEndian.Uint64(b)
	}
	return 0
}

func (in *input) text() string {
	n := in.uvarint()
	switch {
	case in.err != nil || n == 0:
		return ""
	case n&1 == 0 && n>>1 <= uint64(len(in.b)):
		return string(in.take(int(n >> 1)))
	case n&1 == 1 && n>>1 > 0 && n>>1 < uint64(len(words)):
		return words[n>>1]
	}
	in.b, in.err = nil, errors.New("ends in the middle of a text, or holds a word not known here")
	return ""
}
