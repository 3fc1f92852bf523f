package report

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"

	"benchtally/agent/crimp"
	"benchtally/agent/station"
)

// plain is English as the code has it, without any table.
type plain struct{ comma bool }

func (p plain) Say(english string, args ...any) string {
	if len(args) == 0 {
		return english
	}
	return fmt.Sprintf(english, args...)
}

func (p plain) Sentence(english string) string { return english }

func (p plain) Length(l crimp.Length, unit crimp.Unit, places int) string {
	return p.point(l.Text(unit, places))
}

func (p plain) Number(f float64, places int) string {
	return p.point(strconv.FormatFloat(f, 'f', places, 64))
}

func (p plain) point(s string) string {
	if p.comma {
		return strings.Replace(s, ".", ",", 1)
	}
	return s
}

var (
	hs08 = crimp.Spec{
		ID: "hs-08", Cage: "C-21", Diameter: 30_580_000, Plus: 100_000, Minus: 100_000, Setting: 120, Unit: crimp.Millimetres,
		Recrimps: 1, Hose: "2SN 08", Fitting: "DKOL 15", Size: "-8", Skive: 28 * crimp.Millimetre, Insertion: 41 * crimp.Millimetre,
		Places: 3, Revision: "2026-01",
	}
	hs12 = crimp.Spec{
		ID: "hs-12", Cage: "C-23", Diameter: 1_204 * crimp.Thousandth, Plus: 5 * crimp.Thousandth, Minus: 5 * crimp.Thousandth, Setting: 85,
		Unit: crimp.Inches, Places: 3, Revision: "F",
	}
	shiftStart = time.Date(2026, 3, 2, 6, 0, 0, 0, time.UTC)
)

// wave is a deviation that looks measured and is always the same, nanometres.
func wave(i int) crimp.Length {
	return crimp.Length(math.Round(45*math.Sin(float64(i)*1.7)+20*math.Cos(float64(i)*0.6))) * crimp.Micrometre
}

// readingsAt are three readings whose mean is a deviation from the target.
func readingsAt(s crimp.Spec, deviation crimp.Length) []crimp.Length {
	m := (s.Diameter + deviation) / 10_000 * 10_000
	return []crimp.Length{m, m - 10_000, m + 10_000}
}

// judged is a course of n pieces: each tenth is too large at first and crimped
// again, each thirteenth is scrap, each seventeenth cannot be told.
func judged(n int) []station.Judged {
	var all []station.Judged
	for i := range n {
		j := station.Judged{
			At: shiftStart.Add(time.Duration(i) * 90 * time.Second), Seq: uint64(10 + 10*i), Order: "A-1001", Piece: fmt.Sprintf("A-1001/%d", i+1),
			Spec: hs08, Operator: "kj", Cage: "C-21", SetUp: 1 + i/15, Stroke: 400 + i + i/15*4, Setting: 120 + i/15*3, Crimp: 1,
			Outcome: crimp.Pass, Readings: readingsAt(hs08, wave(i)),
			Offset: float64(wave(i)) + float64(i%15)*4000 - float64(i/15)*60000,
		}
		switch {
		case i%10 == 4:
			j.Outcome, j.Readings = crimp.Recrimp, readingsAt(hs08, 160*crimp.Micrometre)
			all = append(all, j)
			j.Seq, j.Crimp, j.Setting, j.Stroke = j.Seq+5, 2, j.Setting-6, j.Stroke+1
			j.Outcome, j.Readings = crimp.Pass, readingsAt(hs08, 20*crimp.Micrometre)
		case i%13 == 12:
			j.Outcome, j.Readings = crimp.Scrap, readingsAt(hs08, -140*crimp.Micrometre)
		case i%17 == 16:
			j.Outcome, j.Readings = crimp.Unsure, readingsAt(hs08, 90*crimp.Micrometre)
		}
		all = append(all, j)
	}
	return all
}

