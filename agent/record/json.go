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
	b = count(b, `,"assembly":`, r.Assembly)
	b = text(b, `,"end":`, string(r.End))
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
	b = text(b, `,"hose":`, r.Hose)
	b = text(b, `,"fitting":`, r.Fitting)
	b = text(b, `,"size":`, r.Size)
	b = length(b, `,"skive_mm":`, r.Skive)
	b = length(b, `,"insertion_mm":`, r.Insertion)
	if r.Job != nil {
		b = r.Job.appendJSON(b)
	}
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
	b = text(b, `,"finding":`, r.Finding)
	b = text(b, `,"condition":`, string(r.Condition))
	b = text(b, `,"points":`, r.Points)
	if r.Angle != nil {
		b = append(b, `,"angle_deg":`...)
		b = strconv.AppendFloat(b, *r.Angle, 'f', -1, 64)
	}
	b = count(b, `,"pressure_pa":`, int(r.Pressure))
	b = count(b, `,"hold_s":`, r.Hold)
	b = text(b, `,"standard":`, r.Standard)
	b = length(b, `,"value_mm":`, r.Value)
	if r.OK != nil {
		b = append(b, `,"ok":`...)
		b = strconv.AppendBool(b, *r.OK)
	}
	if r.Doubt != 0 {
		b = append(b, `,"doubt_from":`...)
		b = strconv.AppendUint(b, r.Doubt, 10)
	}
	if r.Of != 0 {
		b = append(b, `,"of":`...)
		b = strconv.AppendUint(b, r.Of, 10)
	}
	b = text(b, `,"source":`, string(r.Source))
	b = text(b, `,"reason":`, r.Reason)
	if r.Behind != nil {
		b = append(b, `,"behind_ms":`...)
		b = strconv.AppendInt(b, *r.Behind, 10)
	}
	return append(b, '}')
}

// appendJSON appends the job's keys.
func (j *Job) appendJSON(b []byte) []byte {
	b = text(b, `,"reference":`, j.Reference)
	b = text(b, `,"hose_part":`, j.HosePart)
	b = text(b, `,"hose_maker":`, j.HoseMaker)
	b = text(b, `,"hose_lot":`, j.HoseLot)
	b = text(b, `,"a_spec":`, j.ASpec)
	b = text(b, `,"a_part":`, j.APart)
	b = text(b, `,"a_maker":`, j.AMaker)
	b = text(b, `,"a_lot":`, j.ALot)
	b = length(b, `,"a_cutoff_mm":`, j.ACutOff)
	b = text(b, `,"b_spec":`, j.BSpec)
	b = text(b, `,"b_part":`, j.BPart)
	b = text(b, `,"b_maker":`, j.BMaker)
	b = text(b, `,"b_lot":`, j.BLot)
	b = length(b, `,"b_cutoff_mm":`, j.BCutOff)
	b = length(b, `,"length_mm":`, j.Length)
	b = length(b, `,"length_plus_mm":`, j.LengthPlus)
	b = length(b, `,"length_minus_mm":`, j.LengthMinus)
	b = length(b, `,"cut_mm":`, j.Cut)
	b = number(b, `,"elbows_deg":`, j.Elbows)
	b = count(b, `,"working_pa":`, int(j.Working))
	return text(b, `,"note":`, j.Note)
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
