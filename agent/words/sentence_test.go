package words

import (
	"encoding/json"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"unicode"

	"benchtally/agent/crimp"
)

func TestSentence(t *testing.T) {
	de, es := In("de"), In("es")
	for _, c := range []struct{ got, want string }{
		{de.Sentence("within limits"), "in den Grenzen"},
		{de.Sentence("Within limits"), "In den Grenzen"},
		{de.Sentence("Within limits."), "In den Grenzen."},
		{de.Sentence("0.0012 in over the upper limit: the sheet allows one more crimp"), "0,0012 in über der oberen Grenze: das Blatt erlaubt eine weitere Pressung"},
		{de.Sentence("0.0012 in over the upper limit: the sheet allows 2 more crimps"), "0,0012 in über der oberen Grenze: das Blatt erlaubt 2 weitere Pressungen"},
		{es.Sentence("less than 0.001 mm over the upper limit, and the sheet allows no further crimp"), "menos de 0,001 mm sobre el límite superior, y la hoja no permite otro prensado"},
		{de.Sentence("084 comes out 0.0004 in large ± 0.0004 in (20 first crimps), no count is nearer"), "084 ergibt 0,0004 in zu groß ± 0,0004 in (20 Erstpressungen), keine Einstellung ist näher"},
		{es.Sentence("120 comes out on target ± 0.0020 in (1 first crimp and 6 earlier set-ups)"), "120 da en el nominal ± 0,0020 in (1 primer prensado y 6 preparaciones anteriores)"},
		{de.Sentence("held 20 s: want 30 s to 60 s; weeps at end B"), "20 s gehalten: nötig sind 30 s bis 60 s; weeps at end B"},
		{de.Sentence("70 MPa (10153 psi) is more than 2.4 times the working pressure of 28.5 MPa (4134 psi) (62 MPa)"), "70 MPa (10153 psi) ist mehr als das 2,4-fache des Betriebsdrucks von 28,5 MPa (4134 psi) (62 MPa)"},
		// Sentences in a row, each with names.
		{es.Sentence("End B: hose of maker M1, fitting of maker F2. Mixing makers wants the written word of both."), "Extremo B: manguera del fabricante M1, racor del fabricante F2. Mezclar fabricantes exige la conformidad escrita de ambos."},
		{de.Sentence("no order is in work\nend \"C\": want A or B"), "kein Auftrag läuft\nEnde \"C\": nötig ist A oder B"},
		// An error within another within another.
		{de.Sentence("not kept: keep records: store: /var/lib/b.db is full; free space on the card, or prune what was sent (no space left on device)"),
			"nicht gespeichert: Einträge speichern: Speicher: /var/lib/b.db ist voll; Platz auf der Karte schaffen, oder Gesendetes löschen (kein Platz mehr)"},
		{es.Sentence("open /dev/ttyUSB0: permission denied; put the user in its group: sudo usermod -aG dialout kj, then log in again or restart the service"),
			"abrir /dev/ttyUSB0: sin permiso; añada el usuario a su grupo: sudo usermod -aG dialout kj, y entre de nuevo o reinicie el servicio"},
		// What has no form stays, with its decimals.
		{de.Sentence("something that no form has, 0.5 in"), "something that no form has, 0.5 in"},
		{de.Sentence("0.5 in"), "0,5 in"},
		{de.Sentence(""), ""},
		{de.Sentence(strings.Repeat("no order is in work. ", 200)), strings.Repeat("no order is in work. ", 200)},
		{In("en").Sentence("0.0012 in over the upper limit"), "0.0012 in over the upper limit"},
	} {
		if c.got != c.want {
			t.Errorf("got  %q\nwant %q", c.got, c.want)
		}
	}
}

// Names stay as they are, whatever they mean.
func TestNamesStay(t *testing.T) {
	de := In("de")
	for _, c := range []struct{ got, want string }{
		{de.Sentence("order Scrap is not in work, within limits is"), "Auftrag Scrap läuft nicht, sondern within limits"},
		{de.Sentence("cage in is loaded"), "Käfig in liegt ein"},
		{de.Sentence("order A: B, C is in work"), "Auftrag A: B, C läuft"},
		{de.Sentence("%s is at the press"), "%s ist an der Presse"},
		{de.Sentence("lot 1.5 kg is at the press"), "lot 1.5 kg ist an der Presse"},
		{de.Sentence("cage, lot, something else"), "cage, lot, something else"}, // of words alone nobody knows whether they are names
		{de.Sentence("square cut, flushed"), "rechtwinklig geschnitten, gespült"},
		{de.Sentence("no operator is named"), "nicht genannt: Bediener"}, // and this is no name
	} {
		if c.got != c.want {
			t.Errorf("got  %q\nwant %q", c.got, c.want)
		}
	}
	// Every form keeps every name, in every language.
	names := []string{"Scrap", "lot", "within limits", "on target", "A-1001/3", "Größe 7", "one more crimp"}
	for _, p := range all().phrases {
		if filepath.Base(p.file) != sentences || p.said[0] != p.key {
			continue
		}
		kinds := arguments(p.key)
		for k := range names {
			n, want := -1, []string{}
			english := verb.ReplaceAllStringFunc(p.key, func(v string) string {
				if n++; kinds[n] != "s" {
					return filled(v)
				}
				name := names[(n+k)%len(names)]
				want = append(want, name)
				return name
			})
			for _, language := range Languages() {
				got := In(language).Sentence(english)
				for _, name := range want {
					if !strings.Contains(got, name) {
						t.Errorf("%s: %q\nbecomes %q, without %q", language, english, got, name)
					}
				}
			}
		}
	}
}