// advice is what was advised along the course of n pieces.
func advice(n int) []Advice {
	var all []Advice
	for i := range n {
		all = append(all, Advice{Seq: uint64(15 + 10*i), Order: "A-1001", Setting: 120 + (i+2)/15*3, Aim: 20 * crimp.Micrometre})
	}
	return all
}

// dossier is an order of n assemblies with two ends, with one of everything that
// can become of an end, as far as n lets it.
func dossier(n int) *station.Dossier {
	angle := 90
	d := &station.Dossier{
		Order: "A-1001", Quantity: n, From: 12, To: uint64(12 + n*20), Began: shiftStart, Latest: shiftStart.Add(time.Duration(n) * 4 * time.Minute),
		Cut: 1_096 * crimp.Millimetre, Finished: true, Ends: []crimp.EndName{crimp.EndA, crimp.EndB},
		Points: station.Points{End: []string{"seated", "mark"}, Assembly: []string{"length", "flushed", "capped", "proof"}},
		Job: &crimp.Job{
			Order: "A-1001", Reference: "pump 3, return line", Quantity: n, Hose: crimp.Part{Name: "2SN 08", Maker: "Riverside Hose", Lot: "H-4411"},
			Ends: [2]crimp.End{
				{Spec: "hs-08", Fitting: crimp.Part{Name: "DKOL 15", Maker: "Riverside Fittings", Lot: "F-208"}, CutOff: 52 * crimp.Millimetre},
				{Spec: "hs-08", Fitting: crimp.Part{Name: "DKOL 15 90°", Maker: "Riverside Fittings", Lot: "F-311"}, CutOff: 52 * crimp.Millimetre},
			},
			Length: 1_200 * crimp.Millimetre, Plus: 12 * crimp.Millimetre, Minus: 4 * crimp.Millimetre, Angle: &angle, Working: 250 * crimp.Bar,
			Note: "caps red",
		},
		Calipers: []station.CaliperEntry{
			{At: shiftStart.Add(time.Minute), Seq: 13, OK: true, Operator: "kj"},
			{At: shiftStart.Add(2 * time.Minute), Seq: 14, Standard: "ring-25", Nominal: 25 * crimp.Millimetre, Value: 25_000_000, OK: true, Operator: "kj"},
		},
	}
	parts := func(e crimp.EndName, lot string) station.Parts {
		return station.Parts{Hose: crimp.Part{Name: "2SN 08", Maker: "Riverside Hose", Lot: lot}, Fitting: d.Job.End(e).Fitting}
	}
	for _, e := range d.Ends {
		d.Starts = append(d.Starts, station.StartEntry{At: shiftStart, End: e, Spec: hs08, Setting: 124, Operator: "kj", Parts: parts(e, "H-4411")})
	}
	stroke := 0
	for k := 1; k <= n; k++ {
		a := station.AssemblyEntry{N: k, Pieces: map[crimp.EndName]int{}, State: station.Complete}
		at := shiftStart.Add(time.Duration(k) * 4 * time.Minute)
		for i, e := range d.Ends {
			number := 2*k - 1 + i
			lot := "H-4411"
			if k > 8 {
				lot = "H-4412"
			}
			p := station.PieceEntry{
				N: number, ID: fmt.Sprintf("A-1001/%d", number), Assembly: k, End: e, Spec: hs08, Cage: "C-21", Parts: parts(e, lot), Outcome: crimp.Pass, Plan: true,
				Checks: []station.CheckEntry{{At: at, Points: []string{"seated", "mark"}, OK: true, Operator: "kj"}},
			}
			p.Crimps = []station.CrimpEntry{crimped(at.Add(time.Duration(i)*time.Minute), uint64(20*k+i*8), 124, wave(number), crimp.Pass, "within limits")}
			switch {
			case number == 6:
				p.Crimps[0] = crimped(at, uint64(20*k), 124, 160*crimp.Micrometre, crimp.Recrimp, "0.060 mm over the upper limit: the sheet allows one more crimp")
				p.Crimps = append(p.Crimps, crimped(at.Add(time.Minute), uint64(20*k+5), 118, 20*crimp.Micrometre, crimp.Pass, "within limits"))
			case number == 9:
				p.Outcome = crimp.Scrap
				p.Crimps[0] = crimped(at, uint64(20*k), 124, -140*crimp.Micrometre, crimp.Scrap, "0.040 mm under the lower limit: an undersize crimp cannot be undone")
				a.State, a.Scrap = station.GivenUp, "end A is scrap"
			case number == 13:
				p.Outcome = crimp.Unsure
				p.Crimps[0] = station.CrimpEntry{At: at, Seq: uint64(20 * k), Setting: 124, Operator: "kj", Outcome: crimp.Unsure, Conformity: -1, Reason: "left unmeasured: the next stroke came"}
				a.State = station.ToJudge
			case number == 15:
				p.Outcome = crimp.Unsure
				p.Crimps[0] = crimped(at, uint64(20*k), 124, 90*crimp.Micrometre, crimp.Unsure, "0.010 mm under the upper limit, nearer than the guard band of 0.020 mm: the caliper cannot tell")
				p.Crimps[0].Readings[1].Doubt = true
				a.State = station.ToJudge
			case number == 18:
				p.Outcome, p.Plan = "", false
				p.Crimps[0] = station.CrimpEntry{At: at, Seq: uint64(20 * k), Setting: 124, Operator: "mb", Conformity: -1}
				a.State = station.ToJudge
			case number == 20:
				p.Scrap, a.State, a.Scrap = "hose torn at the skive", station.GivenUp, "end B is scrap"
			}
			for j := range p.Crimps {
				c := &p.Crimps[j]
				stroke++
				c.SetUp, c.Stroke, c.Advised = 1, stroke, c.Setting
				if number == 11 {
					c.Advised = 126
				}
				c.Offset = c.Deviation - crimp.Length(c.Setting-hs08.Setting)*crimp.Thousandth
			}
			a.Pieces[e] = number
			d.Pieces = append(d.Pieces, p)
		}
		long := d.Job.Length + crimp.Length(k%5)*crimp.Millimetre
		a.Checks = []station.CheckEntry{
			{At: at, Points: []string{"length"}, OK: true, Value: &long, Operator: "kj"},
			{At: at, Points: []string{"flushed", "capped"}, OK: k != 2, Operator: "mb"},
		}
		if (k == 2 || k > 3) && a.State == station.Complete {
			a.State = station.ToCheck
		}
		if k <= 3 {
			a.Proofs = []station.ProofEntry{{At: at, Working: 250 * crimp.Bar, Pressure: 500 * crimp.Bar, Hold: 45, OK: true, Operator: "ts"}}
		}
		d.Assemblies = append(d.Assemblies, a)
	}
	if n >= 8 {
		d.Calipers = append(d.Calipers, station.CaliperEntry{
			At: d.Latest, Seq: d.To, Standard: "ring-25", Nominal: 25 * crimp.Millimetre, Value: 25_060_000, Doubt: 160, Operator: "kj",
		})
	}
	return d
}

