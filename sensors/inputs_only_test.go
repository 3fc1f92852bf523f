package sensors

import (
	"bytes"
	"fmt"
	"go/ast"
	"go/constant"
	"go/importer"
	"go/parser"
	"go/token"
	"go/types"
	"io"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"slices"
	"strconv"
	"strings"
	"testing"
)

// These tests keep the program to inputs. That it cannot drive a line is shown
// in three steps, over all files of the module that are not tests:
//
//  1. only this package imports the GPIO library, and no file reaches a line by
//     another road: another library, a memory device, the sysfs files, C;
//  2. of the library this package uses only names that read, and it configures
//     lines as inputs: a list of what is allowed, so that a new name fails;
//  3. nothing this package exports has a type of the library, so no other
//     package gets hold of one.
//
// Beneath that, no file may even write a name that drives a line.

// allowedImports are what this package uses of the GPIO library.
var allowedImports = []string{
	"periph.io/x/conn/v3/driver/driverreg",
	"periph.io/x/conn/v3/gpio",
	"periph.io/x/host/v3/gpioioctl",
}

// allowedNames are what it uses of those.
var allowedNames = map[string]bool{
	"driverreg.Init": true,

	"gpio.BothEdges": true, "gpio.NoEdge": true, "gpio.PullDown": true, "gpio.PullUp": true,
	"gpio.Edge": true, "gpio.Pull": true, "gpio.GPIOValue": true,

	"gpioioctl.Chips": true,
	"gpioioctl.Name":  true, "gpioioctl.Label": true, "gpioioctl.Path": true, // of a chip, a line
	"gpioioctl.Lines": true, "gpioioctl.Number": true, "gpioioctl.Consumer": true,
	"gpioioctl.LineSetFromConfig": true, "gpioioctl.LineSetConfig": true, "gpioioctl.LineInput": true,
	"gpioioctl.DefaultDirection": true, "gpioioctl.DefaultEdge": true, "gpioioctl.DefaultPull": true,
}

// drivingNames drive a line, or hand on something that does, in this library or
// another.
var drivingNames = []string{
	"PWM", "SetOut", "FastOut", "StreamOut", "LineOutput", "PinOut", "PinIO", "SetFunc",
	"OUT_HIGH", "OUT_LOW", "OUT_OC", "AddOverrides", "LineConfigOverride",
	"AsOutput", "RequestLine", "DigitalWrite", "WritePin", "TogglePin",
}

// otherRoads are parts of import paths and of strings that lead to a line.
var otherRoads = []string{
	"/dev/gpiomem", "/dev/mem", "/dev/kmem", "/sys/class/gpio", "/sys/kernel/debug/gpio",
	"gpioset", "pinctrl set", "raspi-gpio",
}

// A violation says where a file breaks the rule, and how.
type violation struct {
	at  token.Position
	why string
}

func (v violation) String() string { return fmt.Sprintf("%s: %s", v.at, v.why) }

// checkSyntax is step 1 and the names, for one file. own says that it is of this
// package.
func checkSyntax(fset *token.FileSet, f *ast.File, own bool) (vs []violation) {
	bad := func(p token.Pos, format string, args ...any) {
		vs = append(vs, violation{fset.Position(p), fmt.Sprintf(format, args...)})
	}
	for _, im := range f.Imports {
		path, _ := strconv.Unquote(im.Path.Value) // it was parsed
		switch library := strings.HasPrefix(path, "periph.io/"); {
		case library && !own:
			bad(im.Pos(), "imports %s; only package sensors may", path)
		case library && !slices.Contains(allowedImports, path):
			bad(im.Pos(), "imports %s", path)
		case library && im.Name != nil:
			bad(im.Pos(), "gives %s another name", path)
		case !library && (strings.Contains(strings.ToLower(path), "gpio") || strings.Contains(path, "go-rpio")):
			bad(im.Pos(), "imports %s, another road to the lines", path)
		case path == "C":
			bad(im.Pos(), "imports C, which can do anything")
		}
	}
	for _, g := range f.Comments {
		for _, c := range g.List {
			if strings.HasPrefix(c.Text, "//go:linkname") {
				bad(c.Pos(), "links to a name of another package")
			}
		}
	}
	ast.Inspect(f, func(n ast.Node) bool {
		switch n := n.(type) {
		case *ast.CallExpr:
			if s, ok := n.Fun.(*ast.SelectorExpr); ok && s.Sel.Name == "Out" {
				bad(s.Sel.Pos(), "calls Out")
			}
		case *ast.SelectorExpr:
			if own && n.Sel.Name == "Out" {
				bad(n.Sel.Pos(), "refers to Out")
			}
		case *ast.Ident:
			if slices.Contains(drivingNames, n.Name) {
				bad(n.Pos(), "uses the name %s", n.Name)
			}
		case *ast.BasicLit:
			if n.Kind != token.STRING {
				break
			}
			for _, r := range otherRoads {
				if strings.Contains(n.Value, r) {
					bad(n.Pos(), "has %s in a string", r)
				}
			}
			if strings.Contains(n.Value, "/dev/gpiochip") && !own {
				bad(n.Pos(), "has /dev/gpiochip in a string; only package sensors may")
			}
		}
		return true
	})
	return vs
}

