package rehearsal

import (
	"encoding/csv"
	"strings"
	"testing"

	"benchtally/agent/crimp"
)

// The file says what Specs says.
func TestWriteSpecs(t *testing.T) {
	var file strings.Builder
	if err := WriteSpecs(&file); err != nil {
		t.Fatal(err)
	}
	rows, err := csv.NewReader(strings.NewReader(file.String())).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	column := map[string]int{}
	for i, name := range rows[0] {
		column[name] = i
	}
	specs := Specs()
	if len(rows) != 1+len(specs) {
		t.Fatalf("%d rows, want %d and the header", len(rows), len(specs))
	}
	for i, s := range specs {
		cell := func(name string) string { return rows[1+i][column[name]] }
		for name, want := range map[string]crimp.Length{
			"diameter": s.Diameter, "plus": s.Plus, "minus": s.Minus, "skive": s.Skive, "insertion": s.Insertion,
		} {
			if want == 0 && cell(name) == "" {
				continue
			}
			got, err := crimp.ParseLength(cell(name))
			if err != nil || got != want {
				t.Errorf("%s: %s %q is %s, %v; want %s", s.ID, name, cell(name), got, err, want)
			}
			if !strings.HasSuffix(cell(name), string(s.Unit)) {
				t.Errorf("%s: %s %q is not in %s", s.ID, name, cell(name), s.Unit)
			}
		}
		for name, want := range map[string]string{"spec": s.ID, "cage": s.Cage, "setting": crimp.Dial(s.Setting), "note": invented} {
			if cell(name) != want {
				t.Errorf("%s: %s %q, want %q", s.ID, name, cell(name), want)
			}
		}
	}
}

// The shop has what its shift needs.
func TestSpecsOfTheShop(t *testing.T) {
	cages, units, again := map[string]int{}, map[crimp.Unit]int{}, 0
	m := newMetal(nil)
	for _, s := range Specs() {
		cages[s.Cage]++
		units[s.Unit]++
		if s.Recrimps == 1 {
			again++
		}
		if m.cages[s.Cage] == nil {
			t.Errorf("%s needs cage %s, which the shop does not have", s.ID, s.Cage)
		}
		// The offset of the worst cage can be dialled away.
		if s.Setting < 40 || s.Setting > 960 {
			t.Errorf("%s: setting %d leaves no room", s.ID, s.Setting)
		}
	}
	if len(cages) != 3 || len(units) != 2 || again == 0 || again == len(Specs()) {
		t.Errorf("cages %v, units %v, %d with another crimp allowed", cages, units, again)
	}
}
