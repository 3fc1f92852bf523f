package frame

import (
	"encoding/hex"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"benchtally/agent/crimp"
)

// vectors are one file per case, named after it:
// testdata/caliper/<format>/<case>.hex, the bytes of one frame as hexadecimal
// digits, and <case>.want. A first line "# unit mm" in the .hex file sets the
// configured unit, which is inches otherwise.
const vectors = "../../testdata/caliper"

type vector struct {
	name, format string
	unit         crimp.Unit
	bytes        []byte
	want         string
}

func readVectors(t testing.TB) []vector {
	t.Helper()
	files, err := filepath.Glob(filepath.Join(vectors, "*", "*.hex"))
	if err != nil || len(files) == 0 {
		t.Fatalf("no vectors under %s: %v", vectors, err)
	}
	var vs []vector
	for _, file := range files {
		v := vector{unit: crimp.Inches, format: filepath.Base(filepath.Dir(file))}
		v.name = v.format + "/" + strings.TrimSuffix(filepath.Base(file), ".hex")
		text, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		for line := range strings.Lines(string(text)) {
			line = strings.TrimSpace(line)
			if unit, ok := strings.CutPrefix(line, "# unit "); ok {
				v.unit = crimp.Unit(strings.TrimSpace(unit))
				if v.unit == "none" {
					v.unit = ""
				}
				continue
			}
			b, err := hex.DecodeString(strings.ReplaceAll(line, " ", ""))
			if err != nil {
				t.Fatalf("%s: %v", file, err)
			}
			v.bytes = append(v.bytes, b...)
		}
		want, err := os.ReadFile(strings.TrimSuffix(file, ".hex") + ".want")
		if err != nil {
			t.Fatal(err)
		}
		v.want = strings.TrimSpace(string(want))
		vs = append(vs, v)
	}
	return vs
}

// tell writes what Decode said as the .want files do.
func tell(r Reading, err error) string {
	switch {
	case err == ErrBattery:
		return "battery"
	case err == ErrIdentification:
		return "ignored"
	case err != nil:
		return "refused: " + err.Error()
	}
	s := fmt.Sprintf("reading %d nm, step %d nm, %s, %s", r.Value, r.Step, r.Unit, r.Format)
	if r.LowBattery {
		s += ", low battery"
	}
	return s
}

func TestVectors(t *testing.T) {
	for _, v := range readVectors(t) {
		t.Run(v.name, func(t *testing.T) {
			d, err := New(v.format, v.unit)
			if err != nil {
				t.Fatal(err)
			}
			if got := tell(d.Decode(v.bytes)); got != v.want {
				t.Errorf("%q\n got %s\nwant %s", v.bytes, got, v.want)
			}
		})
	}
}

// What a named format reads, auto reads as the same, or calls it ambiguous when
// it is nothing but digits.
func TestAutoAgrees(t *testing.T) {
	for _, v := range readVectors(t) {
		if v.format == Auto || !strings.HasPrefix(v.want, "reading") {
			continue
		}
		t.Run(v.name, func(t *testing.T) {
			d, err := New(Auto, v.unit)
			if err != nil {
				t.Fatal(err)
			}
			r, err := d.Decode(v.bytes)
			if _, digits := shape(trim(v.bytes)); digits {
				if err == nil {
					t.Errorf("%q: digits alone were read as %s", v.bytes, tell(r, err))
				}
				return
			}
			if got := tell(r, err); got != v.want {
				t.Errorf("%q\n got %s\nwant %s", v.bytes, got, v.want)
			}
		})
	}
}

func TestNew(t *testing.T) {
	if _, err := New("roman", crimp.Inches); err == nil || !strings.Contains(err.Error(), "want one of auto, decimal, decimal-unit, tagged, bcd-13, word-24") {
		t.Errorf("unknown format: %v", err)
	}
	if _, err := New(Auto, "ft"); err == nil {
		t.Error("unknown unit was taken")
	}
	if _, err := (Decoder{}).Decode([]byte("+1.20")); err == nil {
		t.Error("the zero decoder read something")
	}
}

