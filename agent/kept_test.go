package main

import (
	"encoding/json"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"testing"
)

// day writes a tape: what is done, one call after the other, in its own time.
type day struct {
	t    float64
	text strings.Builder
}

func (d *day) line(after float64, format string, args ...any) {
	d.t += after
	fmt.Fprintf(&d.text, `{"t":%.1f,`+format+"}\n", append([]any{d.t}, args...)...)
}

func (d *day) do(format string, args ...any) { d.line(1, `"do":`+format, args...) }

func (d *day) stroke() {
	d.line(3, `"level":0`)
	d.line(0.8, `"level":1`)
}

// read sends readings in inches.
func (d *day) read(values ...float64) {
	for _, v := range values {
		d.line(2, `"text":"%+.4f\r\n"`, v)
	}
}

func (d *day) piece(v float64) {
	d.stroke()
	d.read(v, v, v)
}

// keep replays the day into the store of a new shop.
func (d *day) keep(t *testing.T, change string) (config string) {
	t.Helper()
	dir, config := shop(t, change)
	tape := filepath.Join(dir, "tape.jsonl")
	write(t, tape, `{"tape":1,"at":"2026-03-02T06:00:00Z"}`+"\n"+d.text.String())
	if code, _, errs := command(t, "", "replay", tape, "--config", config, "--store", filepath.Join(dir, "bench.db")); code != exitDone {
		t.Fatalf("exit %d: %s", code, errs)
	}
	return config
}

// offsets of twelve pieces, thousandths of an inch.
var offsets = []float64{0.2, 0.1, 0.6, 0.5, 0.9, 1.3, 1.1, 1.6, 1.5, 2.0, 1.9, 2.3}

// wearingDay is an order that wears in, after another one and with a re-crimp,
// a reading withdrawn and a setting changed in between.
func wearingDay() *day {
	d := &day{}
	d.do(`"start","order":"A-1","spec":"hs-12","setting":200`)
	d.stroke()
	d.line(2, `"text":"+38.010mm\r\n"`)
	d.line(2, `"text":"+38.010mm\r\n"`)
	d.line(2, `"text":"+38.010mm\r\n"`)
	d.do(`"finish"`)
	d.do(`"load","cage":"C-21"`)
	d.do(`"start","order":"A-2","spec":"hs-08","setting":120`)
	d.piece(1.2040)
	d.do(`"load","cage":"C-21"`)
	for i, off := range offsets {
		switch i {
		case 4:
			d.do(`"set","setting":119`)
		case 5:
			d.stroke()
			d.read(1.2, 1.2, 1.9)
			d.do(`"undo"`)
			d.read(1.2)
			d.do(`"dry"`) // it was a piece of nothing after all; its readings go to the piece before, which has all
		case 7:
			d.piece(1.2070) // too large
			d.piece(1.2010) // and crimped again
		}
		size := 1.2 + off/1000
		if i >= 4 {
			size -= 0.001
		}
		d.piece(size)
	}
	return d
}

