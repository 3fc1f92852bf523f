package record

import (
	"time"

	"benchtally/agent/crimp"
)

// examples are records as an invented shop gives them, one of each kind in the
// order of Kinds. Their JSON is testdata/records/v1/<kind>.json.
func examples() []Record {
	all := []Record{
		{
			Kind: Start, Order: "A-1001", Spec: "hs-08", Revision: "r3", Quantity: 6, Pieces: 2, Cage: "C-21", Operator: "kj",
			Target: Ptr(1200 * crimp.Thousandth), Plus: Ptr(5 * crimp.Thousandth), Minus: Ptr(5 * crimp.Thousandth),
			Unit: crimp.Inches, Nominal: Ptr(120), Recrimps: 1, Places: 3, Setting: Ptr(118),
			Offset: Ptr(crimp.Length(76_200)), OffsetU: Ptr(crimp.Length(25_400)), SetUps: 6, Advised: Ptr(117),
		},
		{
			Kind: Finish, Order: "A-1001", Spec: "hs-08", Quantity: 6, Pieces: 6, Cage: "C-21", Operator: "kj", Setting: Ptr(117),
		},
		{Kind: Set, Order: "A-1001", Setting: Ptr(0)},
		{Kind: Load, Cage: "C-21"},
		{Kind: Retract, Cage: "C-21"},
		{Kind: Measure, Order: "A-1001", Piece: "A-1001/3"},
		{
			Kind: Stroke, Order: "A-1001", Piece: "A-1001/3", Cage: "C-21", Setting: Ptr(118), Crimp: 1, Held: Ptr(int64(812)),
		},
		{
			Kind: Reading, Order: "A-1001", Piece: "A-1001/3", Place: 1,
			Diameter: Ptr(1204 * crimp.Thousandth), Step: Ptr(crimp.Thousandth / 2), Raw: "+1.2040\r\n",
		},
		{
			Kind: Verdict, Order: "A-1001", Piece: "A-1001/3", Crimp: 1, Outcome: crimp.Recrimp,
			Mean: Ptr(crimp.Length(30_607_001)), Deviation: Ptr(crimp.Length(127_001)), Ovality: Ptr(crimp.Length(25_400)),
			Readings: 3, Conformity: Ptr(0.4999), U: Ptr(crimp.Length(11_555)), Guard: Ptr(crimp.Length(19_006)), Zone: crimp.NearOutside,
			Hint:   "place 2 is 0.001in larger than the others",
			Reason: "0.000001 mm over the upper limit: crimp again",
		},
		{
			Kind: Correction, Order: "A-1001", Piece: "A-1001/3", Setting: Ptr(113), For: ForRecrimp, Change: Ptr(-5),
			Offset: Ptr(crimp.Length(127_001)), OffsetU: Ptr(crimp.Length(25_400)), Crimps: 3, SetUps: 6, Aim: Ptr(crimp.Length(6_350)), Reason: "from this piece's own mean",
		},
		{
			Kind: Care, Cage: "C-21", Work: crimp.Lubricate, State: Due, Strokes: Ptr(50), Reason: "50 strokes since the last one",
		},
		{Kind: Zero, Raw: "-0.0005", Value: Ptr(-crimp.Thousandth / 2), OK: Ptr(false)},
		{Kind: Undo, Order: "A-1001", Piece: "A-1001/3", Of: 8},
		{Kind: Dry, Order: "A-1001", Of: 7},
		{Kind: Same, Order: "A-1001", Piece: "A-1001/2", Crimp: 2, Of: 7},
		{Kind: Fault, Clock: "unset", Source: Clock, State: On, Reason: "the clock was not yet set: times may be wrong"},
		{Kind: Refused, Source: Caliper, Reason: "a line that is no number", Raw: "\"Err\x10\xff é\\\u007f"},
	}
	for i := range all {
		all[i].Seq = uint64(i) + 1
		all[i].At = time.Date(2026, 3, 2, 6, 0, i, 250_000_000+i*1000, time.UTC)
	}
	return all
}