func TestEncode(t *testing.T) {
	for _, row := range []struct {
		name, format string
		value        crimp.Length
		unit         crimp.Unit
		want         string
	}{
		{"inches", Decimal, 30_581_600, crimp.Inches, "+1.2040\r\n"},
		{"negative", Decimal, -10_000, crimp.Millimetres, "-0.01\r\n"},
		{"finer than usual", Decimal, 254, crimp.Inches, "+0.00001\r\n"},
		{"coarser than usual", Decimal, 1_000_000, crimp.Millimetres, "+1.00\r\n"},
		{"unit", DecimalUnit, 25_400_000, crimp.Millimetres, "+25.40 MM\r\n"},
		{"tagged", Tagged, 12_345_000, crimp.Millimetres, "01A+00012.345\r\n"},
		{"thirteen digits", BCD13, -12_345_000, crimp.Millimetres, "FFFF801234530\r\n"},
		{"thirteen digits, inches", BCD13, 31_356_300, crimp.Inches, "FFFF001234541\r\n"},
		{"word", Word24, 25_400_000, crimp.Millimetres, "0009EC\r\n"},
		{"word, negative", Word24, -1_230_000, crimp.Millimetres, "10007B\r\n"},
		{"word, inches", Word24, 31_356_300, crimp.Inches, "8009A5\r\n"},
	} {
		t.Run(row.name, func(t *testing.T) {
			got, err := Encode(row.format, row.value, row.unit)
			if err != nil || string(got) != row.want {
				t.Errorf("got %q, %v; want %q", got, err, row.want)
			}
		})
	}
	for _, row := range []struct {
		name, format string
		value        crimp.Length
		unit         crimp.Unit
	}{
		{"not exact in inches", Decimal, 10_001, crimp.Inches},
		{"not a hundredth", Word24, 1_000, crimp.Millimetres},
		{"six decimals", BCD13, 1, crimp.Millimetres},
		{"too long", Decimal, maxValue + 1, crimp.Millimetres},
		{"smallest number", Decimal, -1 << 63, crimp.Millimetres},
		{"auto is no format of a frame", Auto, 0, crimp.Millimetres},
		{"no unit", Decimal, 0, ""},
	} {
		t.Run(row.name, func(t *testing.T) {
			if got, err := Encode(row.format, row.value, row.unit); err == nil {
				t.Errorf("got %q, want an error", got)
			}
		})
	}
}

func TestRaw(t *testing.T) {
	for in, want := range map[string]string{
		"+1.2040\r\n":  "+1.2040",
		"+1.\x000\xff": `+1.\x000\xff`,
		`a\b`:          `a\\b`,
		"\r\n":         "",
		"a\rb\n":       `a\x0db`,
	} {
		if got := Raw([]byte(in)); got != want {
			t.Errorf("Raw(%q) = %q, want %q", in, got, want)
		}
	}
}

func TestDecodeDoesNotAllocate(t *testing.T) {
	for name, in := range benchFrames {
		d, _ := New(name, crimp.Inches)
		if n := testing.AllocsPerRun(100, func() { sink, errSink = d.Decode(in) }); n != 0 || errSink != nil {
			t.Errorf("%s: %v allocations, %v", name, n, errSink)
		}
	}
}

var (
	sink        Reading
	errSink     error
	benchFrames = map[string][]byte{
		Auto:        []byte("+1.2040\r\n"),
		Decimal:     []byte("+1.2040\r\n"),
		DecimalUnit: []byte("+  1.2345 ,IN\r\n"),
		Tagged:      []byte("01A+00012.345\r"),
		BCD13:       []byte("FFFF001234541\r\n"),
		Word24:      []byte("8009A5\r\n"),
	}
)

func BenchmarkDecode(b *testing.B) {
	for _, name := range Names() {
		in := benchFrames[name]
		d, err := New(name, crimp.Inches)
		if err != nil {
			b.Fatal(err)
		}
		b.Run(name, func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				if _, err := d.Decode(in); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

func FuzzDecode(f *testing.F) {
	for _, v := range readVectors(f) {
		f.Add(v.bytes)
	}
	f.Fuzz(func(t *testing.T, b []byte) {
		for _, name := range Names() {
			for _, unit := range []crimp.Unit{crimp.Inches, crimp.Millimetres, ""} {
				d, err := New(name, unit)
				if err != nil {
					t.Fatal(err)
				}
				before := string(b)
				r, err := d.Decode(b)
				if string(b) != before {
					t.Fatal("the frame was changed")
				}
				if err != nil {
					var why Refusal
					if !errors.As(err, &why) || why == "" {
						t.Fatalf("%s %q: refused without a reason: %v", name, b, err)
					}
					continue
				}
				check(t, name, b, r)
			}
		}
	})
}

// check holds for every reading of every format.
func check(t *testing.T, name string, b []byte, r Reading) {
	t.Helper()
	for _, c := range trim(b) {
		if c < ' ' || c >= 0x7F {
			t.Fatalf("%s read %q in spite of byte %#x", name, b, c)
		}
	}
	if r.Step <= 0 || r.Value%r.Step != 0 || r.Value.Abs() > maxValue {
		t.Fatalf("%s %q: value %d, step %d", name, b, r.Value, r.Step)
	}
	if name != Auto && r.Format != name {
		t.Fatalf("%s %q: says format %s", name, b, r.Format)
	}
	sent, err := Encode(r.Format, r.Value, r.Unit)
	if err != nil {
		t.Fatalf("%s %q: read %s, but: %v", name, b, r.Value, err)
	}
	d, _ := New(r.Format, r.Unit)
	again, err := d.Decode(sent)
	if err != nil || again.Value != r.Value || again.Unit != r.Unit {
		t.Fatalf("%s %q: %s came back as %s, %v", name, sent, r.Value, again.Value, err)
	}
}
