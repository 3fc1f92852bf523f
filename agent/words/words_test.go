package words

import (
	"encoding/json"
	"go/ast"
	"go/parser"
	"go/token"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
	"testing/fstest"
	"time"

	"benchtally/agent/crimp"
)

func TestSay(t *testing.T) {
	en, es, de := In("en"), In("es"), In("de")
	for _, c := range []struct {
		got, want string
	}{
		{en.Say("Measure place %d of %d", 2, 3), "Measure place 2 of 3"},
		{es.Say("Measure place %d of %d", 2, 3), "Mida el punto 2 de 3"},
		{de.Say("Set %s, then stroke", "085"), "085 stellen, dann pressen"},
		{de.Say("Within limits"), "In den Grenzen"},
		{de.Say("a phrase that nobody wrote %d", 7), "a phrase that nobody wrote 7"},
		{en.Say("Set [dial]"), "Set"},
		{In("fr").Say("Back"), "Back"},
		{Tongue{}.Say("Back"), "Back"},
	} {
		if c.got != c.want {
			t.Errorf("got %q, want %q", c.got, c.want)
		}
	}
	if got := Languages(); !slices.Equal(got, []string{"en", "es", "de"}) || Name("es") != "Español" || Name("fr") != "" {
		t.Errorf("languages %v, %q, %q", got, Name("es"), Name("fr"))
	}
	if de.Code() != "de" || In("xx").Code() != "en" || (Tongue{}).Code() != "en" {
		t.Error("a tongue does not know its code")
	}
}

