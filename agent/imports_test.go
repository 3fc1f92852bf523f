package main

import (
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"maps"
	"path"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
)

// directions say which packages of ours a package may import, and why. What
// brings things in, keeps or sends them never sees its like: agent/run.go joins
// them. A new import changes this table in the same commit.
var directions = map[string]map[string]string{
	"agent/crimp":       {},
	"agent/crimp/study": {"agent/crimp": "it studies the product's own estimating, learning, judging and advising"},
	"agent/record":      {"agent/crimp": "a record carries lengths, outcomes and care"},
	"agent/station": {
		"agent/crimp":  "it decides with the trade's arithmetic",
		"agent/record": "what it decides are records",
	},
	"agent/stats":   {},
	"agent/tape":    {"agent/station": "a line of a tape is an input of the station"},
	"agent/config":  {"agent/crimp": "specifications, lengths and budgets are read from files"},
	"agent/people":  {},
	"agent/label":   {},
	"agent/words":   {"agent/crimp": "lengths are written as a language writes numbers"},
	"agent/metrics": {},
	"agent/panel": {
		"agent/crimp":   "it shows lengths",
		"agent/label":   "it tells a badge from other labels",
		"agent/people":  "it lets operators in, and knows who is in",
		"agent/record":  "it shows what happened",
		"agent/report":  "it shows pictures",
		"agent/station": "it shows the station's view and hands on an operator's actions",
		"agent/words":   "it speaks several languages",
	},
	"agent/report": {
		"agent/crimp":   "it tells lengths, specifications and outcomes",
		"agent/station": "a paper is made of an order's dossier, a picture of what was judged",
		"agent/stats":   "a drift is a trend that is certain enough",
	},
	"agent/rehearsal": {
		"agent/crimp":   "the simulated metal follows the trade's arithmetic",
		"agent/record":  "the simulated technician acts on outcomes and advice",
		"agent/station": "the simulated technician acts as an operator does",
		"sensors":       "the simulated press stands where the input lines do",
	},
	"sensors": {},
	"caliper": {
		"agent/crimp":   "a reading is a length",
		"caliper/frame": "it reads lines of these forms",
		"caliper/port":  "it has its port kept open",
	},
	"caliper/frame":   {"agent/crimp": "what is decoded is a length"},
	"caliper/port":    {},
	"sensors/scanner": {"caliper/port": "it has its port kept open"},
	"store/faulty":    {},
	"store":           {"agent/record": "it keeps records", "agent/crimp": "lengths have a packed form of their own"},
	"mqtt": {
		"agent/record": "it sends records",
		"mqtt/broker":  "it is connected by it",
	},
	"mqtt/broker":    {},
	"mqtt/collector": {},
	"mqtt/measure":   {},
	"mqtt/sparkplug": {
		"agent/crimp":  "lengths are told in millimetres",
		"agent/record": "it tells what records say",
		"mqtt/broker":  "it is connected by it",
	},
	"deploy":                {},
	"deploy/machine":        {},
	"deploy/machine/hand":   {},
	"deploy/machine/inside": {"deploy/machine/hand": "it answers what is asked"},
	"deploy/package":        {"deploy": "the files of an installation are in the package"},
	"agent": {
		"agent/config": joins, "agent/crimp": joins, "agent/label": joins, "agent/metrics": joins, "agent/panel": joins, "agent/people": joins, "agent/record": joins, "agent/report": joins,
		"agent/rehearsal": joins, "agent/words": joins, "agent/station": joins, "agent/stats": joins, "agent/tape": joins,
		"caliper": joins, "caliper/frame": joins, "caliper/port": joins, "deploy": joins, "mqtt": joins, "mqtt/broker": joins, "mqtt/sparkplug": joins, "sensors/scanner": joins, "sensors": joins, "store": joins,
	},
}

const joins = "the command joins them all"

// testDirections are the imports that tests need beyond those of their package.
var testDirections = map[string]map[string]string{
	"deploy/machine": {"deploy/machine/hand": "it asks what is done inside of the machine"},
	"store":          {"store/faulty": "it is tested on a card with faults"},
	"agent":          {"store/faulty": "so is the whole agent"},
	"agent/config":   {"deploy": "the configuration that init writes must be read without a fault"},
	"mqtt":           {"agent/crimp": "a record with lengths is an event too"},
	"mqtt/collector": {
		"agent/crimp":   "the step of a press's scale is a length",
		"agent/record":  "a press makes records",
		"agent/station": "its history counts what the views count",
		"mqtt":          "what is collected was published by the real publisher",
		"mqtt/broker":   "the publisher is connected by it",
		"store":         "it sends again what it kept",
	},
}

