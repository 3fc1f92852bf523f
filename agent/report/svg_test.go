package report

import (
	"bytes"
	"encoding/xml"
	"errors"
	"flag"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"unicode/utf8"

	"benchtally/agent/crimp"
)

var update = flag.Bool("update", false, "write the pictures anew")

// pictures are all pictures of a series.
func pictures(s Series, t Tongue) map[string][]byte {
	return map[string][]byte{"deviations": Deviations(s, t), "offsets": Offsets(s, "C-21", t), "settings": Settings(s, t)}
}

// series are courses of every length that matters.
func series() map[string]Series {
	all := map[string]Series{}
	for _, n := range []int{0, 1, 2, 7, 40, 60, 1000} {
		all[strconv.Itoa(n)] = SeriesOf(judged(n), advice(n))
	}
	odd := SeriesOf(judged(3), nil)
	for i := range odd.Crimps {
		odd.Crimps[i].Order = `<&"'>` + "\x00\x1b" + strings.Repeat("ж", 64)
		odd.Crimps[i].Piece = odd.Crimps[i].Order + "/" + strconv.Itoa(i)
	}
	all["odd"] = odd
	mixed := SeriesOf(judged(12), advice(12))
	for i := range mixed.Crimps {
		if i > 5 {
			mixed.Crimps[i].Order, mixed.Crimps[i].Piece, mixed.Crimps[i].Spec = "A-1002", fmt.Sprintf("A-1002/%d", i), hs12
		}
	}
	all["mixed"] = mixed
	same := SeriesOf(judged(9), nil)
	for i := range same.Crimps {
		same.Crimps[i].Stroke, same.Crimps[i].Offset, same.Crimps[i].Deviation = 5, 0, 0
		same.Crimps[i].Spec.Plus, same.Crimps[i].Spec.Minus, same.Crimps[i].SetUp = 0, 0, 1
	}
	all["all alike"] = same
	return all
}

// element is a drawn element of a picture.
type element struct {
	name string
	is   map[string]string
	text string
}

func (e element) number(t *testing.T, key string) float64 {
	t.Helper()
	f, err := strconv.ParseFloat(e.is[key], 64)
	if err != nil || math.IsNaN(f) || math.IsInf(f, 0) {
		t.Errorf("%s %v: %s is no number", e.name, e.is, key)
	}
	return f
}

// parse reads a picture as strictly as a browser reads SVG in a file of its own.
func parse(t *testing.T, picture []byte) []element {
	t.Helper()
	d := xml.NewDecoder(bytes.NewReader(picture))
	d.Strict = true
	var all []element
	var open []int
	for {
		token, err := d.Token()
		if errors.Is(err, io.EOF) {
			return all
		}
		if err != nil {
			t.Fatalf("not well formed: %v\n%s", err, picture)
		}
		switch token := token.(type) {
		case xml.StartElement:
			e := element{name: token.Name.Local, is: map[string]string{}}
			for _, a := range token.Attr {
				e.is[a.Name.Local] = a.Value
			}
			open = append(open, len(all))
			all = append(all, e)
		case xml.EndElement:
			open = open[:len(open)-1]
		case xml.CharData:
			if len(open) > 0 {
				all[open[len(open)-1]].text += string(token)
			}
		}
	}
}

func TestPicturesAreWellFormedAndNamed(t *testing.T) {
	for name, s := range series() {
		for kind, picture := range pictures(s, plain{}) {
			t.Run(name+"/"+kind, func(t *testing.T) {
				all := parse(t, picture)
				if root := all[0]; root.name != "svg" || root.is["role"] != "img" || root.is["viewBox"] != "0 0 800 480" {
					t.Errorf("root %v", root)
				}
				if all[1].name != "title" || all[1].text == "" || all[2].name != "desc" || all[2].text == "" {
					t.Errorf("title %q, desc %q", all[1].text, all[2].text)
				}
				if bytes.Contains(picture, []byte("NaN")) || bytes.Contains(picture, []byte("Inf")) {
					t.Errorf("a number is missing:\n%s", picture)
				}
			})
		}
	}
}

