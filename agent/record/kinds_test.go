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
			Unit: crimp.Inches, Nominal: Ptr(120), Recrimps: 1, Places: 3, Setting: Ptr(118), End: crimp.EndA,
			Hose: "two-wire", Fitting: "swivel 1/2", Size: "-8", Skive: Ptr(30 * crimp.Millimetre), Insertion: Ptr(41 * crimp.Millimetre),
			Job: &Job{
				Reference: "PO 77", HosePart: "two-wire 08", HoseMaker: "M1", HoseLot: "H-76",
				ASpec: "hs-08", APart: "swivel 1/2", AMaker: "M1", ALot: "F-11", ACutOff: Ptr(31 * crimp.Millimetre),
				BSpec: "hs-08", BPart: "elbow 1/2", BMaker: "M1", BLot: "F-12", BCutOff: Ptr(48 * crimp.Millimetre),
				Length: Ptr(1200 * crimp.Millimetre), LengthPlus: Ptr(12 * crimp.Millimetre), LengthMinus: Ptr(4 * crimp.Millimetre),
				Cut: Ptr(1121 * crimp.Millimetre), Elbows: Ptr(90), Working: 350 * crimp.Bar, Note: "cap both ends",
			},
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
			Kind: Stroke, Order: "A-1001", Piece: "A-1001/3", Assembly: 2, End: crimp.EndA, Cage: "C-21", Setting: Ptr(118), Crimp: 1, Held: Ptr(int64(812)),
		},
		{
			Kind: Reading, Order: "A-1001", Piece: "A-1001/3", Place: 1,
			Diameter: Ptr(1204 * crimp.Thousandth), Step: Ptr(crimp.Thousandth / 2), Raw: "+1.2040\r\n",
		},
		{
			Kind: Verdict, Order: "A-1001", Piece: "A-1001/3", Assembly: 2, End: crimp.EndA, Spec: "hs-08", Revision: "r3", Crimp: 1, Outcome: crimp.Recrimp,
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
			Kind: Care, Cage: "C-21", Work: crimp.Teardown, State: Done, Strokes: Ptr(1003), Operator: "kj",
			Finding: "two segments scored", Condition: crimp.Worn,
		},
		{Kind: Zero, Raw: "-0.0005", Value: Ptr(-crimp.Thousandth / 2), OK: Ptr(false), Doubt: 9},
		{Kind: Undo, Order: "A-1001", Piece: "A-1001/3", Of: 8},
		{Kind: Dry, Order: "A-1001", Of: 7},
		{Kind: Same, Order: "A-1001", Piece: "A-1001/2", Crimp: 2, Of: 7},
		{Kind: Fault, Clock: "unset", Source: Clock, State: On, Of: 3, Reason: "the clock was not yet set: times may be wrong", Behind: Ptr(int64(11_520_250))},
		{Kind: Refused, Source: Caliper, Reason: "a line that is no number", Raw: "\"Err\x10\xff é\\\u007f"},
		{Kind: Operator, Operator: "kj"},
		{Kind: Turn, Order: "A-1001", End: crimp.EndB},
		{
			Kind: Lot, Order: "A-1001", Hint: "End A: hose of maker M1, fitting of maker F2.",
			Job: &Job{HosePart: "two-wire 08", HoseMaker: "M1", HoseLot: "H-77", AMaker: "F2", ALot: "F-12", BMaker: "M1", BLot: "F-13"},
		},
		{
			Kind: Check, Order: "A-1001", Assembly: 3, Operator: "kj", Points: "length,angle",
			Target: Ptr(1200 * crimp.Millimetre), Plus: Ptr(12 * crimp.Millimetre), Minus: Ptr(4 * crimp.Millimetre), Deviation: Ptr(13 * crimp.Millimetre),
			Angle: Ptr(91.5), Value: Ptr(1213 * crimp.Millimetre), OK: Ptr(false), Reason: "1 mm too long",
		},
		{
			Kind: Proof, Order: "A-1001", Assembly: 3, Operator: "kj", Pressure: 700 * crimp.Bar, Hold: 45, OK: Ptr(true),
			Job: &Job{Working: 350 * crimp.Bar},
		},
		{Kind: Scrap, Order: "A-1001", Piece: "A-1001/3", Assembly: 2, End: crimp.EndA, Operator: "kj", State: On, Reason: "cut not square"},
		{
			Kind: Standard, Operator: "kj", Target: Ptr(25 * crimp.Millimetre), Plus: Ptr(20 * crimp.Micrometre), Minus: Ptr(20 * crimp.Micrometre), Raw: "+25.03\r\n",
			Diameter: Ptr(25_030 * crimp.Micrometre), Deviation: Ptr(30 * crimp.Micrometre), State: Done, Standard: "ring-25", OK: Ptr(false), Doubt: 812,
		},
	}
	for i := range all {
		all[i].Seq = uint64(i) + 1
		all[i].At = time.Date(2026, 3, 2, 6, 0, i, 250_000_000+i*1000, time.UTC)
	}
	return all
}
