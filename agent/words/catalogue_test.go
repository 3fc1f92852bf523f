package words

import (
	"go/ast"
	"go/parser"
	"go/token"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"testing/fstest"
	"unicode/utf8"
)

func TestFaultsOfTheCatalogue(t *testing.T) {
	for text, want := range map[string]string{
		"en Back\nes Atrás\n":                     `"Back" has no line "de"`,
		"en Back\nes Atrás\nde Zurück\nen More\n": "an empty line is missing",
		"Back\n":                        "want a line that begins with one of",
		"en\n":                          "want a line that begins with one of",
		"fr Retour\n":                   "want a line that begins with one of",
		"es Atrás\n":                    "a phrase begins with en",
		"en.1 %d piece\n":               "a phrase begins with en",
		"en Back\nes Atrás\nes Atrás\n": "has each language once",
		"en %d of %s\nes %d de %s\nde %s von %d\n":                                     "takes",
		"en %d parts\nde.1 ein Teil\nes %d\nde %d Teile\n":                             "takes",
		"en parts\nen.1 part\nes a\nde b\n":                                            "no %d that could be one",
		"en Back\nes A\nde Z\n\n\nen Back\nes A\nde Z\n":                               "stands already in",
		"en %s: %s\nes %s: %s\nde %s: %s\n":                                            "too few words of its own",
		"en %d of %s\nes %[2]s: %[1]d\nde %d von %s\n\n# a comment\n":                  "",
		"en %d parts\nen.1 %d part\nes %d partes\nde %d Teile\nde.1 %d Teil\n":         "",
		"en %s of one [sense]\nes %s a\nde %s b\n\nen %s of one [other]\nes %s\nde %s": "",
	} {
		_, err := readCatalogue(fstest.MapFS{"catalogue/sentences.txt": {Data: []byte(text)}})
		if (err == nil) != (want == "") || err != nil && !strings.Contains(err.Error(), want) {
			t.Errorf("%q: %v, want %q", text, err, want)
		}
	}
}

// texts are all that a phrase says, by language.
func (p *phrase) texts() map[string][]string {
	all := map[string][]string{}
	for i, n := range names {
		all[n.code] = []string{p.said[i], p.one[i]}
	}
	return all
}

// promises are words that read as if an assembly were safe, or somebody had
// released it.
var promises = map[string]*regexp.Regexp{
	"en": regexp.MustCompile(`(?i)\b(safe|safely|safety|approv\w+|releas(e|es|ed)|certif(y|ied|ies)|guarante\w+|warrant\w*|flawless|ready for|ok to|pass(ed)?|danger|warning|caution)\b`),
	"es": regexp.MustCompile(`(?i)(^|[^\pL])(apt[oa]s?|aprob\pL+|segur(o|a|os|as|idad|amente)|garant\pL+|liberad\pL+|homologad\pL+|autorizad\pL+|(es|son|está|están|queda|quedan) certificad\pL+|validad[oa]s?|conformes?|impecables?|list[oa]s? para|peligro|advertencia|precaución)($|[^\pL])`),
	"de": regexp.MustCompile(`(?i)(^|[^\pL])(sicher\pL*|freigegeben\pL*|freigabe|zugelassen\pL*|zulässig\pL*|zertifiziert\pL*|garantie\pL*|unbedenklich\pL*|einwandfrei\pL*|bestanden|tauglich|geeignet|abgenommen|genehmigt\pL*|konform|bereit für|gefahr|warnung|vorsicht)($|[^\pL])`),
}

// attests is the Spanish word that is the name of a paper in the broker's and the
// page's sentences, and a promise everywhere else.
var attests = regexp.MustCompile(`(?i)certificad\pL+`)

// TestNothingPromises: no language has such a word.
func TestNothingPromises(t *testing.T) {
	for key, p := range all().phrases {
		for code, texts := range p.texts() {
			for _, text := range texts {
				if m := promises[code].FindString(text); m != "" && key != "the limit switch was released" {
					t.Errorf("%s:%d: %q in %q", p.file, p.line, m, text)
				}
				if code == "es" && attests.MatchString(text) && !strings.Contains(key, "certificate") {
					t.Errorf("%s:%d: %q is no certificate's name in %q", p.file, p.line, attests.FindString(text), text)
				}
			}
		}
	}
}