// Type of 19 units is the least that can be read; all colours are the page's.
func TestPicturesCanBeReadInAnyTheme(t *testing.T) {
	for name, s := range series() {
		for kind, picture := range pictures(s, plain{}) {
			for _, e := range parse(t, picture) {
				for _, key := range []string{"fill", "stroke"} {
					if v, has := e.is[key]; has && v != "none" && v != "currentColor" {
						t.Errorf("%s, %s: %s %q is not the page's", name, kind, key, v)
					}
				}
				switch e.name {
				case "text":
					if e.number(t, "font-size") < 19 || e.is["fill"] != "currentColor" || e.is["class"] == "" {
						t.Errorf("%s, %s: text %v", name, kind, e)
					}
				case "path", "circle":
					if e.is["fill"] == "" || e.is["stroke"] != "currentColor" || e.number(t, "stroke-width") < 1 || !strings.HasPrefix(e.is["class"], "pic-") {
						t.Errorf("%s, %s: %v does not stand alone", name, kind, e)
					}
					if o := e.is["stroke-opacity"]; (o != "") != (e.is["class"] == "pic-grid") {
						t.Errorf("%s, %s: %v is pale", name, kind, e)
					}
				}
			}
		}
	}
}

// box is where a text lies, as wide as letters are at most.
type box struct {
	left, right, top, bottom float64
	text                     string
}

func boxOf(t *testing.T, e element) box {
	t.Helper()
	x, y, wide := e.number(t, "x"), e.number(t, "y"), (&svg{}).long(e.text)
	switch e.is["text-anchor"] {
	case "middle":
		x -= wide / 2
	case "end":
		x -= wide
	}
	return box{x, x + wide, y - 15, y + 4, e.text}
}

// wordy is a language that needs more room than English, as most do: each sentence
// is longer by four tenths.
type wordy struct{ plain }

func (w wordy) Say(english string, args ...any) string {
	s := w.plain.Say(english, args...)
	return s + strings.Repeat("ö", utf8.RuneCountInString(s)*4/10)
}

func TestTextsOfPicturesDoNotOverlap(t *testing.T) {
	for name, s := range series() {
		all := pictures(s, plain{})
		for kind, picture := range pictures(s, wordy{}) {
			all["wordy "+kind] = picture
		}
		for kind, picture := range all {
			var boxes []box
			for _, e := range parse(t, picture) {
				if e.name == "text" {
					b := boxOf(t, e)
					if b.left < 0 || b.right > pictureWidth || b.top < 0 || b.bottom > pictureHeight {
						t.Errorf("%s, %s: %q leaves the picture: %v", name, kind, b.text, b)
					}
					for _, other := range boxes {
						if b.left < other.right && other.left < b.right && b.top < other.bottom && other.top < b.bottom {
							t.Errorf("%s, %s: %q lies over %q", name, kind, b.text, other.text)
						}
					}
					boxes = append(boxes, b)
				}
			}
		}
	}
}

func TestPicturesShowNoMoreThanCanBeTold(t *testing.T) {
	for kind, picture := range pictures(SeriesOf(judged(1000), advice(1000)), plain{}) {
		marks := 0
		for _, e := range parse(t, picture) {
			switch e.is["class"] {
			case "pic-within", "pic-again", "pic-scrap", "pic-unsure":
				marks++
			}
		}
		if marks < 30 || marks > mostMarks+8 { // 8: re-crimps and the key
			t.Errorf("%s: %d marks of 1000 pieces", kind, marks)
		}
	}
}

// Without colour, what is scrap, crimped again or cannot be told has a shape of
// its own, and the key names it.
func TestOutcomesAreToldByShape(t *testing.T) {
	picture := Deviations(SeriesOf(judged(40), advice(40)), plain{})
	drawn := map[string]int{}
	for _, e := range parse(t, picture) {
		drawn[e.is["class"]]++
	}
	// Of 40 pieces 4 are too large at first, of i = 12, 25, 38 scrap, of i = 16, 33
	// unsure; one more of each is in the key.
	for class, want := range map[string]int{"pic-large": 5, "pic-again": 5, "pic-scrap": 4, "pic-unsure": 3, "pic-within": 32, "pic-limit": 2, "pic-aim": 1} {
		if drawn[class] != want {
			t.Errorf("%s: %d drawn, want %d", class, drawn[class], want)
		}
	}
	for _, words := range []string{"within limits", "within limits, crimped again", "too large, to be crimped again", "scrap", "too near a limit to tell"} {
		if !bytes.Contains(picture, []byte(">"+words+"<")) {
			t.Errorf("the key does not say %q", words)
		}
	}
}

func TestEmptyAndSingleSaySo(t *testing.T) {
	for kind, picture := range pictures(Series{}, plain{}) {
		if !bytes.Contains(picture, []byte(">No crimp is judged yet.</text>")) {
			t.Errorf("%s of nothing:\n%s", kind, picture)
		}
	}
	for kind, picture := range pictures(SeriesOf(judged(1), nil), plain{}) {
		if !bytes.Contains(picture, []byte("so far: it shows no course yet.</text>")) {
			t.Errorf("%s of one:\n%s", kind, picture)
		}
	}
}