// crimped is a crimp with three readings.
func crimped(at time.Time, seq uint64, setting int, deviation crimp.Length, outcome crimp.Outcome, reason string) station.CrimpEntry {
	readings := readingsAt(hs08, deviation)
	c := station.CrimpEntry{
		At: at, Seq: seq, Setting: setting, Operator: "kj", Outcome: outcome, Mean: readings[0], Deviation: readings[0] - hs08.Diameter,
		Ovality: 20_000, U: 12_000, Conformity: crimp.Conformity(float64(readings[0]), 12_000, float64(hs08.Lower()), float64(hs08.Upper())), Reason: reason,
	}
	for i, r := range readings {
		c.Readings = append(c.Readings, station.ReadingEntry{Seq: seq + uint64(i) + 1, Value: r})
	}
	return c
}

// handover is a shift with something of everything.
func handover() Handover {
	setting, advised := 124, 127
	return Handover{
		From: shiftStart, To: shiftStart.Add(8 * time.Hour), FirstSeq: 12, LastSeq: 2210, People: []string{"kj", "mb"}, Cage: "C-21",
		Setting: &setting, Advised: &advised,
		Orders: []HandoverOrder{
			{ID: "A-1001", Reference: "pump 3, return line", Spec: "hs-08", State: Finished, Quantity: 12, Made: 26, Complete: 12, Again: 1, Scrapped: 1},
			{ID: "A-1002", Spec: "hs-12", State: Held, Made: 5, Complete: 4, Unmeasured: []string{"A-1002/3"}, Singles: true},
			{ID: "A-1003", Spec: "hs-08, hs-12", State: InWork, Quantity: 40, Made: 11, Complete: 5},
		},
		Care: []HandoverCare{
			{Cage: "C-21", Work: crimp.Lubricate, Due: true, Strokes: 52, Limit: 50, Days: 0},
			{Cage: "C-23", Work: crimp.Teardown, Strokes: 960, Limit: 1000, Days: 3},
			{Work: crimp.Oil, Days: -1},
		},
		Calipers: []station.CaliperEntry{{At: shiftStart, Seq: 13, OK: true, Operator: "kj"}, {At: shiftStart.Add(time.Hour), Seq: 90, Standard: "ring-25", Nominal: 25 * crimp.Millimetre, Value: 25_060_000, Doubt: 14, Operator: "kj"}},
		Doubt:    []HandoverDoubt{{From: 14, To: 90, Pieces: []string{"A-1001/1", "A-1001/2"}}},
		Faults:   []HandoverFault{{Source: "caliper", Reason: "no caliper at the port: look at the cable", Since: shiftStart.Add(7 * time.Hour)}},
	}
}