// A name that a translation puts first keeps its first letter, whatever the
// sentence began with.
func TestNamesStayWhenFirst(t *testing.T) {
	de := In("de")
	for _, c := range []struct{ got, want string }{
		{de.Sentence("Read gpiochip0: permission denied"), "gpiochip0 lesen: keine Berechtigung"},
		{de.Sentence("Open ttyUSB0: permission denied."), "ttyUSB0 öffnen: keine Berechtigung."},
		{de.Sentence("Order a-1 is in work"), "Auftrag a-1 läuft"},
		{de.Sentence("The limit switch was released"), "Der Endschalter ist wieder frei"},
	} {
		if c.got != c.want {
			t.Errorf("got  %q\nwant %q", c.got, c.want)
		}
	}
	for _, p := range all().phrases {
		if filepath.Base(p.file) != sentences || p.said[0] != p.key || strings.HasPrefix(p.key, "%") {
			continue
		}
		kinds, n := arguments(p.key), -1
		var want []string
		english := verb.ReplaceAllStringFunc(p.key, func(v string) string {
			if n++; kinds[n] != "s" {
				return filled(v)
			}
			want = append(want, "x-"+string(rune('a'+n)))
			return want[len(want)-1]
		})
		for _, english := range []string{first(english, unicode.ToUpper), first(english, unicode.ToUpper) + "."} {
			for _, language := range Languages() {
				got := In(language).Sentence(english)
				for _, name := range want {
					if !strings.Contains(got, name) {
						t.Errorf("%s: %q\nbecomes %q, without %q", language, english, got, name)
					}
				}
			}
		}
	}
}

// TestWorkIsBounded: what others send costs no more than a page can wait for, and
// nothing of it is lost. Sentences of the program are far from the bound.
func TestWorkIsBounded(t *testing.T) {
	ps := all().patterns
	for _, c := range []struct {
		english string
		most    int
	}{
		{"0.0012 in over the upper limit: the sheet allows 2 more crimps", 20},
		{"store: /var/lib/b.db is full; free space on the card, or prune what was sent (no space left on device)", 20},
		{"x is at the press" + strings.Repeat(".", 1900), 20},
		{strings.Repeat("store: a: b; then: ", 7) + strings.Repeat("x", 1700), mostTries},
		{strings.Repeat("x is gone: plug the y's cable in again, ", 7) + strings.Repeat("no x is named: ", 8) + "end", mostTries},
	} {
		w := &work{ps, mostTries}
		said := In("de").translate(w, c.english, 0)
		if used := mostTries - max(w.tries, 0); used > c.most {
			t.Errorf("%.60q takes %d tries, want at most %d", c.english, used, c.most)
		}
		if said == "" {
			t.Errorf("%.60q becomes nothing", c.english)
		}
	}
	// At the bound all that is left stays as it is.
	const english = "order A-1 is in work; something else"
	if got := In("de").translate(&work{ps, 0}, english, 0); got != english {
		t.Errorf("without a try left %q becomes %q", english, got)
	}
}

// TestReasonsOfShifts: every reason and hint that the recorded shifts have comes
// out in the other languages, whole.
func TestReasonsOfShifts(t *testing.T) {
	files, err := filepath.Glob("../../testdata/shifts/*.txtar")
	if err != nil || len(files) < 10 {
		t.Fatalf("%d shifts, %v", len(files), err)
	}
	seen := map[string]bool{}
	for _, name := range files {
		text, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		for line := range strings.SplitSeq(string(text), "\n") {
			var r struct{ Kind, Reason, Hint string }
			if json.Unmarshal([]byte(line), &r) != nil || r.Kind == "" {
				continue
			}
			for _, s := range []string{r.Reason, r.Hint} {
				if s == "" || seen[s] {
					continue
				}
				seen[s] = true
				for _, language := range Languages()[1:] {
					if got, ok := stands(language, s); !ok {
						t.Errorf("%s: %s: %q\nbecomes %q", filepath.Base(name), language, s, got)
					}
				}
			}
		}
	}
	if len(seen) < 30 {
		t.Errorf("only %d sentences were tried", len(seen))
	}
}