// TestLanguagesAreNotMixed: nothing was left in English, or put into the other
// line.
func TestLanguagesAreNotMixed(t *testing.T) {
	only := map[string]*regexp.Regexp{
		"es": regexp.MustCompile(`(?i)(^|[^\pL])(the|of|and|with|not|der|die|das|und|nicht|ist|ein|eine|von)($|[^\pL])`),
		"de": regexp.MustCompile(`(?i)(^|[^\pL])(the|of|and|with|not|el|la|los|las|y|de|del|una|con|por)($|[^\pL])`),
	}
	for _, p := range all().phrases {
		for code, mixed := range only {
			for _, text := range p.texts()[code] {
				if m := mixed.FindString(text); m != "" {
					t.Errorf("%s:%d: %q in %s %q", p.file, p.line, m, code, text)
				}
			}
		}
		for i, n := range names[1:] {
			// A text of a phrase ends as the English one does.
			a, b := p.said[0], p.said[i+1]
			for _, end := range []string{".", "?", ":"} {
				if strings.HasSuffix(a, end) != strings.HasSuffix(b, end) {
					t.Errorf("%s:%d: %s ends %q, and English %q", p.file, p.line, n.code, b, a)
				}
			}
		}
	}
}

// keyInTemplate is a key whose label stands in the template.
var keyInTemplate = regexp.MustCompile(`<(?:button|a)\b[^>]*class="key[^>]*>(?:<b>)?\{\{\$?\.Say "((?:[^"\\]|\\.)*)"\}\}`)

// labels are the phrases on keys of the page.
func labels(t *testing.T) []string {
	t.Helper()
	var all []string
	say := func(e ast.Expr) {
		call, _ := e.(*ast.CallExpr)
		if call == nil || len(call.Args) == 0 {
			return
		}
		fun, _ := call.Fun.(*ast.SelectorExpr)
		text, _ := call.Args[0].(*ast.BasicLit)
		if fun != nil && fun.Sel.Name == "Say" && text != nil {
			s, err := strconv.Unquote(text.Value)
			if err != nil {
				t.Fatal(err)
			}
			all = append(all, s)
		}
	}
	files, err := filepath.Glob("../panel/*.go")
	if err != nil || len(files) == 0 {
		t.Fatalf("%d files, %v", len(files), err)
	}
	for _, name := range files {
		f, err := parser.ParseFile(token.NewFileSet(), name, nil, 0)
		if err != nil {
			t.Fatal(err)
		}
		ast.Inspect(f, func(n ast.Node) bool {
			switch n := n.(type) {
			case *ast.CallExpr:
				if nameOf(n.Fun) == "touch" {
					say(n.Args[0])
				}
			case *ast.KeyValueExpr:
				if nameOf(n.Key) == "Label" {
					say(n.Value)
				}
			}
			return true
		})
	}
	pages, err := filepath.Glob("../panel/template/*.html")
	if err != nil {
		t.Fatal(err)
	}
	before := len(all)
	for _, name := range pages {
		text, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		for _, m := range keyInTemplate.FindAllStringSubmatch(string(text), -1) {
			all = append(all, m[1])
		}
	}
	if len(all)-before < 8 {
		t.Errorf("only %d labels are found in templates", len(all)-before)
	}
	return all
}

// TestKeysStayShort: the labels of keys have little room on the panel. Half as
// long again as in English fits, and what is no longer than "Schlauchleitungen".
func TestKeysStayShort(t *testing.T) {
	const short = 17
	keys := labels(t)
	if len(keys) < 40 {
		t.Errorf("only %d labels are found", len(keys))
	}
	for _, key := range keys {
		p := all().phrases[key]
		if p == nil {
			continue // TestCatalogueIsComplete tells it
		}
		for i, text := range p.said {
			text = strings.ReplaceAll(text, "\u00ad", "") // where it may be parted
			if n, most := utf8.RuneCountInString(text), max(short, utf8.RuneCountInString(p.said[0])*3/2); n > most {
				t.Errorf("%s:%d: %s: %q has %d characters, room is for %d", p.file, p.line, names[i].code, text, n, most)
			}
		}
	}
}
