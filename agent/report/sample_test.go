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
