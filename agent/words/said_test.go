package words

import (
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
)

// inTemplate is where a template says something.
var inTemplate = regexp.MustCompile(`\.Say (?:"((?:[^"\\]|\\.)*)"|.)`)

// byName are calls of Say whose phrase is not written there, and why that is
// well.
var byName = map[string]string{
	"panel/scene.go":     "hands on what templates say",
	"panel/form.go":      "hands on what the reader of forms says",
	"report/closing.go":  "says the advisory, which stands on all papers",
	"report/handover.go": "says the advisory, which stands on all papers",
	"agent/papers.go":    "says the titles of commands, which stand in a table",
}

// spoken are all phrases that the page, the papers and the command say, with a
// place where each stands.
func spoken(t *testing.T) map[string]string {
	t.Helper()
	phrases := map[string]string{}
	var files []string
	for _, pattern := range []string{"../*.go", "../panel/*.go", "../report/*.go"} {
		some, err := filepath.Glob(pattern)
		if err != nil || len(some) == 0 {
			t.Fatalf("%s: %d files, %v", pattern, len(some), err)
		}
		files = append(files, some...)
	}
	for _, name := range files {
		if !strings.HasSuffix(name, "_test.go") {
			speaks(t, name, phrases)
		}
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
		for _, m := range inTemplate.FindAllStringSubmatch(string(text), -1) {
			s, err := strconv.Unquote(`"` + m[1] + `"`)
			if err != nil || s == "" {
				t.Errorf("%s: %q says what is not written there: %v", name, m[0], err)
			}
			phrases[s] = name
		}
	}
	return phrases
}

// speaks adds the phrases of one Go file. Each call has as many arguments as its
// phrase wants.
func speaks(t *testing.T, name string, phrases map[string]string) {
	t.Helper()
	set := token.NewFileSet()
	f, err := parser.ParseFile(set, name, nil, 0)
	if err != nil {
		t.Fatal(err)
	}
	from := filepath.Base(filepath.Dir(strings.Replace(name, "../", "agent/", 1))) + "/" + filepath.Base(name)
	ast.Inspect(f, func(n ast.Node) bool {
		call, _ := n.(*ast.CallExpr)
		if call == nil || len(call.Args) == 0 {
			return true
		}
		fun, _ := call.Fun.(*ast.SelectorExpr)
		if fun == nil || fun.Sel.Name != "Say" && (fun.Sel.Name != "fault" || from != "panel/form.go") {
			return true
		}
		place := set.Position(call.Pos()).String()
		text, _ := call.Args[0].(*ast.BasicLit)
		if text == nil {
			if byName[from] == "" {
				t.Errorf("%s says what is not written there: have it said by its phrase", place)
			}
			return true
		}
		s, err := strconv.Unquote(text.Value)
		if err != nil {
			t.Fatal(err)
		}
		phrases[s] = place
		if given, wants := len(call.Args)-1, len(arguments(shown(s))); given != wants && call.Ellipsis == token.NoPos {
			t.Errorf("%s says %q with %d arguments, which takes %d", place, s, given, wants)
		}
		return true
	})
}

// named are the phrases that are said by name: texts of the files that do so.
func named(t *testing.T) []string {
	t.Helper()
	var texts []string
	for _, name := range []string{"../papers.go", "../report/certificate.go"} {
		f, err := parser.ParseFile(token.NewFileSet(), name, nil, 0)
		if err != nil {
			t.Fatal(err)
		}
		ast.Inspect(f, func(n ast.Node) bool {
			if l, is := n.(*ast.BasicLit); is && l.Kind == token.STRING {
				s, _ := strconv.Unquote(l.Value)
				texts = append(texts, s)
			}
			return true
		})
	}
	return texts
}

// TestCatalogueIsComplete: what is said is in the catalogue, in every language,
// and nothing else is. The list that fails is what a translator has to do.
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
	others := named(t)
	for key, p := range all().phrases {
		if _, is := keys[key]; !is && filepath.Base(p.file) != sentences && !slices.Contains(others, key) {
			t.Errorf("%s:%d: nobody says %q", p.file, p.line, key)
		}
	}
}
