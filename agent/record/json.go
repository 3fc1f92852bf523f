package record

import (
	"strconv"

	"benchtally/agent/crimp"
)

// AppendJSON appends the record as one flat JSON object, keys in the order of
// the struct's fields, and returns the extended buffer. Given room in b it does
// not allocate.
func (r *Record) AppendJSON(b []byte) []byte {
	b = append(b, `{"seq":`...)
	b = strconv.AppendUint(b, r.Seq, 10)
	b = append(b, `,"at":"`...)
	b = appendTime(b, r.At)
	b = append(b, `","kind":"`...)
	b = append(b, r.Kind...)
	b = append(b, '"')
	b = text(b, `,"clock":`, r.Clock)
	b = text(b, `,"order":`, r.Order)
	b = text(b, `,"piece":`, r.Piece)
	b = text(b, `,"spec":`, r.Spec)
	b = text(b, `,"revision":`, r.Revision)
	b = count(b, `,"quantity":`, r.Quantity)
	b = count(b, `,"pieces":`, r.Pieces)
	b = text(b, `,"cage":`, r.Cage)
	b = text(b, `,"operator":`, r.Operator)
	b = length(b, `,"target_mm":`, r.Target)
	b = length(b, `,"plus_mm":`, r.Plus)
	b = length(b, `,"minus_mm":`, r.Minus)
	b = text(b, `,"unit":`, string(r.Unit))
	b = number(b, `,"nominal":`, r.Nominal)
	b = count(b, `,"recrimps":`, r.Recrimps)
	b = count(b, `,"places":`, r.Places)
	b = number(b, `,"setting":`, r.Setting)
	b = count(b, `,"crimp":`, r.Crimp)
	if r.Held != nil {
		b = append(b, `,"held_ms":`...)
		b = strconv.AppendInt(b, *r.Held, 10)
	}
	b = count(b, `,"place":`, r.Place)
	b = length(b, `,"diameter_mm":`, r.Diameter)
	b = length(b, `,"resolution_mm":`, r.Step)
	b = text(b, `,"raw":`, r.Raw)
	b = text(b, `,"outcome":`, string(r.Outcome))
	b = length(b, `,"mean_mm":`, r.Mean)
	b = length(b, `,"deviation_mm":`, r.Deviation)
	b = length(b, `,"ovality_mm":`, r.Ovality)
	b = count(b, `,"readings":`, r.Readings)
	if r.Conformity != nil {
		b = append(b, `,"conformity":`...)
		b = strconv.AppendFloat(b, *r.Conformity, 'f', -1, 64)
	}
	b = length(b, `,"u_mm":`, r.U)
	b = length(b, `,"guard_mm":`, r.Guard)
	b = text(b, `,"zone":`, string(r.Zone))
	b = text(b, `,"hint":`, r.Hint)
	b = text(b, `,"for":`, r.For)
	b = number(b, `,"change":`, r.Change)
	b = length(b, `,"offset_mm":`, r.Offset)
	b = length(b, `,"offset_u_mm":`, r.OffsetU)
	b = count(b, `,"crimps":`, r.Crimps)
	b = count(b, `,"set_ups":`, r.SetUps)
	b = length(b, `,"aim_mm":`, r.Aim)
	b = number(b, `,"advised":`, r.Advised)
	b = text(b, `,"work":`, string(r.Work))
	b = text(b, `,"state":`, r.State)
	b = number(b, `,"strokes":`, r.Strokes)
	b = length(b, `,"value_mm":`, r.Value)
	if r.OK != nil {
		b = append(b, `,"ok":`...)
		b = strconv.AppendBool(b, *r.OK)
	}
	if r.Of != 0 {
		b = append(b, `,"of":`...)
		b = strconv.AppendUint(b, r.Of, 10)
	}
	b = text(b, `,"source":`, string(r.Source))
	b = text(b, `,"reason":`, r.Reason)
	return append(b, '}')
}

// MarshalJSON is AppendJSON for encoding/json.
func (r Record) MarshalJSON() ([]byte, error) { return r.AppendJSON(make([]byte, 0, 512)), nil }

// text appends a key, given with its comma and colon, and its value, as the
// functions below it do; nothing for a value that is empty.
func text(b []byte, key, s string) []byte {
	if s == "" {
		return b
	}
	return AppendString(append(b, key...), s)
}

func count(b []byte, key string, n int) []byte {
	if n == 0 {
		return b
	}
	return strconv.AppendInt(append(b, key...), int64(n), 10)
}

func number(b []byte, key string, n *int) []byte {
	if n == nil {
		return b
	}
	return strconv.AppendInt(append(b, key...), int64(*n), 10)
}

func length(b []byte, key string, l *crimp.Length) []byte {
	if l == nil {
		return b
	}
	return l.AppendMM(append(b, key...))
}