func TestKeptCrimps(t *testing.T) {
	config := wearingDay().keep(t, "")
	dir := filepath.Dir(config)
	chosen := []string{"--config", config, "--cage", "C-21", "--order", "A-2"}
	mm := func(thousandths float64) float64 { return thousandths * 0.0254 }

	// The same numbers by hand: the re-crimped piece counts with its first crimp.
	var uncorrected, asSet, strokes []float64
	uncorrected, asSet = append(uncorrected, mm(4)), append(asSet, mm(4)) // before the cage was loaded again
	stroke := 1.0
	for i, off := range offsets {
		if i == 5 {
			stroke++ // the dry one
		}
		if i == 7 {
			stroke += 2
			uncorrected, asSet = append(uncorrected, mm(8)), append(asSet, mm(7))
			strokes = append(strokes, stroke-1)
		}
		stroke++
		uncorrected = append(uncorrected, mm(off))
		strokes = append(strokes, stroke)
		if i >= 4 {
			off--
		}
		asSet = append(asSet, mm(off))
	}
	numbers := func(values []float64) string {
		name := filepath.Join(dir, "values.txt")
		var text strings.Builder
		for _, v := range values {
			fmt.Fprintf(&text, "%.9f\n", v)
		}
		write(t, name, text.String())
		return name
	}
	// same wants an answer about kept crimps to be that about a file of their values.
	same := func(t *testing.T, kept, file []string) map[string]any {
		t.Helper()
		got, want := asked(t, "", kept...), asked(t, "", file...)
		for key, w := range want {
			if !alike(got[key], w) {
				t.Errorf("%s: %v, from a file %v", key, got[key], w)
			}
		}
		return got
	}

	t.Run("chart", func(t *testing.T) {
		for _, kind := range []string{"individuals", "ewma", "cusum"} {
			got := same(t, append([]string{"chart", "--kind", kind}, chosen...), []string{"chart", "--kind", kind, numbers(asSet)})
			if pieces := got["pieces"].([]any); len(pieces) != 14 || pieces[0] != "A-2/1" || got["unit"] != "mm" || got["series"] != "as-set" {
				t.Errorf("%d pieces from %v on, unit %v, series %v", len(pieces), pieces[0], got["unit"], got["series"])
			}
			same(t, append([]string{"chart", "--kind", kind, "--series", "uncorrected"}, chosen...), []string{"chart", "--kind", kind, numbers(uncorrected[1:])})
		}
	})
	t.Run("capability", func(t *testing.T) {
		got := same(t, append([]string{"capability"}, chosen...), []string{"capability", "--lower", "-0.127", "--upper", "0.127", numbers(asSet)})
		if got["spec"] != "hs-08" || got["upper_mm"] != 0.127 || got["lower_mm"] != -0.127 {
			t.Errorf("%v %v %v", got["spec"], got["lower_mm"], got["upper_mm"])
		}
	})
	t.Run("trend", func(t *testing.T) {
		name := filepath.Join(dir, "trend.csv")
		var text strings.Builder
		text.WriteString("x,y\n")
		for i, x := range strokes {
			fmt.Fprintf(&text, "%g,%.9f\n", x, uncorrected[i+1])
		}
		write(t, name, text.String())
		// The last setting is one below the sheet's, so pieces leave the upper limit, 5
		// thousandths, at an offset of 6.
		got := same(t, append([]string{"trend"}, chosen...), []string{"trend", "--limit", fmt.Sprint(mm(6)), name})
		if got["cage"] != "C-21" || got["upper_mm"] != 0.1524 || got["lower_mm"] != -0.1016 {
			t.Errorf("cage %v, offsets from %v to %v", got["cage"], got["lower_mm"], got["upper_mm"])
		}
	})
	t.Run("judge", func(t *testing.T) {
		code, out, errs := command(t, "", append([]string{"judge", "--confidence", "0.95", "--u", "0.001in"}, chosen...)...)
		if code != exitDone {
			t.Fatalf("exit %d: %s", code, errs)
		}
		var got []string
		for line := range strings.Lines(out) {
			var v struct {
				Piece, Outcome, Was, Zone string
				Crimp                     int
			}
			if err := json.Unmarshal([]byte(line), &v); err != nil {
				t.Fatal(err)
			}
			if v.Outcome != v.Was {
				got = append(got, fmt.Sprintf("%s crimp %d: %s, was %s, %s", v.Piece, v.Crimp, v.Outcome, v.Was, v.Zone))
			}
		}
		// Limits ±5, guard band 1.645: 4 was a pass.
		if want := []string{"A-2/1 crimp 1: unsure, was pass, near-inside"}; !slices.Equal(got, want) {
			t.Errorf("changed: %q, want %q", got, want)
		}
		if code, out, _ := command(t, "", append([]string{"judge", "--piece", "A-2/9"}, chosen...)...); code != exitDone || strings.Count(out, "\n") != 2 {
			t.Errorf("exit %d, %q, want both crimps of the piece", code, out)
		}
	})
	t.Run("since", func(t *testing.T) {
		got := asked(t, "", "chart", "--kind", "individuals", "--config", config, "--since", "2026-03-02T06:01:00Z", "--until", "2026-03-02T06:01:45Z")
		if n := got["n"].(float64); n < 2 || n > 6 {
			t.Errorf("%v crimps", n)
		}
	})
}

