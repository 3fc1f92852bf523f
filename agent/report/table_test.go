package report

import (
	"bytes"
	"encoding/csv"
	"strconv"
	"strings"
	"testing"
	"unicode/utf8"

	"benchtally/agent/station"
)

// readTable is a table by its heads.
func readTable(t *testing.T, b []byte, comma rune) []map[string]string {
	t.Helper()
	rest, marked := bytes.CutPrefix(b, []byte("\xef\xbb\xbf"))
	if !marked || !utf8.Valid(rest) {
		t.Error("it does not say that it is UTF-8, or is not")
	}
	r := csv.NewReader(bytes.NewReader(rest))
	r.Comma = comma
	rows, err := r.ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	var all []map[string]string
	for _, row := range rows[1:] {
		m := map[string]string{}
		for i, head := range rows[0] {
			if _, twice := m[head]; twice {
				t.Errorf("two columns are called %q", head)
			}
			m[head] = row[i]
		}
		all = append(all, m)
	}
	return all
}

func TestTable(t *testing.T) {
	for name, c := range map[string]struct {
		comma bool
		with  rune
		want  map[string]string
	}{
		"point": {false, ',', map[string]string{"target (mm)": "30.58", "mean (mm)": "30.64", "deviation (mm)": "0.06", "reading 2 (mm)": "30.63", "conformity, per cent": "99.9571"}},
		"comma": {true, ';', map[string]string{"target (mm)": "30,58", "mean (mm)": "30,64", "deviation (mm)": "0,06", "reading 2 (mm)": "30,63", "conformity, per cent": "99,9571"}},
	} {
		t.Run(name, func(t *testing.T) {
			o := options
			o.Language = plain{comma: c.comma}
			rows := readTable(t, paper(t)(Table(dossier(12), o)), c.with)
			if len(rows) != 25 {
				t.Fatalf("%d rows, want 25: 24 pieces, one crimped again", len(rows))
			}
			for head, want := range map[string]string{
				"order": "A-1001", "assembly": "1", "end": "A", "piece": "A-1001/1", "crimp": "1", "record": "20",
				"time (UTC)": "2026-03-02 06:04:00", "time (CET)": "2026-03-02 07:04:00", "setting (counts)": "124", "readings in doubt": "0",
				"what it says": "within limits", "hose lot": "H-4411", "fitting": "DKOL 15", "operator": "kj",
			} {
				if rows[0][head] != want {
					t.Errorf("%s: %q, want %q", head, rows[0][head], want)
				}
			}
			for head, want := range c.want {
				if rows[0][head] != want {
					t.Errorf("%s: %q, want %q", head, rows[0][head], want)
				}
			}
			if r := rows[5]; r["piece"] != "A-1001/6" || r["what it says"] != "too large, crimped again" {
				t.Errorf("sixth row %v", r)
			}
			if r := rows[13]; r["piece"] != "A-1001/13" || r["what it says"] != "not measured" || r["mean (mm)"] != "" || r["reading 1 (mm)"] != "" || r["conformity, per cent"] != "" {
				t.Errorf("row of a piece without readings %v", r)
			}
			if r := rows[15]; r["readings in doubt"] != "1" {
				t.Errorf("row of a reading in doubt %v", r)
			}
		})
	}
}

func TestTableInInches(t *testing.T) {
	rows := readTable(t, paper(t)(Table(singles(3), options)), ',')
	if r := rows[0]; r["target (in)"] != "1.204" || r["reading 2 (in)"] != "1.2055" || r["assembly"] != "" {
		t.Errorf("%v", r)
	}
	empty := readTable(t, paper(t)(Table(&station.Dossier{Order: "A-1"}, options)), ',')
	if len(empty) != 0 {
		t.Errorf("%d rows of nothing", len(empty))
	}
}

// What people wrote is never run; what was measured stays a number.
func TestTableIsNoProgram(t *testing.T) {
	d := dossier(2)
	wild := []string{
		"=1+1", "+cmd|' /C calc'!A0", "-2+3", "@SUM(A1)", "\t=1", "\r=1", " =1", "\u00a0=1", "＝1", "|x", "plain", "a=1", `"=1"`, "x\n=1", "'=1", "",
	}
	for i, name := range wild {
		d.Pieces[i%4].Crimps[0].Operator, d.Pieces[i%4].Parts.Hose.Lot, d.Pieces[i%4].Spec.ID = name, name, name
		d.Order, d.Pieces[0].Crimps[0].Reason, d.Pieces[i%4].Scrap = name, name, name
		for _, with := range []rune{',', ';'} {
			o := options
			o.Language = plain{comma: with == ';'}
			for _, r := range readTable(t, paper(t)(Table(d, o)), with) {
				for head, cell := range r {
					_, err := strconv.ParseFloat(strings.Replace(cell, ",", ".", 1), 64)
					if begin := strings.TrimLeft(cell, " \u00a0\u200b\ufeff"); begin != "" && err != nil && strings.ContainsAny(begin[:1], "=+-@\t\r|%") {
						t.Errorf("%s: %q would be run", head, cell)
					}
				}
				if dev := r["deviation (mm)"]; strings.HasPrefix(dev, "'") {
					t.Errorf("the deviation %q is no number", dev)
				}
			}
		}
	}
	for in, want := range map[string]string{"=1": "'=1", "-5": "'-5", "＋1": "'＋1", "A-1001": "A-1001", "": "", "\n-1": "'\n-1"} {
		if got := text(in); got != want {
			t.Errorf("%q becomes %q, want %q", in, got, want)
		}
	}
}

// Whatever a text is, no spreadsheet reads a formula in it, and it can be had back.
func FuzzText(f *testing.F) {
	for _, s := range []string{"=1", " =1", "\xff=1", "'=", "a"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		got := text(s)
		if strings.TrimPrefix(got, "'") != s && got != s {
			t.Errorf("%q becomes %q", s, got)
		}
		if begin := strings.TrimSpace(got); begin != "" && strings.ContainsAny(begin[:1], "=+-@") {
			t.Errorf("%q would be run", got)
		}
	})
}