// wants are the faults of the office's files that the tests of package config have.
func wants(t *testing.T) []string {
	t.Helper()
	files, err := filepath.Glob("../../testdata/jobs/*.want")
	if err != nil || len(files) < 10 {
		t.Fatalf("%d files, %v", len(files), err)
	}
	var all []string
	for _, name := range files {
		text, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		all = append(all, strings.Split(strings.TrimSpace(string(text)), "\n")...)
	}
	return all
}

// TestFaultsOfJobCardsAreKnown: what is wrong with the office's files stands on
// the page.
func TestFaultsOfJobCardsAreKnown(t *testing.T) {
	for _, english := range wants(t) {
		for _, language := range Languages()[1:] {
			if got, ok := stands(language, english); !ok {
				t.Errorf("%s: %q\nbecomes %q", language, english, got)
			}
		}
	}
}

// TestVerdictsAreKnown: what a crimp is judged to be comes out in the other
// languages, whatever was read.
func TestVerdictsAreKnown(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	seen := map[crimp.Outcome]int{}
	for range 3000 {
		s := crimp.Spec{Unit: crimp.Inches, Diameter: 30_480_000, Plus: 127_000, Minus: 127_000, Places: 3, Recrimps: r.IntN(3)}
		if r.IntN(2) == 0 {
			s.Unit = crimp.Millimetres
		}
		rules := crimp.Rules{Ovality: crimp.Length(r.IntN(3)) * 50_000, Confidence: float64(r.IntN(2)) * 0.95, Caliper: 20_000}
		mean := s.Diameter + crimp.Length(r.NormFloat64()*150_000)
		var readings []crimp.Length
		for range s.Places {
			readings = append(readings, mean+crimp.Length(r.NormFloat64()*60_000))
		}
		v := crimp.Judge(s, readings, 1+r.IntN(3), float64(r.IntN(30_000)), rules)
		seen[v.Outcome]++
		for _, english := range []string{v.Reason, v.Hint} {
			for _, language := range Languages()[1:] {
				if got, ok := stands(language, english); english != "" && !ok {
					t.Fatalf("%s: %q\nbecomes %q", language, english, got)
				}
			}
		}
	}
	for _, o := range []crimp.Outcome{crimp.Pass, crimp.Recrimp, crimp.Scrap, crimp.Unsure} {
		if seen[o] < 50 {
			t.Errorf("only %d were judged %s", seen[o], o)
		}
	}
}

func FuzzSentence(f *testing.F) {
	for _, s := range []string{"within limits", "0.1 in over the upper limit: x", "a: b; c, d. e", "%s %d %!v(", "\xff", "no x is named", "A. B", "store: a: b: c"} {
		f.Add(s, s)
	}
	f.Fuzz(func(t *testing.T, s, name string) {
		if got := In("en").Sentence(s); got != s {
			t.Fatalf("English %q becomes %q", s, got)
		}
		for _, language := range Languages()[1:] {
			in := In(language)
			got := in.Sentence(s)
			if strings.Contains(got, "%!") && !strings.Contains(s, "%!") {
				t.Fatalf("%q becomes %q", s, got)
			}
			if (got == "") != (s == "") {
				t.Fatalf("%q becomes %q", s, got)
			}
			if again := in.Sentence(s); again != got {
				t.Fatalf("%q becomes %q and then %q", s, got, again)
			}
			if name == "" || quantity.MatchString(name) || wide.MatchString(name+" ") || wide.MatchString(" "+name) {
				continue
			}
			if got := in.Sentence("order A-1 is not in work, " + name + " is"); !strings.Contains(got, name) {
				t.Fatalf("%q is no longer in %q", name, got)
			}
		}
	})
}

func BenchmarkSentence(b *testing.B) {
	const english = "084 comes out 0.0004 in large ± 0.0004 in (20 first crimps), no count is nearer"
	de := In("de")
	b.Run("again", func(b *testing.B) {
		b.ReportAllocs()
		for b.Loop() {
			de.Sentence(english)
		}
	})
	b.Run("new", func(b *testing.B) {
		b.ReportAllocs()
		ps := all().patterns
		for b.Loop() {
			de.translate(&work{ps, mostTries}, english, 0)
		}
	})
	b.Run("unknown", func(b *testing.B) {
		b.ReportAllocs()
		ps := all().patterns
		strange := strings.Repeat("a: b, ", mostRuns/2-1) + strings.Repeat("x", longest/2)
		for b.Loop() {
			de.translate(&work{ps, mostTries}, strange, 0)
		}
	})
	b.Run("hostile", func(b *testing.B) { // the program's own words, put together to cost much
		b.ReportAllocs()
		ps := all().patterns
		hostile := strings.Repeat("open x: the device does not answer: x ends the connection instead of TLS: is it a broker?, ", 6) + strings.Repeat("not kept: ", 8)
		hostile += strings.Repeat(".", longest-len(hostile))
		for b.Loop() {
			de.translate(&work{ps, mostTries}, hostile, 0)
		}
	})
}