// alike compares JSON values; numbers by nine digits.
func alike(got, want any) bool {
	switch w := want.(type) {
	case float64:
		g, ok := got.(float64)
		return ok && (g-w) <= 1e-7*max(1e-3, w, -w) && (w-g) <= 1e-7*max(1e-3, w, -w)
	case []any:
		g, ok := got.([]any)
		if !ok || len(g) != len(w) {
			return false
		}
		for i := range w {
			if !alike(g[i], w[i]) {
				return false
			}
		}
		return true
	case map[string]any:
		g, ok := got.(map[string]any)
		for key := range w {
			ok = ok && alike(g[key], w[key])
		}
		return ok
	default:
		return reflect.DeepEqual(got, want)
	}
}

// TestTrendBeyondTheLimits: where crimps are beyond the limits already there is
// nothing to look ahead to.
func TestTrendBeyondTheLimits(t *testing.T) {
	d := &day{}
	d.do(`"start","order":"A-1","spec":"hs-16","setting":131`)
	for i := range 6 {
		d.piece(1.905 + 0.0095 + float64(i)/1000 - float64(i%2)/2000)
		if i > 0 {
			d.piece(1.905) // and crimped again
		}
	}
	got := asked(t, "", "trend", "--config", d.keep(t, ""))
	if got["forecast"] != "none" || !strings.Contains(got["reason"].(string), "131, crimps are beyond the limits already") || got["crossing"] != nil {
		t.Errorf("forecast %v, reason %v", got["forecast"], got["reason"])
	}
}

// TestKeptStudy: a gauge study at the press is that of a file with its readings.
func TestKeptStudy(t *testing.T) {
	d := &day{}
	var file strings.Builder
	file.WriteString("part,appraiser,value\n")
	size := func(piece, place, operator, trial int) float64 {
		return 1.2 + float64(piece)/1000 + float64(place)/2000 + float64((operator*7+trial*5+piece*3+place)%4)/10_000
	}
	for operator, name := range []string{"kj", "mb"} {
		d.do(`"start","order":"A-1","spec":"hs-09","setting":170,"operator":"%s"`, name)
		for trial := range 2 {
			for piece := range 3 {
				if operator == 0 && trial == 0 {
					d.stroke()
				} else {
					d.do(`"measure","piece":"A-1/%d"`, piece+1)
				}
				for place := range 2 {
					v := size(piece, place, operator, trial)
					if piece == 1 && place == 1 { // a slip, taken back
						d.read(1.3)
						d.do(`"undo"`)
					}
					d.read(v)
					fmt.Fprintf(&file, "p%d place %d,%s,%.6f\n", piece, place, name, v*25.4)
				}
			}
		}
	}
	config := d.keep(t, "")
	name := filepath.Join(filepath.Dir(config), "study.csv")
	write(t, name, file.String())
	got, want := asked(t, "", "gauge", "--config", config, "--order", "A-1", "--tolerance", "0.254"), asked(t, "", "gauge", "--tolerance", "0.254", name)
	for key, w := range want {
		if !alike(got[key], w) {
			t.Errorf("%s: %v, from a file %v", key, got[key], w)
		}
	}
	if code, _, errs := command(t, "", "gauge", "--config", config, "--part", "piece"); code != exitDone {
		t.Errorf("by piece: exit %d, %s", code, errs)
	}
	// A reading more makes the study uneven.
	d.do(`"measure","piece":"A-1/2"`)
	d.read(1.2)
	uneven := d.keep(t, "")
	code, _, errs := command(t, "", "gauge", "--config", uneven)
	if code != exitUsage || !strings.Contains(errs, "A-1/2, place 1") {
		t.Errorf("exit %d: %s", code, errs)
	}
}

