package report

import (
	"go/ast"
	"go/parser"
	"go/token"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
)

// never are words that no paper and no picture may say of an assembly or a crimp:
// what was measured lies within limits or does not, and people decide.
var never = regexp.MustCompile(`(?i)\b(safe(ly)?|approved?|release[ds]?|certif(y|ied)|ok to|ready for pressure|fit for|guarantee[ds]?|pass(ed)?|danger|warning|caution)\b`)

// said are the sentences of the package: every text in its sources that people may
// read, and those that it has said in other languages.
func said(t *testing.T) (literals, keys []string) {
	t.Helper()
	files, err := filepath.Glob("*.go")
	if err != nil {
		t.Fatal(err)
	}
	for _, name := range files {
		if strings.HasSuffix(name, "_test.go") {
			continue
		}
		f, err := parser.ParseFile(token.NewFileSet(), name, nil, 0)
		if err != nil {
			t.Fatal(err)
		}
		ast.Inspect(f, func(n ast.Node) bool {
			switch n := n.(type) {
			case *ast.BasicLit:
				if s, err := strconv.Unquote(n.Value); err == nil && n.Kind == token.STRING {
					literals = append(literals, s)
				}
			case *ast.CallExpr:
				if sel, ok := n.Fun.(*ast.SelectorExpr); ok && sel.Sel.Name == "Say" {
					switch key := n.Args[0].(type) {
					case *ast.BasicLit:
						if s, err := strconv.Unquote(key.Value); err == nil {
							keys = append(keys, s)
						}
					case *ast.Ident:
						if key.Name != "Advisory" {
							t.Errorf("%s: Say of %s: a sentence must stand there to be translated", name, key.Name)
						}
					default:
						t.Errorf("%s: Say of something made up: a sentence must stand there to be translated", name)
					}
				}
			}
			return true
		})
	}
	keys = append(keys, Advisory)
	slices.Sort(keys)
	return literals, slices.Compact(keys)
}

func TestNothingIsPromised(t *testing.T) {
	literals, keys := said(t)
	if len(keys) < 100 {
		t.Fatalf("%d sentences found: the search has missed the package", len(keys))
	}
	for _, s := range literals {
		if bad := never.FindString(s); bad != "" {
			t.Errorf("%q says %q", s, bad)
		}
	}
	for _, pdf := range [][]byte{
		paper(t)(Certificate(dossier(12), options)), paper(t)(Certificate(singles(3), options)), paper(t)(JobCard(traveller(), options)),
		paper(t)(ShiftSheet(handover(), options)), paper(t)(Sheet("Commands", commands(), shiftStart, options)),
	} {
		text, _ := read(t, pdf)
		if bad := never.FindString(text); bad != "" {
			t.Errorf("a paper says %q", bad)
		}
	}
}