// homes are the only places of other people's modules: a package, or a single
// file, so that each can be exchanged there. A module with two homes has two rows. Tests may import what they like.
var homes = []struct{ module, home, why string }{
	{"github.com/alecthomas/kong", "agent", "the command line"},
	{"golang.org/x/term", "agent/operator.go", "a PIN that the terminal does not show"},
	{"golang.org/x/sync", "agent", "the group of all that runs"},
	{"github.com/pelletier/go-toml/v2", "agent/config", "the configuration's language"},
	{"github.com/mochi-mqtt/server/v2", "agent/rehearsal", "the broker of the demo"},
	{"github.com/creack/pty", "agent/rehearsal", "the serial line of the simulated caliper"},
	{"go.bug.st/serial", "caliper/port/serial.go", "the serial port"},
	{"go.etcd.io/bbolt", "store", "the store's file"},
	{"github.com/hanwen/go-fuse/v2", "store/faulty", "a file system with faults, for tests"},
	{"github.com/eclipse/paho.mqtt.golang", "mqtt/broker", "the broker's protocol"},
	{"google.golang.org/protobuf/encoding/protowire", "mqtt/sparkplug", "the wire format of Sparkplug's payloads"},
	{"github.com/eclipse/paho.mqtt.golang", "mqtt/collector", "the same, for who listens"},
	{"github.com/jackc/pgx/v5", "mqtt/collector", "the database of what was collected"},
	{"periph.io/x", "sensors", "the input lines"},
	{"gonum.org/v1/gonum", "agent/stats", "distributions, quadrature, linear algebra"},
	{"codeberg.org/go-pdf/fpdf", "agent/report/sheet.go", "the papers' PDF"},
	{"github.com/boombuler/barcode", "agent/report/code.go", "QR codes and Code 128"},
	{"golang.org/x/image", "agent/report/sheet.go", "the papers' type"},
	{"github.com/alecthomas/kong", "deploy/package", "its command line"},
	{"github.com/google/licensecheck", "deploy/package", "the licences of what is in the program"},
	{"github.com/CycloneDX/cyclonedx-go", "deploy/package", "the bill of materials"},
	{"golang.org/x/image", "deploy/package/font.go", "the font's own licence"},
	{"golang.org/x/sys", "", "calls to the kernel: wherever a device is"},
}

// clockless are packages and files that are told the time and never look at a
// clock or wait, so that a replay of their inputs gives the same once more.
var clockless = []string{
	"agent/crimp", "agent/crimp/study", "agent/record", "agent/station", "agent/stats", "agent/tape", "agent/config", "agent/label", "agent/words", "agent/report",
	"caliper/frame", "caliper/reader.go", "caliper/line.go", "caliper/garbage.go", "caliper/settle.go", "sensors/scanner/reader.go",
	"agent/people/door.go", "agent/people/session.go", "agent/people/tally.go", "agent/people/watched.go", "agent/people/refused.go",
	"mqtt/sparkplug/payload.go", "mqtt/sparkplug/value.go", "mqtt/sparkplug/decode.go", "mqtt/sparkplug/topic.go", "mqtt/sparkplug/host.go",
	"sensors/filter.go", "sensors/due.go", "sensors/state.go", "sensors/fault.go", "sensors/storm.go", "sensors/search.go",
}

// clocks are what package time has for looking at a clock and for waiting.
var clocks = []string{"Now", "Since", "Until", "Sleep", "After", "AfterFunc", "Tick", "NewTimer", "NewTicker"}

// rehearsed is what the simulated press may use of package sensors: the shape
// of contacts, nothing that watches or opens them.
var rehearsed = []string{"Contacts", "Levels"}

// source is one file of the module.
type source struct {
	name    string // from the root, with slashes
	folder  string // its package
	test    bool
	imports map[string]string // path to the name it has in the file
	syntax  *ast.File
}