// TestBudget: the budget of a specification, by hand: 20 µm/√3, 12.7 µm/√12, and of
// a zero of −10 µm all of it and the rounding of its reading.
func TestBudget(t *testing.T) {
	_, config := shop(t, "[measure]\nplaces = 4\nconfidence = 0.95\n")
	got := asked(t, "", "budget", "--config", config, "--spec", "hs-08", "--zero", "-0.01mm", "--json")
	u := 0.0
	for i, want := range []float64{0.011547, 0.003666, 0.010651} {
		part := got["components"].([]any)[i].(map[string]any)
		if part["u_mm"] != want {
			t.Errorf("%v = %v, want %v", part["name"], part["u_mm"], want)
		}
		u += want * want
	}
	for key, want := range map[string]float64{"u_mm": math.Sqrt(u), "expanded_mm": 1.959964 * math.Sqrt(u), "guard_mm": 1.644854 * math.Sqrt(u)} {
		if x := got[key].(float64); math.Abs(x-want) > 2e-6 {
			t.Errorf("%s = %v, want %v", key, x, want)
		}
	}
	inside, outside := got["inside_mm"].([]any), got["outside_mm"].([]any)
	if inside[0].(float64)-got["lower_mm"].(float64)-got["guard_mm"].(float64) > 1e-9 || outside[1].(float64)-got["upper_mm"].(float64)-got["guard_mm"].(float64) > 1e-9 {
		t.Errorf("inside %v, outside %v", inside, outside)
	}
	if got["judged"] != true || got["places"] != 4.0 {
		t.Errorf("judged %v, places %v", got["judged"], got["places"])
	}
	code, text, _ := command(t, "", "budget", "--config", config)
	for _, want := range []string{"hs-08: 1.2000 in +0.0050 in -0.0050 in, the mean of 4 readings", "hs-12: 38.000 mm", "guard band", "at 95 % confidence\n", "µm"} {
		if code != exitDone || !strings.Contains(text, want) {
			t.Errorf("exit %d, no %q in\n%s", code, want, text)
		}
	}
	_, config = shop(t, "[measure]\nu = '0.05mm'\nconfidence = 0.95\n")
	if _, text, _ := command(t, "", "budget", "--config", config, "--spec", "hs-12"); !strings.Contains(text, "configured") || strings.Contains(text, "none") {
		t.Errorf("%s", text)
	}
	_, config = shop(t, "[measure]\nu = '0.09mm'\nconfidence = 0.95\n")
	if got := asked(t, "", "budget", "--config", config, "--spec", "hs-12", "--json"); got["inside_mm"].([]any)[0] != nil {
		t.Errorf("inside %v, want none", got["inside_mm"])
	}
}

