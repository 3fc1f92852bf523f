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

// makers are the files that make sentences which are kept in records, told by
// devices or answered to the page.
var makers = []string{
	"../crimp/*.go", "../station/*.go", "../label/*.go", "../people/*.go", "../panel/*.go", "../report/*.go",
	"../config/column.go", "../config/file.go", "../config/jobs.go", "../config/sheet.go", "../config/suggest.go",
	"../archive.go", "../bench.go", "../clock.go", "../expiry.go", "../health.go", "../intake.go", "../jobs.go", "../keypair.go", "../page.go", "../papers.go", "../scan.go", "../trouble.go",
	"../../caliper/*.go", "../../caliper/frame/*.go", "../../caliper/port/*.go", "../../mqtt/*.go", "../../mqtt/broker/*.go", "../../mqtt/sparkplug/link.go", "../../mqtt/sparkplug/node.go", "../../sensors/scanner/*.go", "../../sensors/*.go", "../../store/*.go",
}

// untold are texts of the makers that never come to a person who reads another
// language, and why: all of a file where text is empty.
var untold = []struct{ file, text, why string }{
	{"crimp/cleanliness.go", "", "told at the command line"},
	{"crimp/hose.go", "", "faults of files, told when they are read"},
	{"crimp/length.go", "", "faults of files and flags; the page reads its fields itself"},
	{"crimp/pace.go", "", "a fault of the kept state, told at the start"},
	{"crimp/pressure.go", `unit %q: want "bar", "MPa", "kPa" or "psi"`, "told at the command line"},
	{"crimp/pressure.go", `empty pressure: write a number with its unit, such as "350bar" or "5000psi"`, "an empty cell is no pressure"},
	{"config/column.go", "want an id for this line, such as hs-08", "of specs files, told at the start"},
	{"config/column.go", "want the die cage that the maker's sheet names", "of specs files, told at the start"},
	{"config/column.go", "want the crimp diameter with its unit, such as 1.204in", "of specs files, told at the start"},
	{"config/column.go", "want how far above the diameter is allowed, such as 0.010in", "of specs files, told at the start"},
	{"config/column.go", "want how far below the diameter is allowed, such as 0.010in", "of specs files, told at the start"},
	{"config/column.go", "want the setting that should give the diameter", "of specs files, told at the start"},
	{"config/column.go", "want %s to %s", "of specs files, told at the start"},
	{"config/column.go", ", did you mean %s?", "of specs files, told at the start"},
	{"config/column.go", "write it without a sign: ", "of specs files, told at the start"},
	{"station/station.go", "read the kept state: it ends at record %d, the store says %d", "told at the start"},
	{"station/station.go", "record %d comes after record %d", "told at the start"},
	{"station/span.go", "", "units, alike in all languages"},
	{"people/badge.go", "", "a fault of the operators file, told at the command line and in the log"},
	{"people/file.go", "", "faults of the operators file, told at the command line and in the log"},
	{"people/parse.go", "", "faults of the operators file, told at the command line and in the log"},
	{"people/person.go", "", "told at the command line"},
	{"people/pin.go", "", "told at the command line"},
	{"people/proxy.go", "", "a fault of the configuration"},
	{"people/roll.go", "", "told at the command line"},
	{"panel/board.go", "", "a fault of the program"},
	{"panel/form.go", "", "forms that this page never sends; what people typed is told by the catalogue"},
	{"panel/handler.go", "", "a header, and a fault of the program"},
	{"report/certificate.go", "  ·  SHA-256 ", "a name"},
	{"report/materials.go", " bar (", "units"},
	{"report/certificate.go", "Advice only. The hose and fitting maker's current crimp specification, local codes and trained people decide.", "said by its name"},
	{"report/digest.go", "RECORD %s STORE %s SEQ %d-%d SHA256 %s", "for a program that reads it"},
	{"report/handover.go", "in work", "a state, which is said in words of its own"},
	{"report/svg.go", "", "markup"},
	{"report/options.go", "", "the form of a time"},
	{"agent/bench.go", "%d inputs could not be kept: %s", "told at the end"},
	{"agent/intake.go", "go on from where the inputs stood: %w", "told at the start"},
	{"agent/keypair.go", "2 January 2006 15:04", "the form of a time"},
	{"agent/papers.go", "text/csv; charset=utf-8", "a media type"},
	{"caliper/port.go", "", "faults of the configuration"},
	{"caliper/run.go", `caliper port: the trigger "request" needs the request that asks for a reading, such as "R\r"`, "a fault of the configuration"},
	{"port/wedge.go", `a device that types like a keyboard cannot be asked: set its trigger to "send"`, "a fault of the configuration"},
	{"port/list.go", "", "told at the command line"},
	{"caliper/settings.go", "", "a fault of the configuration"},
	{"caliper/state.go", "", "a fault of the kept state, told at the start"},
	{"port/port.go", "", "faults of the configuration"},
	{"port/udev.go", "", "a rule of udev"},
	{"caliper/listen.go", "", "told at the command line"},
	{"frame/encode.go", "", "of the simulated caliper"},
	{"sensors/board.go", "", "told at the command line"},
	{"sensors/chips.go", "keep standard input: %w", "a fault of the program"},
	{"sensors/chips.go", "put standard input back: %w", "a fault of the program"},
	{"sensors/lines.go", "%s (%s)", "names"},
	{"sensors/lines.go", "%s is on %s", "names of lines and chips"},
	{"sensors/lines.go", "%s with %d lines", "names of chips"},
	{"sensors/periph.go", "%s: %w", "names the line of an error that is told"},
	{"sensors/periph.go", "%s by %s", "names of lines and programs"},
	{"sensors/periph.go", "at the start ", "told at the start"},
	{"sensors/state.go", "", "a fault of the kept state, told at the start"},
	{"broker/ear.go", "connection given up", "told to the connection's other goroutine"},
	{"broker/broker.go", "", "faults of the configuration"},
	{"broker/session.go", "the broker does not grant the subscription", "told with the topic"},
	{"sparkplug/link.go", "the primary host is offline", "told with the host's name"},
	{"sparkplug/link.go", "connection lost", "told with the cause"},
	{"sparkplug/link.go", "the broker does not acknowledge the death of the node", "told in the log"},
	{"sparkplug/node.go", "sparkplug births", "a name in the store"},
	{"sparkplug/node.go", "sparkplug image", "a name in the store"},
	{"sparkplug/node.go", "sparkplug past", "a name in the store"},
	{"sparkplug/node.go", "client id %.140q: want 1 to 128 bytes without control characters", "a fault of the configuration"},
	{"sparkplug/node.go", "%v: want %v to 12 h", "a fault of the program"},
	{"sparkplug/node.go", "sparkplug: %w", "faults of the configuration"},
	{"broker/address.go", "", "faults of the configuration"},
	{"mqtt/forget.go", "", "told by the command"},
	{"mqtt/described.go", "", "told by the command"},
	{"store/mark.go", "", "told in the log"},
	{"mqtt/link.go", "connection lost", "told to the connection's other goroutine"},
	{"mqtt/link.go", "no PUBACK", "told in the log"},
	{"mqtt/link.go", "%w for %s", "told in the log"},
	{"mqtt/publisher.go", "events are left unsent: %w", "told at the end"},
	{"mqtt/event.go", "", "a fault of the program, told in the log"},
	{"mqtt/settings.go", "", "faults of the configuration"},
	{"mqtt/topic.go", "", "faults of the configuration"},
	{"store/append.go", "", "faults of the program, told in the log"},
	{"store/backup.go", "", "told at the command line"},
	{"store/condense.go", "", "told in the log"},
	{"store/create.go", "", "told at the start"},
	{"store/days.go", "", "what is damaged, for who mends it"},
	{"store/outbox.go", "", "what is damaged, for who mends it"},
	{"store/pack.go", "", "what is damaged, for who mends it"},
	{"store/pages.go", "", "what is damaged, for who mends it"},
	{"store/prune.go", "", "what is damaged, told in the log"},
	{"store/records.go", "", "what is damaged, for who mends it"},
	{"store/resend.go", "", "told at the command line"},
	{"store/ring.go", "", "what is damaged, for who mends it"},
	{"store/waiting.go", "", "what is damaged, for who mends it"},
	{"store/entry.go", "", "what is damaged, for who mends it"},
	{"store/open.go", "", "told at the start"},
	{"store/store.go", "", "told at the start"},
	{"store/rescue.go", "", "told at the command line and in the log"},
	{"store/finish.go", "", "told at the command line and in the log"},
	{"store/rescued.go", "what is told of a rescue: %v", "told at the command line and in the log"},
	{"store/salvage.go", "", "told at the command line and in the log"},
	{"store/aside.go", "", "told at the start"},
	{"store/confirm.go", "", "its failing is told as the commit's"},
	{"store/restore.go", "", "told at the command line"},
	{"store/suspect.go", "", "told at the start"},
	{"store/lost.go", "", "what is damaged, for who mends it"},
	{"store/holder_linux.go", "", "told at the start"},
	{"store/errors.go", "store: %s %w (%s)", "told at the start"},
	{"store/value.go", "", "what is damaged, for who mends it"},
	{"store/verify.go", "", "told at the command line"},
}

