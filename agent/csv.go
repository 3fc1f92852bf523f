package main

import (
	"strconv"

	"benchtally/agent/crimp"
	"benchtally/agent/record"
)

// columns are the table's columns: the keys of the records, lengths in mm.
var columns = []string{
	"seq", "at", "kind", "clock", "order", "piece", "spec", "revision", "quantity", "pieces", "cage", "operator",
	"target_mm", "plus_mm", "minus_mm", "unit", "nominal", "recrimps", "places",
	"setting", "crimp", "held_ms", "place", "diameter_mm", "resolution_mm", "raw",
	"outcome", "mean_mm", "deviation_mm", "ovality_mm", "readings", "conformity", "u_mm", "guard_mm", "zone", "hint",
	"for", "change", "offset_mm", "offset_u_mm", "crimps", "set_ups", "aim_mm", "advised", "work", "state", "strokes", "value_mm", "ok", "of", "source", "reason",
}

// row is a record as the table has it; what does not apply stays empty.
func row(r record.Record) []string {
	return []string{
		strconv.FormatUint(r.Seq, 10), r.At.UTC().Format(record.TimeLayout), string(r.Kind), r.Clock,
		r.Order, r.Piece, r.Spec, r.Revision, count(r.Quantity), count(r.Pieces), r.Cage, r.Operator,
		mm(r.Target), mm(r.Plus), mm(r.Minus), string(r.Unit), cell(r.Nominal), count(r.Recrimps), count(r.Places),
		cell(r.Setting), count(r.Crimp), cell(r.Held),
		count(r.Place), mm(r.Diameter), mm(r.Step), r.Raw,
		string(r.Outcome), mm(r.Mean), mm(r.Deviation), mm(r.Ovality), count(r.Readings), float(r.Conformity), mm(r.U), mm(r.Guard), string(r.Zone), r.Hint,
		r.For, cell(r.Change), mm(r.Offset), mm(r.OffsetU), count(r.Crimps), count(r.SetUps), mm(r.Aim), cell(r.Advised), string(r.Work), r.State, cell(r.Strokes), mm(r.Value), truth(r.OK),
		count(int(r.Of)), string(r.Source), r.Reason,
	}
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
