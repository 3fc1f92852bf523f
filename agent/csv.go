package main

import (
	"strconv"
	"time"

	"benchtally/agent/crimp"
	"benchtally/agent/record"
)

// columns are the table's columns: the keys of the records, lengths in mm.
var columns = []string{
	"seq", "at", "kind", "clock", "order", "piece", "assembly", "end", "spec", "revision", "quantity", "pieces", "cage", "operator",
	"target_mm", "plus_mm", "minus_mm", "unit", "nominal", "recrimps", "places",
	"hose", "fitting", "size", "skive_mm", "insertion_mm",
	"reference", "hose_part", "hose_maker", "hose_lot", "a_spec", "a_part", "a_maker", "a_lot", "a_cutoff_mm",
	"b_spec", "b_part", "b_maker", "b_lot", "b_cutoff_mm", "length_mm", "length_plus_mm", "length_minus_mm", "cut_mm", "elbows_deg", "working_pa", "note",
	"setting", "crimp", "held_ms", "place", "diameter_mm", "resolution_mm", "raw",
	"outcome", "mean_mm", "deviation_mm", "ovality_mm", "readings", "conformity", "u_mm", "guard_mm", "zone", "hint",
	"for", "change", "offset_mm", "offset_u_mm", "crimps", "set_ups", "aim_mm", "advised", "work", "state", "strokes",
	"finding", "condition", "points", "angle_deg", "pressure_pa", "hold_s", "standard", "value_mm", "ok", "doubt_from", "of", "source", "reason",
	"behind_ms", "corrected_at",
}

// row is a record as the table has it, with the time at which it happened where
// that is another than the clock showed; what does not apply stays empty.
func row(r record.Record, corrected time.Time) []string {
	job := r.Job
	if job == nil {
		job = &record.Job{}
	}
	return []string{
		strconv.FormatUint(r.Seq, 10), r.At.UTC().Format(record.TimeLayout), string(r.Kind), r.Clock,
		r.Order, r.Piece, count(r.Assembly), string(r.End), r.Spec, r.Revision, count(r.Quantity), count(r.Pieces), r.Cage, r.Operator,
		mm(r.Target), mm(r.Plus), mm(r.Minus), string(r.Unit), cell(r.Nominal), count(r.Recrimps), count(r.Places),
		r.Hose, r.Fitting, r.Size, mm(r.Skive), mm(r.Insertion),
		job.Reference, job.HosePart, job.HoseMaker, job.HoseLot, job.ASpec, job.APart, job.AMaker, job.ALot, mm(job.ACutOff),
		job.BSpec, job.BPart, job.BMaker, job.BLot, mm(job.BCutOff),
		mm(job.Length), mm(job.LengthPlus), mm(job.LengthMinus), mm(job.Cut), cell(job.Elbows), count(int(job.Working)), job.Note,
		cell(r.Setting), count(r.Crimp), cell(r.Held),
		count(r.Place), mm(r.Diameter), mm(r.Step), r.Raw,
		string(r.Outcome), mm(r.Mean), mm(r.Deviation), mm(r.Ovality), count(r.Readings), float(r.Conformity), mm(r.U), mm(r.Guard), string(r.Zone), r.Hint,
		r.For, cell(r.Change), mm(r.Offset), mm(r.OffsetU), count(r.Crimps), count(r.SetUps), mm(r.Aim), cell(r.Advised), string(r.Work), r.State, cell(r.Strokes),
		r.Finding, string(r.Condition), r.Points, float(r.Angle), count(int(r.Pressure)), count(r.Hold), r.Standard, mm(r.Value), truth(r.OK),
		count(int(r.Doubt)), count(int(r.Of)), string(r.Source), r.Reason,
		cell(r.Behind), moment(corrected),
	}
}

// moment is a time that a record has beside its own; zero: none.
func moment(at time.Time) string {
	if at.IsZero() {
		return ""
	}
	return at.UTC().Format(record.TimeLayout)
}

func mm(l *crimp.Length) string {
	if l == nil {
		return ""
	}
	return string(l.AppendMM(nil))
}

func count(n int) string {
	if n == 0 {
		return ""
	}
	return strconv.Itoa(n)
}

func cell[T int | int64](n *T) string {
	if n == nil {
		return ""
	}
	return strconv.FormatInt(int64(*n), 10)
}

func float(f *float64) string {
	if f == nil {
		return ""
	}
	return strconv.FormatFloat(*f, 'f', -1, 64)
}

func truth(b *bool) string {
	if b == nil {
		return ""
	}
	return strconv.FormatBool(*b)
}