func TestNumbers(t *testing.T) {
	en, de := In("en"), In("de")
	at := time.Date(2026, 3, 2, 6, 5, 0, 0, time.UTC)
	for _, c := range []struct{ got, want string }{
		{en.Length(30_580_000, crimp.Millimetres, 3), "30.580 mm"},
		{de.Length(30_580_000, crimp.Millimetres, 3), "30,580 mm"},
		{de.Length(-25_400, crimp.Inches, 4), "−0,0010 in"},
		{de.Length(12_345*crimp.Millimetre, crimp.Millimetres, 0), "12345 mm"},
		{en.Number(-1234.5, 1), "−1234.5"},
		{de.Number(1234.5, 2), "1234,50"},
		{de.Clock(at), "02.03.2026 06:05"}, {en.Clock(at), "2026-03-02 06:05"}, {In("es").Date(at), "02/03/2026"},
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
	for _, typed := range []string{"30,58"} {
		if got, err := en.ReadDecimal(typed); err == nil {
			t.Errorf("en %q gives %q", typed, got)
		}
	}
	for _, typed := range []string{"1,204.5", "1.204,5", "1,2,3", "1.2.3", "", ".", ",", "--1", "1e3", "0x10", "1 2", "abc", "∞"} {
		for _, in := range []Tongue{en, de} {
			if got, err := in.ReadDecimal(typed); err == nil {
				t.Errorf("%s %q gives %q", in.Code(), typed, got)
			}
		}
	}
}

func TestSentence(t *testing.T) {
	de, es := In("de"), In("es")
	for _, c := range []struct{ got, want string }{
		{de.Sentence("within limits"), "in den Grenzen"},
		{de.Sentence("Within limits"), "In den Grenzen"},
		{de.Sentence("0.0012 in over the upper limit: the sheet allows one more crimp"), "0,0012 in über der oberen Grenze: das Blatt erlaubt eine weitere Pressung"},
		{de.Sentence("0.0012 in over the upper limit: the sheet allows 2 more crimps"), "0,0012 in über der oberen Grenze: das Blatt erlaubt 2 weitere Pressungen"},
		{de.Sentence("084 comes out 0.0004 in large ± 0.0004 in (20 first crimps), no count is nearer"), "084 ergibt 0,0004 in zu groß ± 0,0004 in (20 Erstpressungen), keine Einstellung ist näher"},
		{es.Sentence("120 comes out on target ± 0.0020 in (1 first crimp and 6 earlier set-ups)"), "120 da en el nominal ± 0,0020 in (1 primer prensado y 6 preparaciones anteriores)"},
		{de.Sentence("held 20 s: want 30 s to 60 s; weeps at end B"), "20 s gehalten: nötig sind 30 s bis 60 s; weeps at end B"},
		// Names stay as they are, whatever they mean.
		{de.Sentence("order Scrap is not in work, within limits is"), "Auftrag Scrap läuft nicht, sondern within limits"},
		{de.Sentence("no operator is named"), "nicht genannt: Bediener"},
		{de.Sentence("something that no form has"), "something that no form has"},
		{de.Sentence(""), ""},
		{In("en").Sentence("0.0012 in over the upper limit"), "0.0012 in over the upper limit"},
	} {
		if c.got != c.want {
			t.Errorf("got  %q\nwant %q", c.got, c.want)
		}
	}
}

// TestReasonsOfShifts: every reason and hint that the recorded shifts have comes
// out in the other languages, whole.
func TestReasonsOfShifts(t *testing.T) {
	files, err := filepath.Glob("../../testdata/shifts/*.txtar")
	if err != nil || len(files) < 10 {
		t.Fatalf("%d shifts, %v", len(files), err)
	}
	english := regexp.MustCompile(`(^|[ (])(the|is|are|and|of|were|with|not|than|it|this|that|to|from|or|comes out)([ ,;:.)]|$)`)
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
					got := In(language).Sentence(s)
					plain := regexp.MustCompile(`"[^"]*"|\[[^]]*\]`).ReplaceAllString(got, "")
					if got == s || english.MatchString(plain) {
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

// said is where the page and the papers say something.
var said = regexp.MustCompile(`\.Say "((?:[^"\\]|\\.)*)"`)

// spoken are all phrases that the page, the papers and the command say, with a
// place where each stands.
func spoken(t *testing.T) map[string]string {
	t.Helper()
	all := map[string]string{}
	files := []string{"../papers.go"}
	for _, pattern := range []string{"../panel/*.go", "../report/*.go"} {
		some, err := filepath.Glob(pattern)
		if err != nil || len(some) == 0 {
			t.Fatalf("%s: %d files, %v", pattern, len(some), err)
		}
		files = append(files, some...)
	}
	set := token.NewFileSet()
	for _, name := range files {
		if strings.HasSuffix(name, "_test.go") {
			continue
		}
		f, err := parser.ParseFile(set, name, nil, 0)
		if err != nil {
			t.Fatal(err)
		}
		ast.Inspect(f, func(n ast.Node) bool {
			call, ok := n.(*ast.CallExpr)
			if !ok || len(call.Args) == 0 {
				return true
			}
			fun, ok := call.Fun.(*ast.SelectorExpr)
			text, is := call.Args[0].(*ast.BasicLit)
			if !ok || !is || text.Kind != token.STRING || fun.Sel.Name != "Say" && fun.Sel.Name != "fault" {
				return true
			}
			if s, err := strconv.Unquote(text.Value); err == nil {
				if x, sheet := fun.X.(*ast.Ident); fun.Sel.Name == "Say" || sheet && x.Name == "r" && strings.Contains(name, "panel") {
					all[s] = set.Position(n.Pos()).String()
				}
			}
			return true
		})
	}
	pages, err := filepath.Glob("../panel/template/*.html")
	if err != nil || len(pages) == 0 {
		t.Fatalf("%d templates, %v", len(pages), err)
	}
	for _, name := range pages {
		text, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		for _, m := range said.FindAllStringSubmatch(string(text), -1) {
			s, err := strconv.Unquote(`"` + m[1] + `"`)
			if err != nil {
				t.Fatalf("%s: %q: %v", name, m[1], err)
			}
			all[s] = name
		}
	}
	return all
}

// TestCatalogueIsComplete: what is said is in the catalogue, in every language.
func TestCatalogueIsComplete(t *testing.T) {
	keys := spoken(t)
	if len(keys) < 300 {
		t.Errorf("only %d phrases are said: the test has missed some", len(keys))
	}
	for key, place := range keys {
		if all().phrases[key] == nil {
			t.Errorf("%s says %q, which the catalogue has not", place, key)
		}
	}
	// And nothing is in the files of page and papers that nobody says.
	for key, p := range all().phrases {
		if _, is := keys[key]; !is && !strings.Contains(p.file, "sentences") && !indirect[key] {
			t.Errorf("%s:%d: nobody says %q", p.file, p.line, key)
		}
	}
}

// indirect are phrases that are said by way of a name: the points and reasons of
// the configuration's defaults, commands, and words that the papers choose from.
var indirect = map[string]bool{
	"square cut": true, "insertion mark": true, "bore open": true, "flushed": true, "capped": true,
	"cut not square": true, "insertion mark hidden": true, "bore closed": true, "hose damaged": true, "leak in proof test": true,
	"Set as advised": true, "The other end": true,
}

// TestNothingPromises: no language has a word that reads as if an assembly were
// safe or released.
func TestNothingPromises(t *testing.T) {
	never := regexp.MustCompile(`(?i)\b(safe|safely|approved?|released?|certified|certify|guarantee\w*|ready for pressure|ok to|apto|apta|aprobad\w+|segur[oa]s?|garantiz\w+|(?:es|son|está|están) certificad\w+|liberad\w+|sicher|freigegeben|freigabe|zugelassen|zertifiziert|garantiert|unbedenklich|einwandfrei)\b`)
	for key, p := range all().phrases {
		for _, text := range append([]string{shown(key)}, p.said[:]...) {
			if m := never.FindString(text); m != "" && key != "the limit switch was released" {
				t.Errorf("%s:%d: %q in %q", p.file, p.line, m, text)
			}
		}
	}
}

// TestKeysStayShort: the labels of keys have little room on the panel.
func TestKeysStayShort(t *testing.T) {
	for _, key := range []string{"Undo reading", "Dry stroke", "More", "Back", "All good", "Sign off", "Start order", "Finish order", "Lubricated", "Set to %s", "Measure again"} {
		p := all().phrases[key]
		if p == nil {
			t.Errorf("%q is not in the catalogue", key)
			continue
		}
		for i, text := range p.said {
			if n, most := len([]rune(text)), max(8, len(key)*16/10); n > most {
				t.Errorf("%s: %q has %d characters, %q has %d", names[i+1].code, text, n, key, len(key))
			}
		}
	}
}

func TestFaultsOfTheCatalogue(t *testing.T) {
	for text, want := range map[string]string{
		"en Back\nes Atrás\n":                     `"Back" has no line "de"`,
		"en Back\nes Atrás\nde Zurück\nen More\n": "an empty line is missing",
		"Back\n":                        "want a line that begins with one of",
		"fr Retour\n":                   "want a line that begins with one of",
		"es Atrás\n":                    "a phrase begins with en",
		"en Back\nes Atrás\nes Atrás\n": "has each language once",
		"en %d of %s\nes %d de %s\nde %s von %d\n":                    "takes",
		"en Back\nes A\nde Z\n\n\nen Back\nes A\nde Z\n":              "stands already in",
		"en %d of %s\nes %[2]s: %[1]d\nde %d von %s\n\n# a comment\n": "",
	} {
		_, err := readCatalogue(fstest.MapFS{"catalogue/x.txt": {Data: []byte(text)}})
		if (err == nil) != (want == "") || err != nil && !strings.Contains(err.Error(), want) {
			t.Errorf("%q: %v, want %q", text, err, want)
		}
	}
}

func FuzzSentence(f *testing.F) {
	for _, s := range []string{"within limits", "0.1 in over the upper limit: x", "a: b; c, d. e", "%s %d %!v(", "\xff", "no x is named"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		if got := In("en").Sentence(s); got != s {
			t.Fatalf("English %q becomes %q", s, got)
		}
		got := In("de").Sentence(s)
		if strings.Contains(got, "%!") && !strings.Contains(s, "%!") {
			t.Fatalf("%q becomes %q", s, got)
		}
		if again := In("de").Sentence(s); again != got {
			t.Fatalf("%q becomes %q and then %q", s, got, again)
		}
	})
}

func BenchmarkSentence(b *testing.B) {
	de := In("de")
	b.Run("again", func(b *testing.B) {
		for b.Loop() {
			de.Sentence("084 comes out 0.0004 in large ± 0.0004 in (20 first crimps), no count is nearer")
		}
	})
	b.Run("new", func(b *testing.B) {
		ps := all().patterns
		for b.Loop() {
			de.translate(ps, "084 comes out 0.0004 in large ± 0.0004 in (20 first crimps), no count is nearer", 0)
		}
	})
}