// sources parses every Go file of the module, whatever it is built for.
func sources(t *testing.T) []source {
	t.Helper()
	var all []source
	set := token.NewFileSet()
	err := filepath.WalkDir("..", func(name string, d fs.DirEntry, err error) error {
		switch {
		case err != nil:
			return err
		case d.IsDir() && name != ".." && (strings.HasPrefix(d.Name(), ".") || d.Name() == "testdata"):
			return fs.SkipDir
		case d.IsDir() || filepath.Ext(name) != ".go":
			return nil
		}
		parsed, err := parser.ParseFile(set, name, nil, parser.SkipObjectResolution)
		if err != nil {
			return err
		}
		from, err := filepath.Rel("..", name)
		if err != nil {
			return err
		}
		f := source{
			name: filepath.ToSlash(from), folder: path.Dir(filepath.ToSlash(from)),
			test: strings.HasSuffix(name, "_test.go"), imports: map[string]string{}, syntax: parsed,
		}
		for _, i := range parsed.Imports {
			p, err := strconv.Unquote(i.Path.Value)
			if err != nil {
				return err
			}
			f.imports[p] = path.Base(p)
			if i.Name != nil {
				f.imports[p] = i.Name.Name
			}
		}
		all = append(all, f)
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	if len(all) < 100 {
		t.Fatalf("%d files: the walk has missed the module", len(all))
	}
	return all
}

// uses are the names of an imported package that the file writes.
func (f source) uses(imported string) []string {
	name, ok := f.imports[imported]
	if !ok {
		return nil
	}
	used := map[string]bool{}
	ast.Inspect(f.syntax, func(n ast.Node) bool {
		if s, ok := n.(*ast.SelectorExpr); ok {
			if x, ok := s.X.(*ast.Ident); ok && x.Name == name {
				used[s.Sel.Name] = true
			}
		}
		return true
	})
	return slices.Sorted(maps.Keys(used))
}

// within says whether the file is the home or lies in it.
func (f source) within(home string) bool { return home == "" || f.name == home || f.folder == home }

func TestImportDirections(t *testing.T) {
	used := map[string]map[string]bool{}
	for _, f := range sources(t) {
		allowed, known := directions[f.folder]
		if !known {
			t.Errorf("%s: package %s has no row in directions: add one in the commit that adds the package", f.name, f.folder)
			continue
		}
		for p := range f.imports {
			to, ours := strings.CutPrefix(p, "benchtally/")
			if !ours || to == f.folder {
				continue
			}
			_, good := allowed[to]
			if good && !f.test {
				if used[f.folder] == nil {
					used[f.folder] = map[string]bool{}
				}
				used[f.folder][to] = true
			}
			if !good && f.test {
				_, good = testDirections[f.folder][to]
			}
			if !good {
				t.Errorf("%s imports %s, which directions does not allow to %s: "+
					"do without, or change the table in the same commit and say why", f.name, to, f.folder)
			}
		}
	}
	for from, allowed := range directions {
		for to := range allowed {
			if !used[from][to] {
				t.Errorf("directions allows %s to import %s, which it does not: take it out in the same commit", from, to)
			}
		}
	}
}

func TestModulesStayAtHome(t *testing.T) {
	for _, f := range sources(t) {
		if f.test {
			continue
		}
		for p := range f.imports {
			first, _, _ := strings.Cut(p, "/")
			if !strings.Contains(first, ".") {
				continue // ours, or the standard library's
			}
			var at []string
			for _, h := range homes {
				if p == h.module || strings.HasPrefix(p, h.module+"/") {
					at = append(at, h.home)
				}
			}
			if len(at) == 0 {
				t.Errorf("%s imports %s, which has no home: add it to homes in the same commit and say what it is for", f.name, p)
			} else if !slices.ContainsFunc(at, f.within) {
				t.Errorf("%s imports %s, which is at home in %q only", f.name, p, at)
			}
		}
	}
}

func TestNoClock(t *testing.T) {
	seen := map[string]bool{}
	for _, f := range sources(t) {
		i := slices.IndexFunc(clockless, f.within)
		if i < 0 || f.test {
			continue
		}
		seen[clockless[i]] = true
		if f.imports["time"] == "." {
			t.Errorf("%s imports time without its name", f.name)
		}
		for _, name := range f.uses("time") {
			if slices.Contains(clocks, name) {
				t.Errorf("%s uses time.%s: it is told the time and does not wait", f.name, name)
			}
		}
	}
	for _, name := range clockless {
		if !seen[name] {
			t.Errorf("%s is in clockless and is not there: name what took its place", name)
		}
	}
}

func TestRehearsalUsesShapesOnly(t *testing.T) {
	var used []string
	for _, f := range sources(t) {
		if f.folder == "agent/rehearsal" && !f.test {
			used = append(used, f.uses("benchtally/sensors")...)
		}
	}
	slices.Sort(used)
	if used = slices.Compact(used); !slices.Equal(used, rehearsed) {
		t.Errorf("package rehearsal uses %q of package sensors, want %q", used, rehearsed)
	}
}
