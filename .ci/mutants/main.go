// Command mutants changes the program in a hundred places, one at a time, and
// shows which changes no test notices:
//
//	go run ./.ci/mutants [-n 100] [-seed 1] [-deadline 10m] PACKAGE...
//
// A mutant is made of the source by an overlay, so nothing in the tree is touched.
// It is caught when it does not pass the short tests of its package, or then the
// shifts of agent. What does not compile is no mutant; another one is taken.
package main

import (
	"bytes"
	"context"
	"encoding/json"
	"flag"
	"fmt"
	"go/ast"
	"go/format"
	"go/parser"
	"go/token"
	"log"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"time"
)

// mutant is one change: how many'th place of a file, and what is done there.
type mutant struct {
	file  string
	place int
}

func main() {
	log.SetFlags(0)
	n := flag.Int("n", 100, "mutants")
	seed := flag.Uint64("seed", 1, "of their choice")
	limit := flag.Duration("deadline", 2*time.Minute, "for the tests of one mutant")
	flag.Parse()
	if flag.NArg() == 0 {
		log.Fatal("name the packages, such as ./agent/crimp ./store")
	}
	var all []mutant
	for _, folder := range flag.Args() {
		files, err := filepath.Glob(filepath.Join(folder, "*.go"))
		if err != nil {
			log.Fatal(err)
		}
		for _, file := range files {
			if strings.HasSuffix(file, "_test.go") {
				continue
			}
			for place := range places(file, -1, nil) {
				all = append(all, mutant{file, place})
			}
		}
	}
	random := rand.New(rand.NewPCG(*seed, 0))
	random.Shuffle(len(all), func(i, j int) { all[i], all[j] = all[j], all[i] })
	caught, survived := 0, 0
	for _, m := range all {
		if caught+survived == *n {
			break
		}
		what, where, ok := try(m, *limit)
		switch {
		case what == "":
		case ok:
			survived++
			fmt.Printf("not caught: %s: %s\n", where, what)
		default:
			caught++
		}
	}
	fmt.Printf("%d mutants of %d places, %d caught (%d %%)\n", caught+survived, len(all), caught, 100*caught/max(1, caught+survived))
}

// try makes a mutant and tests it. what is "" when it does not compile.
func try(m mutant, limit time.Duration) (what, where string, passed bool) {
	dir, err := os.MkdirTemp("", "mutant-")
	if err != nil {
		log.Fatal(err)
	}
	defer func() { _ = os.RemoveAll(dir) }()
	var source bytes.Buffer
	places(m.file, m.place, func(set *token.FileSet, f *ast.File, at token.Pos, change string) {
		what, where = change, set.Position(at).String()
		if err := format.Node(&source, set, f); err != nil {
			log.Fatal(err)
		}
	})
	path, err := filepath.Abs(m.file)
	if err != nil {
		log.Fatal(err)
	}
	changed, overlay := filepath.Join(dir, "mutant.go"), filepath.Join(dir, "overlay.json")
	replace, err := json.Marshal(map[string]map[string]string{"Replace": {path: changed}})
	if err != nil {
		log.Fatal(err)
	}
	for name, b := range map[string][]byte{changed: source.Bytes(), overlay: replace} {
		if err := os.WriteFile(name, b, 0o600); err != nil {
			log.Fatal(err)
		}
	}
	folder := "./" + filepath.Dir(m.file)
	if goes(limit, "build", "-overlay", overlay, folder) != nil {
		return "", "", false
	}
	if goes(limit, "test", "-overlay", overlay, "-short", "-count", "1", folder) != nil {
		return what, where, false
	}
	return what, where, goes(limit, "test", "-overlay", overlay, "-short", "-count", "1", "-run", "^TestShifts", "./agent") == nil
}

func goes(limit time.Duration, args ...string) error {
	ctx, cancel := context.WithTimeout(context.Background(), limit)
	defer cancel()
	cmd := exec.CommandContext(ctx, "go", args...)
	cmd.WaitDelay = time.Second
	return cmd.Run()
}

// places counts the places of a file that can be changed. The one asked for is
// changed, and fn gets the file with it.
func places(file string, wanted int, fn func(set *token.FileSet, f *ast.File, at token.Pos, what string)) (n int) {
	set := token.NewFileSet()
	f, err := parser.ParseFile(set, file, nil, parser.SkipObjectResolution)
	if err != nil {
		log.Fatal(err)
	}
	place := func(at token.Pos, what string, change func()) {
		if n == wanted {
			change()
			fn(set, f, at, what)
		}
		n++
	}
	ast.Inspect(f, func(node ast.Node) bool {
		switch x := node.(type) {
		case *ast.ImportSpec, *ast.Field:
			return false
		case *ast.BinaryExpr:
			if to, ok := others[x.Op]; ok {
				place(x.OpPos, fmt.Sprintf("%s becomes %s", x.Op, to), func() { x.Op = to })
			}
		case *ast.AssignStmt:
			if to, ok := others[x.Tok]; ok {
				place(x.TokPos, fmt.Sprintf("%s becomes %s", x.Tok, to), func() { x.Tok = to })
			}
		case *ast.IfStmt:
			place(x.If, "if it is not", func() { x.Cond = &ast.UnaryExpr{Op: token.NOT, X: &ast.ParenExpr{X: x.Cond}} })
		case *ast.BranchStmt:
			if to, ok := others[x.Tok]; ok && x.Label == nil {
				place(x.TokPos, fmt.Sprintf("%s becomes %s", x.Tok, to), func() { x.Tok = to })
			}
		case *ast.BasicLit:
			if i, err := strconv.ParseInt(x.Value, 0, 64); err == nil && x.Kind == token.INT {
				place(x.ValuePos, fmt.Sprintf("%d becomes %d", i, i+1), func() { x.Value = strconv.FormatInt(i+1, 10) })
			}
		case *ast.BlockStmt:
			for i, s := range x.List {
				if e, ok := s.(*ast.ExprStmt); ok {
					place(e.Pos(), "a call is left out", func() { x.List[i] = &ast.EmptyStmt{Semicolon: s.Pos()} })
				}
				if a, ok := s.(*ast.AssignStmt); ok && a.Tok == token.ASSIGN {
					place(a.Pos(), "an assignment is left out", func() { x.List[i] = &ast.EmptyStmt{Semicolon: s.Pos()} })
				}
			}
		}
		return true
	})
	return n
}

// others are what an operator or a branch becomes.
var others = map[token.Token]token.Token{
	token.LSS: token.LEQ, token.LEQ: token.LSS, token.GTR: token.GEQ, token.GEQ: token.GTR,
	token.EQL: token.NEQ, token.NEQ: token.EQL,
	token.ADD: token.SUB, token.SUB: token.ADD, token.MUL: token.QUO, token.QUO: token.MUL,
	token.LAND: token.LOR, token.LOR: token.LAND,
	token.ADD_ASSIGN: token.SUB_ASSIGN, token.SUB_ASSIGN: token.ADD_ASSIGN,
	token.CONTINUE: token.BREAK, token.BREAK: token.CONTINUE,
}