// TestKeptWrong: what cannot be chosen is said, with how to choose.
func TestKeptWrong(t *testing.T) {
	config := wearingDay().keep(t, "")
	values := filepath.Join(filepath.Dir(config), "values.txt")
	write(t, values, "1\n2\n3\n")
	for _, c := range []struct {
		args []string
		code int
		says []string
	}{
		{[]string{"chart", "--kind", "ewma", "--config", config, "--order", "A-9"}, exitUsage, []string{"no measured crimp of order A-9", "benchtally log"}},
		{[]string{"chart", "--kind", "ewma", "--config", config, values}, exitUsage, []string{"--config", "one or the other"}},
		{[]string{"chart", "--kind", "ewma", "--config", config, "--order", "A-1"}, exitUsage, []string{"the first crimps of order A-1", "want"}},
		{[]string{"chart", "--kind", "ewma", "--config", config, "--since", "noon"}, exitUsage, []string{"--since", "noon"}},
		{[]string{"chart", "--kind", "ewma", "--config", filepath.Join(filepath.Dir(config), "none.toml")}, exitUsage, []string{"none.toml"}},
		{[]string{"capability", "--config", config}, exitUsage, []string{"2 specifications, hs-12, hs-08", "--spec"}},
		{[]string{"capability", "--config", config, "--lower", "0", "--upper", "1"}, exitUsage, []string{"--lower", "no file"}},
		{[]string{"capability", values}, exitUsage, []string{"--lower", "--upper"}},
		{[]string{"trend", "--config", config}, exitUsage, []string{"2 cages, C-30, C-21", "--cage"}},
		{[]string{"trend", "--config", config, "--order", "A-1"}, exitUsage, []string{"C-30", "the 1 first crimp of order A-1"}},
		{[]string{"gauge", "--config", config, "--order", "A-2"}, exitUsage, []string{"A-2/1", "no operator was named"}},
		{[]string{"gauge", "--config", config, "--order", "A-9"}, exitUsage, []string{"no reading of order A-9"}},
		{[]string{"gauge", "--config", config, "--reference", "1", "--tolerance", "1"}, exitUsage, []string{"--reference", "no file"}},
		{[]string{"judge", "--config", config, "--order", "A-1", "1.2in"}, exitUsage, []string{"--config", "one or the other"}},
		{[]string{"judge", "--piece", "A-1/1", "1.2in"}, exitUsage, []string{"--piece"}},
		{[]string{"judge", "--target", "1.2in"}, exitUsage, []string{"no readings"}},
		{[]string{"judge", "--target", "1.2in", "1.2in"}, exitUsage, []string{"--plus", "--minus", "--setting"}},
		{[]string{"chart", "--kind", "ewma", "--config", config, "--series", "uncorrected"}, exitUsage, []string{"2 cages", "--cage"}},
		{[]string{"chart", "--kind", "ewma", "--series", "uncorrected", values}, exitUsage, []string{"--series", "kept crimps"}},
		{[]string{"gauge", "--part", "piece", values}, exitUsage, []string{"--part", "kept readings"}},
		{[]string{"budget", "--config", config, "--resolution", "-0.01mm"}, exitUsage, []string{"--resolution -0.01mm", "more than 0"}},
		{[]string{"budget", "--config", config, "--spec", "hs-99"}, exitUsage, []string{"hs-99", "no such specification"}},
		{[]string{"judge", "--config", config, "--recrimps", "1"}, exitUsage, []string{"--recrimps", "with readings"}},
		{[]string{"judge", "--target", "30mm", "--plus", "0.1mm", "--minus", "31mm", "--setting", "120", "30mm"}, exitUsage, []string{"--minus 31mm", "less than the target"}},
		{[]string{"judge", "--target", "30mm", "--plus", "0mm", "--minus", "0mm", "--setting", "120", "30mm"}, exitUsage, []string{"both nothing"}},
		{[]string{"judge", "--target", "30mm", "--plus", "1mm", "--minus", "1mm", "--setting", "1_0", "30mm"}, exitUsage, []string{"--setting", "1_0", "085"}},
		{[]string{"replay", filepath.Dir(config), "--config", config}, exitUsage, []string{"folder"}},
		{[]string{"judge", "--config", config, "--piece", "A-1/7"}, exitUsage, []string{"A-1/7"}},
	} {
		code, out, errs := command(t, "", c.args...)
		if code != c.code || out != "" {
			t.Errorf("%q: exit %d, %q", c.args[:2], code, out)
		}
		for _, s := range c.says {
			if !strings.Contains(errs, s) {
				t.Errorf("%q: %q does not say %q", c.args, errs, s)
			}
		}
	}
	if err := os.Remove(filepath.Join(filepath.Dir(config), "bench.db")); err != nil {
		t.Fatal(err)
	}
	if code, _, errs := command(t, "", "trend", "--config", config); code != exitFault || !strings.Contains(errs, "store") {
		t.Errorf("without a store: exit %d, %s", code, errs)
	}
}