// checkTypes is steps 2 and 3, for this package's files.
func checkTypes(fset *token.FileSet, files []*ast.File, im types.Importer) (vs []violation, err error) {
	bad := func(p token.Pos, format string, args ...any) {
		vs = append(vs, violation{fset.Position(p), fmt.Sprintf(format, args...)})
	}
	info := &types.Info{
		Uses:  map[*ast.Ident]types.Object{},
		Types: map[ast.Expr]types.TypeAndValue{},
	}
	conf := types.Config{Importer: im}
	pkg, err := conf.Check("benchtally/sensors", fset, files, info)
	if err != nil {
		return nil, err
	}
	for id, obj := range info.Uses {
		if isLibrary(obj.Pkg()) && !allowedNames[obj.Pkg().Name()+"."+obj.Name()] {
			bad(id.Pos(), "uses %s.%s", obj.Pkg().Name(), obj.Name())
		}
	}
	for e, tv := range info.Types {
		if n, ok := tv.Type.(*types.Named); !ok || n.Obj().Name() != "LineDir" {
			continue
		}
		// Not a type's name, and not the constant LineInput, 1 in the library.
		if v, ok := constant.Int64Val(constant.ToInt(orUnknown(tv.Value))); !tv.IsType() && (!ok || v != 1) {
			bad(e.Pos(), "has a direction that is not LineInput")
		}
	}
	for _, name := range pkg.Scope().Names() {
		obj := pkg.Scope().Lookup(name)
		if obj.Exported() && mentionsLibrary(obj.Type(), map[types.Type]bool{}) {
			bad(obj.Pos(), "exports %s, which has a type of the GPIO library in it", name)
		}
	}
	return vs, nil
}

func orUnknown(v constant.Value) constant.Value {
	if v == nil {
		return constant.MakeUnknown()
	}
	return v
}

func isLibrary(p *types.Package) bool {
	return p != nil && strings.HasPrefix(p.Path(), "periph.io/")
}

// mentionsLibrary reports whether a value of the type gives another package a
// value of a type of the library.
func mentionsLibrary(t types.Type, seen map[types.Type]bool) bool {
	if seen[t] {
		return false
	}
	seen[t] = true
	in := func(ts ...types.Type) bool {
		return slices.ContainsFunc(ts, func(t types.Type) bool { return mentionsLibrary(t, seen) })
	}
	switch t := t.(type) {
	case *types.Named:
		if isLibrary(t.Obj().Pkg()) {
			return true
		}
		for m := range t.Methods() {
			if m.Exported() && in(m.Type()) {
				return true
			}
		}
		return in(t.Underlying())
	case *types.Struct:
		for f := range t.Fields() {
			if (f.Exported() || f.Embedded()) && in(f.Type()) {
				return true
			}
		}
	case *types.Interface:
		for m := range t.Methods() {
			if in(m.Type()) {
				return true
			}
		}
	case *types.Signature:
		for v := range t.Params().Variables() {
			if in(v.Type()) {
				return true
			}
		}
		for v := range t.Results().Variables() {
			if in(v.Type()) {
				return true
			}
		}
	case *types.Pointer:
		return in(t.Elem())
	case *types.Slice:
		return in(t.Elem())
	case *types.Array:
		return in(t.Elem())
	case *types.Chan:
		return in(t.Elem())
	case *types.Map:
		return in(t.Key(), t.Elem())
	}
	return false
}