// examples are texts whose arguments are words of the program, as they come out:
// in another language they are several sentences.
var examples = map[string][]string{
	"%s under the %s limit": {"0.1 in under the upper limit", "0.1 in under the lower limit"},
	"%s over the %s limit":  {"less than 0.001 mm over the upper limit", "0.1 in over the lower limit"},
	"on the ":               {"on the upper limit", "on the lower limit"},
	"%s %s: %s": { // what an advice aims at
		"085 comes out 0.1 in small ± 0.2 in (what the shop expects); aim 0.1 in high: an undersize end is scrap",
		"085 comes out on target ± 0.2 in (7 first crimps); aim 0.1 in low: a second stroke costs more than scrap",
		"085 comes out 0.1 in large ± 0.2 in (1 first crimp and 2 earlier set-ups); within the dead band, leave it",
	},
	"an end":                                {`"X-1" is no point of an end: want one of X-1, X-2`},
	"an assembly":                           {`"X-1" is no point of an assembly: want one of X-1, X-2`},
	"%q is no point of %s: want one of %s":  {},
	"given up":                              {"assembly 7 of order X-1 is given up already", "piece X-1 is given up already"},
	"not given up":                          {"assembly 7 of order X-1 is not given up already", "piece X-1 is not given up already"},
	"assembly %d of order %s is %s already": {},
	"piece %s is %s already":                {},
	"the %s is longer than %d characters":   {"the finding is longer than 128 characters", "the reason is longer than 128 characters"},
	"the %s holds a character that cannot be written": {"the finding holds a character that cannot be written"},
	"no %s is named": {"no operator is named", "no cage is named"},
	"the name of the %s is longer than 64 characters":                       {"the name of the maker is longer than 64 characters"},
	"the name of the %s holds a character that cannot be written":           {"the name of the lot holds a character that cannot be written"},
	"the switch cannot be read: ":                                           {"the switch cannot be read: open X-1 of X-2: X-1: used by another program (gpioinfo names the program): device or resource busy"},
	"%s is gone: plug the %s's cable in again, the port is found by itself": {"X-1 is gone: plug the caliper's cable in again, the port is found by itself"},
	"open %s of %s": {"open X-1 of X-2: permission denied"},
	"more fault":    {}, "%s; and %s: benchtally check tells all": {
		`X-1: is empty, and there is a tolerance to it: write the overall length as well; and 1 more fault: benchtally check tells all`,
		"X-1: is UTF-16: save it as UTF-8; and 12 more faults: benchtally check tells all",
	},
	"the columns are separated by ": {"the columns are separated by tabs: save the sheet with commas between them"},
	"is damaged":                    {"store: X-1 is damaged: X-2; see what is left with `benchtally verify`; `benchtally run` sets the file aside and goes on with that, or restore a backup"},
	"see what is left with `benchtally verify`; `benchtally run` sets the file aside and goes on with that, or restore a backup": {},
	"is in use by another benchtally; stop it or ask it":                                                                         {"store: X-1 is in use by another benchtally; stop it or ask it"},
	"was written by a newer benchtally; install that one":                                                                        {"store: X-1 was written by a newer benchtally; install that one"},
	"is full; free space on the card, or prune what was sent":                                                                    {"keep records: store: X-1 is full; free space on the card, or prune what was sent (no space left on device)"},
	"store: %s %w": {}, "store: %s %w (%v)": {}, "store: %s %w: %s; %s": {},
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
				folder, file := filepath.Split(strings.Replace(name, "../", "agent/", 1))
				all = append(all, made{filepath.Base(folder) + "/" + file, set.Position(l.Pos()).String(), text, joined != nil})
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
		case *ast.CallExpr: // what is looked for, or put between others
			fun, _ := up.Fun.(*ast.SelectorExpr)
			return fun != nil && slices.Contains([]string{"strings", "bytes"}, nameOf(fun.X))
		}
	case *ast.CallExpr:
		switch fun := n.Fun.(type) {
		case *ast.Ident:
			return fun.Name == "panic"
		case *ast.SelectorExpr:
			return slices.Contains([]string{"slog", "regexp", "template", "time"}, nameOf(fun.X)) ||
				slices.Contains([]string{"Say", "Format", "Debug", "Info", "Warn", "Error", "HandleFunc", "Handle", "Set"}, fun.Sel.Name)
		}
	}
	return false
}