// traveller is the job card of the sample order.
func traveller() Traveller {
	d := dossier(0)
	job := *d.Job
	job.Quantity = 12
	b := hs12
	return Traveller{Job: job, Cut: d.Cut, Specs: [2]crimp.Spec{hs08, b}, Code: "ORDER A-1001", At: shiftStart}
}

// commands are labels that lie beside the press.
func commands() []Label {
	return []Label{
		{Code: "DO UNDO", Title: "Undo", Lines: []string{"takes the last reading back"}},
		{Code: "DO SAME", Title: "Same piece", Lines: []string{"the last stroke was on the piece before"}},
		{Code: "DO DRY", Title: "Dry stroke", Lines: []string{"the last stroke crimped nothing"}},
		{Code: "DO SET", Title: "Dialled", Lines: []string{"the advised setting is dialled"}},
		{Code: "DO LUBRICATED", Title: "Lubricated"},
	}
}

func pieceCode(piece string) string { return "PIECE " + piece }

// singles is an order of n pieces without a job card, in inches.
func singles(n int) *station.Dossier {
	d := dossier((n + 1) / 2)
	d.Job, d.Cut, d.Ends, d.Points, d.Assemblies, d.Finished = nil, 0, nil, station.Points{}, nil, false
	d.Quantity, d.Pieces = n, d.Pieces[:n]
	d.Starts = d.Starts[:1]
	d.Starts[0].End, d.Starts[0].Spec, d.Starts[0].Parts = crimp.NoEnd, hs12, station.Parts{}
	for i := range d.Pieces {
		p := &d.Pieces[i]
		p.Assembly, p.End, p.Spec, p.Cage, p.Parts = 0, crimp.NoEnd, hs12, "C-23", station.Parts{}
		for j := range p.Crimps {
			c := &p.Crimps[j]
			c.Mean += hs12.Diameter - hs08.Diameter
			for k := range c.Readings {
				c.Readings[k].Value = (c.Readings[k].Value + hs12.Diameter - hs08.Diameter) / 12_700 * 12_700
			}
		}
	}
	return d
}
