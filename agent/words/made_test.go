package words

import (
	"fmt"
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

// makers are the files that make sentences which are kept in records, told by
// devices or answered to the page.
var makers = []string{
	"../crimp/*.go", "../station/*.go", "../label/*.go", "../people/*.go", "../panel/*.go", "../report/*.go",
	"../bench.go", "../clock.go", "../health.go", "../intake.go", "../keypair.go", "../page.go", "../paper.go", "../scan.go",
	"../../caliper/*.go", "../../caliper/frame/*.go", "../../mqtt/*.go", "../../sensors/*.go", "../../store/*.go",
}

// untold are texts of the makers that never come to a person who reads another
// language, and why: all of a file where text is empty.
var untold = []struct{ file, text, why string }{
	{"crimp/cleanliness.go", "", "told at the command line"},
	{"crimp/hose.go", "", "faults of files, told when they are read"},
	{"crimp/length.go", "", "faults of files and flags; the page reads its fields itself"},
	{"crimp/pace.go", "", "a fault of the kept state, told at the start"},
	{"crimp/pressure.go", "", "faults of files and flags; the page reads its fields itself"},
	{"people/badge.go", "", "a fault of the operators file, told at the command line and in the log"},
	{"people/file.go", "", "faults of the operators file, told at the command line and in the log"},
	{"people/parse.go", "", "faults of the operators file, told at the command line and in the log"},
	{"people/person.go", "", "told at the command line"},
	{"people/pin.go", "", "told at the command line"},
	{"people/proxy.go", "", "a fault of the configuration"},
	{"people/roll.go", "", "told at the command line"},
	{"panel/handler.go", "", "a header, and a fault of the program"},
	{"report/svg.go", "", "markup"},
	{"report/options.go", "", "the form of a time"},
	{"caliper/port.go", "", "faults of the configuration"},
	{"caliper/ports.go", "", "told at the command line"},
	{"caliper/settings.go", "", "a fault of the configuration"},
	{"caliper/state.go", "", "a fault of the kept state, told at the start"},
	{"caliper/udev.go", "", "a rule of udev"},
	{"caliper/listen.go", "", "told at the command line"},
	{"frame/encode.go", "", "of the simulated caliper"},
	{"sensors/state.go", "", "a fault of the kept state, told at the start"},
	{"mqtt/event.go", "", "a fault of the program, told in the log"},
	{"mqtt/settings.go", "", "faults of the configuration"},
	{"mqtt/topic.go", "", "faults of the configuration"},
	{"store/append.go", "", "faults of the program, told in the log"},
	{"store/backup.go", "", "told at the command line"},
	{"store/create.go", "", "told at the start"},
	{"store/outbox.go", "", "what is damaged, for who mends it"},
	{"store/pack.go", "", "what is damaged, for who mends it"},
	{"store/pages.go", "", "what is damaged, for who mends it"},
	{"store/prune.go", "", "what is damaged, told in the log"},
	{"store/records.go", "", "what is damaged, for who mends it"},
	{"store/resend.go", "", "told at the command line"},
	{"store/store.go", "", "told at the start"},
	{"store/value.go", "", "what is damaged, for who mends it"},
	{"store/verify.go", "", "told at the command line"},
}

// made is a text that a program makes.
type made struct {
	file, place string
	text        string
	part        bool // it is joined with others
}

// sayings are the texts with a blank in them that a file makes, other than those
// that are said by the catalogue, logged, or compared with.
func sayings(t *testing.T, set *token.FileSet, name string) []made {
	t.Helper()
	f, err := parser.ParseFile(set, name, nil, 0)
	if err != nil {
		t.Fatal(err)
	}
	var all []made
	var above []ast.Node
	ast.Inspect(f, func(n ast.Node) bool {
		if n == nil {
			above = above[:len(above)-1]
			return true
		}
		if passes(n, above) {
			return false
		}
		if l, is := n.(*ast.BasicLit); is && l.Kind == token.STRING {
			text, err := strconv.Unquote(l.Value)
			if err != nil {
				t.Fatal(err)
			}
			if strings.Contains(strings.TrimSpace(text), " ") {
				joined, _ := above[len(above)-1].(*ast.BinaryExpr)
				_, file := filepath.Split(name)
				all = append(all, made{filepath.Base(filepath.Dir(name)) + "/" + file, set.Position(l.Pos()).String(), text, joined != nil})
			}
		}
		above = append(above, n)
		return true
	})
	return all
}

// passes says whether nothing below a node is a sentence.
func passes(n ast.Node, above []ast.Node) bool {
	switch n := n.(type) {
	case *ast.ImportSpec:
		return true
	case *ast.BasicLit:
		switch up := above[len(above)-1].(type) {
		case *ast.Field: // a tag
			return true
		case *ast.CaseClause: // what is compared
			return slices.Contains(up.List, ast.Expr(n))
		case *ast.BinaryExpr:
			return up.Op == token.EQL || up.Op == token.NEQ
		case *ast.IndexExpr:
			return true
		case *ast.KeyValueExpr:
			return up.Key == ast.Expr(n)
		}
	case *ast.CallExpr:
		switch fun := n.Fun.(type) {
		case *ast.Ident:
			return fun.Name == "panic"
		case *ast.SelectorExpr:
			if of, is := fun.X.(*ast.Ident); is && slices.Contains([]string{"slog", "regexp", "strings", "bytes", "template", "time"}, of.Name) {
				return of.Name != "strings" || fun.Sel.Name != "TrimSpace"
			}
			return slices.Contains([]string{"Say", "fault", "Format", "Debug", "Info", "Warn", "Error", "HandleFunc", "Handle", "Set"}, fun.Sel.Name)
		}
	}
	return false
}

// allMade are the texts of all makers, without those that are not told.
func allMade(t *testing.T) []made {
	t.Helper()
	set := token.NewFileSet()
	var all []made
	met := make([]bool, len(untold))
	for _, pattern := range makers {
		files, err := filepath.Glob(pattern)
		if err != nil || len(files) == 0 {
			t.Fatalf("%s: %d files, %v", pattern, len(files), err)
		}
		for _, name := range files {
			if strings.HasSuffix(name, "_test.go") {
				continue
			}
			for _, m := range sayings(t, set, name) {
				i := slices.IndexFunc(untold, func(u struct{ file, text, why string }) bool {
					return u.file == m.file && (u.text == "" || u.text == m.text)
				})
				if i >= 0 {
					met[i] = true
					continue
				}
				all = append(all, m)
			}
		}
	}
	for i, u := range untold {
		if !met[i] {
			t.Errorf("%s no longer makes %q: take it out of what is not told", u.file, u.text)
		}
	}
	return all
}

// filled is a text with something at each of its verbs.
func filled(text string) string {
	return verb.ReplaceAllStringFunc(text, func(v string) string {
		switch v[len(v)-1] {
		case '%':
			return "%"
		case 'd':
			return "7"
		case 'g':
			return "2.5"
		case 'q':
			return `"X-1"`
		case 'x':
			return "0x7f"
		}
		return "X-1"
	})
}

// plain are words that only English has.
var plain = regexp.MustCompile(`(^|[ (])(the|is|are|and|of|were|with|not|than|it|this|that|to|from|or|comes out|want|no|at|for)([ ,;:.)]|$)`)

// TestSentencesAreKnown: what the program says of itself is known again in every
// language. The list that fails is what a translator has to do.
func TestSentencesAreKnown(t *testing.T) {
	texts := allMade(t)
	if len(texts) < 300 {
		t.Errorf("only %d texts are made: the test has missed some", len(texts))
	}
	ps := allParts()
	for _, m := range texts {
		if m.part {
			if !strings.Contains(ps, strings.Trim(m.text, " ;:,.")) {
				t.Errorf("%s: no sentence has %q", m.place, m.text)
			}
			continue
		}
		english := filled(m.text)
		for _, language := range Languages()[1:] {
			if got := In(language).Sentence(english); got == english || plain.MatchString(got) {
				t.Errorf("%s: %s: %q\nbecomes %q", m.place, language, m.text, got)
			}
		}
	}
}

// allParts are the English sentences, one a line.
func allParts() string {
	var parts strings.Builder
	for _, p := range all().phrases {
		if filepath.Base(p.file) == sentences {
			fmt.Fprintln(&parts, p.said[0])
			fmt.Fprintln(&parts, p.one[0])
		}
	}
	return parts.String()
}