// nameOf is an identifier; "": another expression.
func nameOf(e ast.Expr) string {
	id, _ := e.(*ast.Ident)
	if id == nil {
		return ""
	}
	return id.Name
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

// stands says whether nothing of a sentence is English in a language. Words
// between backquotes are commands.
func stands(language, english string) (string, bool) {
	got := In(language).Sentence(english)
	bare := regexp.MustCompile("`[^`]*`|\"[^\"]*\"|sudo [^,;]*").ReplaceAllString(got, "")
	if language == "es" { // which has this word as well
		bare = regexp.MustCompile(`(^|[ (])no `).ReplaceAllString(bare, " ")
	}
	return got, got != english && !plain.MatchString(bare)
}

// TestSentencesAreKnown: what the program says of itself is known again in every
// language, and no sentence is kept that nothing says. The list that fails is what
// a translator has to do.
func TestSentencesAreKnown(t *testing.T) {
	texts := allMade(t)
	if len(texts) < 300 {
		t.Errorf("only %d texts are made: the test has missed some", len(texts))
	}
	met := map[*phrase]bool{}
	tried := map[string]bool{}
	for _, m := range texts {
		tries, given := examples[m.text]
		tried[m.text] = true
		if p := all().phrases[m.text]; !given && p != nil && filepath.Base(p.file) != sentences {
			continue // said by another name; see TestCatalogueIsComplete
		}
		if !given {
			tries = []string{filled(m.text)}
			if m.part {
				tries[0] += "X-1"
			}
		}
		for _, english := range tries {
			all().patterns.meet(english, met, 0)
			if m.part && all().patterns.part(m.text, met) {
				continue
			}
			for _, language := range Languages()[1:] {
				if got, ok := stands(language, english); !ok {
					t.Errorf("%s: %s: %q\nbecomes %q", m.place, language, english, got)
				}
			}
		}
	}
	for _, text := range wants(t) {
		all().patterns.meet(text, met, 0)
	}
	for text := range examples {
		if !tried[text] {
			t.Errorf("nothing says %q any more: take it out of the examples", text)
		}
	}
	var named string // words that are said by another name: points, reasons, what is at fault
	for _, name := range []string{"../config/config.go", "../record/record.go"} {
		text, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		named += string(text)
	}
	said := spoken(t)
	for _, p := range all().phrases {
		if _, is := said[p.key]; filepath.Base(p.file) == sentences && !met[p] && !is && !strange[p.key] &&
			!strings.Contains(named, `"`+p.key+`"`) && !strings.Contains(named, `"`+strings.ReplaceAll(p.key, " ", "-")+`"`) {
			t.Errorf("%s:%d: nothing says %q", p.file, p.line, p.key)
		}
	}
}

// strange are sentences and words that are made elsewhere: by the kernel and Go's
// library, or by another name.
var strange = map[string]bool{
	"file does not exist": true, "no such file or directory": true, "permission denied": true, "device or resource busy": true,
	"input/output error": true, "no space left on device": true,
}

// meet marks the phrases that a sentence has, as a whole or from one of its stops
// on.
func (ps *patterns) meet(english string, met map[*phrase]bool, depth int) {
	ps.meetWhole(english, met, depth)
	for _, s := range stop.FindAllStringIndex(english, -1) {
		ps.meetWhole(english[s[1]:], met, depth)
	}
}

func (ps *patterns) meetWhole(english string, met map[*phrase]bool, depth int) {
	if p := ps.exact[english]; p != nil {
		met[p] = true
	}
	f, args := ps.find(english, true)
	if f == nil {
		f, args = ps.find(english, false)
	}
	if f == nil || depth > deepest {
		return
	}
	met[f.phrase] = true
	for i, arg := range args {
		if f.kinds[i] == "v" {
			ps.meet(arg, met, depth+1)
		}
	}
}

// part marks the phrases that have a text of at least two words in them; false:
// none has.
func (ps *patterns) part(text string, met map[*phrase]bool) bool {
	text = strings.Trim(text, " ;:,.")
	found := false
	for _, p := range all().phrases {
		if filepath.Base(p.file) == sentences && strings.Contains(p.said[0], text) {
			met[p], found = true, true
		}
	}
	return found
}