// moduleRoot is the folder of go.mod.
func moduleRoot(t *testing.T) string {
	t.Helper()
	root, err := filepath.Abs("..")
	if err != nil {
		t.Fatal(err)
	}
	if _, err := os.Stat(filepath.Join(root, "go.mod")); err != nil {
		t.Skipf("the source is not here: %v", err)
	}
	return root
}

func TestNoFileDrivesALine(t *testing.T) {
	root := moduleRoot(t)
	fset := token.NewFileSet()
	n := 0
	err := filepath.WalkDir(root, func(path string, d fs.DirEntry, err error) error {
		switch {
		case err != nil:
			return err
		case d.IsDir() && path != root && (strings.HasPrefix(d.Name(), ".") || d.Name() == "testdata"):
			return fs.SkipDir
		case d.IsDir(), !strings.HasSuffix(path, ".go"), strings.HasSuffix(path, "_test.go"):
			return nil
		}
		f, err := parser.ParseFile(fset, path, nil, parser.ParseComments)
		if err != nil {
			return err
		}
		n++
		for _, v := range checkSyntax(fset, f, filepath.Dir(path) == filepath.Join(root, "sensors")) {
			t.Error(v)
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	if n < 10 {
		t.Errorf("only %d files were looked at", n)
	}
}

func TestSensorsOnlyRead(t *testing.T) {
	if runtime.GOOS != "linux" {
		t.Skip("the lines are opened on Linux only")
	}
	moduleRoot(t)
	fset := token.NewFileSet()
	var files []*ast.File
	paths, err := filepath.Glob("*.go")
	if err != nil {
		t.Fatal(err)
	}
	for _, p := range paths {
		if strings.HasSuffix(p, "_test.go") || p == "other.go" {
			continue
		}
		f, err := parser.ParseFile(fset, p, nil, 0)
		if err != nil {
			t.Fatal(err)
		}
		files = append(files, f)
	}
	vs, err := checkTypes(fset, files, libraryImporter(t, fset))
	if err != nil {
		t.Fatal(err)
	}
	for _, v := range vs {
		t.Error(v)
	}
}

// libraryImporter imports what this package imports, from the build cache.
func libraryImporter(t *testing.T, fset *token.FileSet) types.Importer {
	t.Helper()
	out, err := exec.Command("go", "list", "-export", "-deps", "-f", "{{.ImportPath}}\t{{.Export}}", ".").Output()
	if err != nil {
		t.Skipf("go list: %v", err)
	}
	exports := map[string]string{}
	for l := range bytes.Lines(out) {
		path, file, _ := strings.Cut(strings.TrimSpace(string(l)), "\t")
		exports[path] = file
	}
	return importer.ForCompiler(fset, "gc", func(path string) (io.ReadCloser, error) {
		return os.Open(exports[path])
	})
}

// The checks themselves find what they are for.
func TestTheChecksFindWhatDrivesALine(t *testing.T) {
	for _, tc := range []struct {
		name, src string
		own       bool
		want      string // part of a violation, "" = none
	}{
		{"a call", `func f() { pin.Out(true) }`, false, "calls Out"},
		{"a call through a field", `func f() { x.y.pin.Out(1, 1) }`, false, "calls Out"},
		{"a method value", `var f = pin.Out`, true, "refers to Out"},
		{"PWM", `func f() { pin.PWM(1, 2) }`, false, "uses the name PWM"},
		{"an output's constant", `var d = gpioioctl.LineOutput`, true, "uses the name LineOutput"},
		{"an output's type", `var p gpio.PinIO`, true, "uses the name PinIO"},
		{"an interface of one's own", `type p interface { SetOut(int) }`, false, "uses the name SetOut"},
		{"the library elsewhere", `import _ "periph.io/x/conn/v3/gpio/gpioreg"`, false, "only package sensors may"},
		{"more of the library", `import _ "periph.io/x/host/v3"`, true, "imports periph.io/x/host/v3"},
		{"the library under another name", `import g "periph.io/x/conn/v3/gpio"`, true, "another name"},
		{"all names of the library", `import . "periph.io/x/conn/v3/gpio"`, true, "another name"},
		{"another library", `import _ "github.com/warthog618/go-gpiocdev"`, false, "another road"},
		{"C", `import "C"`, false, "imports C"},
		{"a memory device", `const p = "/dev/gpiomem"`, true, "has /dev/gpiomem in a string"},
		{"the sysfs files", `const p = "/sys/class/gpio/export"`, false, "has /sys/class/gpio in a string"},
		{"a program that drives", `const p = "gpioset -c 0 17=1"`, false, "has gpioset in a string"},
		{"the chips elsewhere", `const p = "/dev/gpiochip0"`, false, "only package sensors may"},
		{"a linked name", "//go:linkname f gpioioctl.f\nfunc f()", false, "links to a name"},
		{"a field of that name, elsewhere", `func f() { _ = cmd.Out }`, false, ""},
		{"the outputs of the logs", `func f() { log.SetOutput(w) }`, false, ""},
		{"a word in a comment", "// Out of order.\nvar x = 1", true, ""},
	} {
		fset := token.NewFileSet()
		f, err := parser.ParseFile(fset, "x.go", "package x\n"+tc.src, parser.ParseComments)
		if err != nil {
			t.Fatalf("%s: %v", tc.name, err)
		}
		vs := checkSyntax(fset, f, tc.own)
		if !found(vs, tc.want) {
			t.Errorf("%s: %v, want %q", tc.name, vs, tc.want)
		}
	}
}

func TestTheChecksFindWhatIsNotAllowed(t *testing.T) {
	if runtime.GOOS != "linux" {
		t.Skip("the lines are opened on Linux only")
	}
	moduleRoot(t)
	fset := token.NewFileSet()
	library := libraryImporter(t, fset)
	const head = `package sensors
import (
	"periph.io/x/conn/v3/gpio"
	"periph.io/x/host/v3/gpioioctl"
)
var _ = gpio.PullUp
var _ = gpioioctl.Chips
`
	for _, tc := range []struct{ name, src, want string }{
		{"what is allowed", `var c = gpioioctl.LineSetConfig{DefaultDirection: gpioioctl.LineInput}`, ""},
		{"a call", `func f() { gpioioctl.Chips[0].Lines()[0].Out(gpio.High) }`, "uses gpioioctl.Out"},
		{"through an interface of one's own", `type p interface { Drive(gpio.GPIOValue, gpio.GPIOValue) }
			func f(s *gpioioctl.LineSet) { s.Out(1, 1) }`, "uses gpioioctl.Out"},
		{"a direction by its number", `var c = gpioioctl.LineSetConfig{DefaultDirection: 2}`, "not LineInput"},
		{"a direction that is computed", `var n = gpioioctl.LineInput
			func f() *gpioioctl.LineSetConfig { n++; return &gpioioctl.LineSetConfig{DefaultDirection: n} }`, "not LineInput"},
		{"a direction set later", `func f(d *gpioioctl.LineSetConfig) { d.DefaultDirection++ }`, "not LineInput"},
		{"an exported set of lines", `func F() any { return nil }
			type Set struct { Lines []interface{ Read(gpio.GPIOValue) } }`, "exports Set"},
		{"an exported chip", `func Chip() *gpioioctl.GPIOChip { return nil }`, "exports Chip"},
	} {
		f, err := parser.ParseFile(fset, "x.go", head+tc.src, 0)
		if err != nil {
			t.Fatalf("%s: %v", tc.name, err)
		}
		vs, err := checkTypes(fset, []*ast.File{f}, library)
		if err != nil {
			t.Fatalf("%s: %v", tc.name, err)
		}
		if !found(vs, tc.want) {
			t.Errorf("%s: %v, want %q", tc.name, vs, tc.want)
		}
	}
}

// found reports whether a violation says want; with "", whether there is none.
func found(vs []violation, want string) bool {
	if want == "" {
		return len(vs) == 0
	}
	return slices.ContainsFunc(vs, func(v violation) bool { return strings.Contains(v.why, want) })
}
