package words

import (
	"testing"
	"time"

	"benchtally/agent/crimp"
)

func TestNumbers(t *testing.T) {
	en, es, de := In("en"), In("es"), In("de")
	at := time.Date(2026, 3, 2, 6, 5, 0, 0, time.UTC)
	for _, c := range []struct{ got, want string }{
		{en.Length(30_580_000, crimp.Millimetres, 3), "30.580 mm"},
		{es.Length(30_580_000, crimp.Millimetres, 3), "30,580 mm"},
		{de.Length(30_580_000, crimp.Millimetres, 3), "30,580 mm"},
		{de.Length(-25_400, crimp.Inches, 4), "−0,0010 in"},
		{de.Length(12_345*crimp.Millimetre, crimp.Millimetres, 0), "12345 mm"},
		{en.Number(-1234.5, 1), "−1234.5"},
		{de.Number(1234.5, 2), "1234,50"},
		{de.Number(0, 0), "0"},
		{de.Decimal("-0.5"), "−0,5"},
		{de.Clock(at), "02.03.2026 06:05"}, {en.Clock(at), "2026-03-02 06:05"}, {es.Clock(at.Add(12 * time.Hour)), "02/03/2026 18:05"},
		{de.Date(at), "02.03.2026"}, {en.Date(at), "2026-03-02"}, {es.Date(at), "02/03/2026"}, {Tongue{}.Date(at), "2026-03-02"},
	} {
		if c.got != c.want {
			t.Errorf("got %q, want %q", c.got, c.want)
		}
	}
}

func TestReadDecimal(t *testing.T) {
	en, de := In("en"), In("de")
	for typed, want := range map[string]string{" 30.58 ": "30.58", "-0.5": "-0.5", "−0.5": "-0.5", "7": "7", ".5": ".5", "+1": "+1"} {
		for _, in := range []Tongue{en, de} {
			if got, err := in.ReadDecimal(typed); got != want || err != nil {
				t.Errorf("%s %q: %q, %v, want %q", in.Code(), typed, got, err, want)
			}
		}
	}
	if got, err := de.ReadDecimal("30,58"); got != "30.58" || err != nil {
		t.Errorf("decimal comma: %q, %v", got, err)
	}
	if got, err := en.ReadDecimal("30,58"); err == nil {
		t.Errorf("a comma in English gives %q", got)
	}
	for _, typed := range []string{"1,204.5", "1.204,5", "1,2,3", "1.2.3", "", ".", ",", "--1", "1e3", "0x10", "1 2", "abc", "∞"} {
		for _, in := range []Tongue{en, de} {
			if got, err := in.ReadDecimal(typed); err == nil {
				t.Errorf("%s %q gives %q", in.Code(), typed, got)
			}
		}
	}
}

// What the page writes can be typed in again, whatever the language.
func FuzzReadDecimal(f *testing.F) {
	f.Add(int64(30_580_000), "1,204.5")
	f.Fuzz(func(t *testing.T, n int64, typed string) {
		for _, code := range Languages() {
			in := In(code)
			written := in.Number(float64(n)/1e6, 3)
			got, err := in.ReadDecimal(written)
			if want := English; err != nil || In(want).Number(float64(n)/1e6, 3) != In(want).Decimal(got) {
				t.Fatalf("%s: %q is read as %q, %v", code, written, got, err)
			}
			if got, err := in.ReadDecimal(typed); err == nil {
				if again, err := in.ReadDecimal(got); again != got || err != nil {
					t.Fatalf("%s: %q is read as %q, and that as %q, %v", code, typed, got, again, err)
				}
			}
		}
	})
}
