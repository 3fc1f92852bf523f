package rehearsal

import (
	"encoding/csv"
	"io"
	"strconv"

	"benchtally/agent/crimp"
)

// Specs are the invented shop's specifications, on three die cages. They are no
// maker's: never crimp to them.
func Specs() []crimp.Spec {
	const in, mm = crimp.Inch / 1000, crimp.Millimetre / 100
	return []crimp.Spec{
		{
			ID: "hs-08", Cage: "C-21", Unit: crimp.Inches, Diameter: 1200 * in, Plus: 5 * in, Minus: 5 * in, Setting: 120, Recrimps: 1,
			Hose: "two-wire 8", Fitting: "swivel 8", Size: "8", Insertion: 1250 * in, Revision: "A", Note: invented,
		},
		{
			ID: "hs-09", Cage: "C-21", Unit: crimp.Inches, Diameter: 1250 * in, Plus: 6 * in, Minus: 6 * in, Setting: 170, Recrimps: 1,
			Hose: "one-wire 8", Fitting: "elbow 8", Size: "8", Insertion: 1250 * in, Places: 1, Revision: "A", Note: invented,
		},
		{
			ID: "hs-04", Cage: "C-16", Unit: crimp.Inches, Diameter: 812 * in, Plus: 4 * in, Minus: 4 * in, Setting: 262,
			Hose: "two-wire 4", Fitting: "swivel 4", Size: "4", Insertion: 875 * in, Revision: "B", Note: invented,
		},
		{
			ID: "hs-12", Cage: "C-30", Unit: crimp.Millimetres, Diameter: 3800 * mm, Plus: 10 * mm, Minus: 10 * mm, Setting: 196, Recrimps: 1,
			Hose: "four-spiral 12", Fitting: "flange 12", Size: "12", Skive: 3200 * mm, Insertion: 4100 * mm, Revision: "A", Note: invented,
		},
		{
			ID: "hs-13", Cage: "C-30", Unit: crimp.Millimetres, Diameter: 3960 * mm, Plus: 12 * mm, Minus: 8 * mm, Setting: 259, Recrimps: 1,
			Hose: "six-spiral 12", Fitting: "flange 12", Size: "12", Skive: 3400 * mm, Insertion: 4100 * mm, Revision: "C", Note: invented,
		},
	}
}

const invented = "invented for the demonstration, never crimp to it"

// WriteSpecs writes the shop's specifications as a specs file.
func WriteSpecs(w io.Writer) error {
	out := csv.NewWriter(w)
	rows := [][]string{{
		"spec", "cage", "diameter", "plus", "minus", "setting", "hose", "fitting", "size",
		"recrimps", "skive", "insertion", "places", "revision", "note",
	}}
	for _, s := range Specs() {
		length := func(l crimp.Length) string {
			switch {
			case l == 0:
				return ""
			case s.Unit == crimp.Inches:
				return strconv.FormatFloat(float64(l)/float64(crimp.Inch), 'f', 3, 64) + "in"
			default:
				return l.String()
			}
		}
		places := ""
		if s.Places > 0 {
			places = strconv.Itoa(s.Places)
		}
		rows = append(rows, []string{
			s.ID, s.Cage, length(s.Diameter), length(s.Plus), length(s.Minus), crimp.Dial(s.Setting), s.Hose, s.Fitting, s.Size,
			strconv.Itoa(s.Recrimps), length(s.Skive), length(s.Insertion), places, s.Revision, s.Note,
		})
	}
	return out.WriteAll(rows)
}

// spec is one of the shop's specifications.
func spec(id string) crimp.Spec {
	for _, s := range Specs() {
		if s.ID == id {
			return s
		}
	}
	panic("rehearsal: no spec " + id)
}