// A drift is told where there is one, and is not told where there is none.
func TestDriftIsToldWhenItIsCertain(t *testing.T) {
	course := func(perStroke, wobble float64) Series {
		var s Series
		for i := range 12 {
			s.Crimps = append(s.Crimps, Crimp{Piece: fmt.Sprint(i), Crimp: 1, Spec: hs08, Stroke: 100 + i, Offset: perStroke*float64(i) + wobble*float64(1-i%2*2), Outcome: crimp.Pass})
		}
		return s
	}
	// By least squares: 3 µm less what the wobble, +, −, + …, leans: 5 µm · 6 / 143.
	for _, c := range []struct {
		name   string
		s      Series
		want   string
		absent string
	}{
		{"3 µm a stroke in 5 µm of scatter", course(3000, 5000), "Drift in this set-up: +0,279 mm in 100 strokes.", "no drift"},
		{"scatter alone", course(0, 5000), "This set-up shows no drift.", "Drift"},
		{"too few", Series{Crimps: course(3000, 0).Crimps[:7]}, "Too few crimps in this set-up to tell a drift.", "Drift in"},
	} {
		got := string(Offsets(c.s, "C-21", plain{comma: true}))
		if !strings.Contains(got, c.want) || strings.Contains(got, c.absent) {
			t.Errorf("%s: want %q and no %q in\n%s", c.name, c.want, c.absent, got)
		}
	}
}

func TestPicturesAsTheyWere(t *testing.T) {
	for _, n := range []int{0, 1, 40} {
		for kind, got := range pictures(SeriesOf(judged(n), advice(n)), plain{comma: n == 1}) {
			name := filepath.Join("testdata", fmt.Sprintf("%s-%d.svg", kind, n))
			if *update {
				if err := os.WriteFile(name, got, 0o644); err != nil {
					t.Fatal(err)
				}
			}
			want, err := os.ReadFile(name)
			if err != nil {
				t.Fatal(err)
			}
			if !bytes.Equal(got, want) {
				t.Errorf("%s has changed: look at both, and if it is as it should be, go test ./agent/report -update", name)
			}
		}
	}
}

func TestTicksAreNice(t *testing.T) {
	for _, c := range []struct {
		low, high float64
		most      int
		whole     bool
		want      string
	}{
		{-0.11, 0.11, 6, false, "[-0.1 -0.05 0 0.05 0.1]"},
		{0, 1, 6, false, "[0 0.2 0.4 0.6 0.8 1]"},
		{0, 10, 11, false, "[0 1 2 3 4 5 6 7 8 9 10]"},
		{118.2, 122.4, 6, true, "[119 120 121 122]"},
		{0.2, 0.8, 6, true, "[]"},
		{399, 1400, 7, true, "[400 600 800 1000 1200 1400]"},
		{-3e-6, 3e-6, 6, false, "[-2e-06 0 2e-06]"},
		{1, 1, 6, false, "[]"},
		{math.NaN(), 1, 6, false, "[]"},
	} {
		at, step := ticks(c.low, c.high, c.most, c.whole)
		for i := range at {
			at[i] = round(at[i], 1e9)
		}
		if got := fmt.Sprint(at); got != c.want {
			t.Errorf("%g to %g, %d at most: %s (step %g), want %s", c.low, c.high, c.most, got, step, c.want)
		}
	}
}

// Whatever the bounds: a step of 1, 2 or 5, all inside, no more than wanted and
// not needlessly few.
func FuzzTicks(f *testing.F) {
	f.Add(-0.1, 0.1, 6)
	f.Add(0.0, 999.0, 7)
	f.Fuzz(func(t *testing.T, low, high float64, most int) {
		if most < 2 || most > 20 || !(high-low > math.Abs(low)*1e-6) || !(high-low < 1e9) || math.Abs(low) > 1e9 || high-low < 1e-9 {
			t.Skip()
		}
		at, step := ticks(low, high, most, false)
		if len(at) > most || len(at)*3 < most-3 {
			t.Errorf("%g to %g: %d marks, %d are wanted at most", low, high, len(at), most)
		}
		digit := step / math.Pow(10, math.Floor(math.Log10(step)+tiny))
		if d := math.Round(digit); math.Abs(digit-d) > 1e-6 || d != 1 && d != 2 && d != 5 {
			t.Errorf("%g to %g: step %g", low, high, step)
		}
		for _, v := range at {
			if v < low-step*1e-6 || v > high+step*1e-6 {
				t.Errorf("%g to %g: mark at %g", low, high, v)
			}
		}
	})
}
