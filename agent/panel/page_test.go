package panel

import (
	"context"
	"flag"
	"fmt"
	"io/fs"
	"math"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"

	"benchtally/agent/crimp"
	"benchtally/agent/record"
	"benchtally/agent/report"
	"benchtally/agent/station"
	"benchtally/agent/words"
)

var update = flag.Bool("update", false, "write testdata anew")

func get(t *testing.T, h http.Handler, path string) *httptest.ResponseRecorder {
	t.Helper()
	w := httptest.NewRecorder()
	h.ServeHTTP(w, httptest.NewRequest(http.MethodGet, "http://localhost"+path, nil))
	return w
}

// ready is a desk with everything that a page can offer.
func ready(act Act) Desk {
	return Desk{
		Act:  act,
		Jobs: shopJobs,
		Scan: func(context.Context, string, string) (Scanned, error) { return Scanned{Said: "cage C-21 loaded"}, nil },
		Paper: func(_ context.Context, p PaperRequest) (Paper, error) {
			return Paper{Name: p.Kind + ".pdf", Type: "application/pdf", Body: []byte("%PDF " + p.ID + " " + p.Language)}, nil
		},
		Series: func(context.Context) (report.Series, error) { return report.Series{}, nil },
		Checks: func(context.Context) ([]station.CaliperEntry, error) { return checkedBefore(), nil },
	}
}

// checkedBefore are seven checks of the caliper, the newest first; the second was bad.
func checkedBefore() []station.CaliperEntry {
	var all []station.CaliperEntry
	for i := range 7 {
		all = append(all, station.CaliperEntry{
			At: began.Add(-time.Duration(i) * time.Hour), Seq: uint64(90 - 10*i), Standard: "ring-25", Nominal: 25 * crimp.Millimetre,
			Value: 25 * crimp.Millimetre, OK: true, Operator: "kj",
		})
	}
	all[1].OK, all[1].Value, all[1].Doubt = false, 25_060_000, 71
	all[6].Standard, all[6].Nominal, all[6].Value, all[6].Operator = "", 0, 0, ""
	return all
}

func did(context.Context, station.Action) (string, error) { return "", nil }

// draw draws a view of a snapshot, without what differs each time.
func draw(t *testing.T, path string, s Snapshot) string {
	t.Helper()
	b := NewBoard("north-bench", testShop())
	b.Publish(s)
	w := get(t, b.Handler(ready(did), Options{}), path)
	if w.Code != http.StatusOK {
		t.Fatalf("%s: got %d to %q: %s", path, w.Code, w.Header().Get("Location"), w.Body)
	}
	html := regexp.MustCompile(`(name="key" value=)"[A-Z2-7]+"`).ReplaceAllString(w.Body.String(), `$1"key"`)
	html = strings.ReplaceAll(html, build, "build")
	return regexp.MustCompile(`data-age="[0-9]+"`).ReplaceAllString(html, `data-age="0"`)
}

// fragment draws the part of the board that follows the station.
func drawFragment(t *testing.T, s Snapshot) string {
	t.Helper()
	b := NewBoard("north-bench", testShop())
	b.Publish(s)
	f, _, err := b.live(words.English)
	if err != nil {
		t.Fatal(err)
	}
	return string(f.html)
}

// paths are all views that a moment with a job card in work has.
var paths = []string{
	"/", "/menu", "/order", "/order/change", "/order/lots", "/start", "/start/typed", "/assemblies", "/assembly/1",
	"/assembly/1/length", "/assembly/1/angle", "/assembly/1/proof", "/setting", "/last", "/last/measure", "/last/measure?typed=",
	"/scrap?assembly=1", "/scrap?piece=A-1001%2F1", "/scrap?piece=A-1001%2F1&typed=", "/cage", "/cage/load", "/cage/load?typed=", "/cage/teardown",
	"/caliper", "/caliper/checks", "/who", "/who?typed=", "/pictures", "/papers", "/language", "/links",
}

func TestPagesAsTheyWere(t *testing.T) {
	for name, s := range states(t) {
		t.Run(name, func(t *testing.T) {
			golden(t, name+".html", draw(t, "/", s))
		})
	}
	busy := states(t)["turn"]
	for _, path := range paths[1:] {
		name := "view-" + strings.Trim(regexp.MustCompile(`[^a-z0-9]+`).ReplaceAllString(strings.ToLower(path), "-"), "-") + ".html"
		t.Run(name, func(t *testing.T) {
			golden(t, name, draw(t, path, busy))
		})
	}
	golden(t, "view-sign.html", draw(t, "/sign", states(t)["sign"]))
}

func golden(t *testing.T, name, got string) {
	t.Helper()
	path := filepath.Join("testdata", name)
	if *update {
		if err := os.WriteFile(path, []byte(got), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if got != string(want) {
		t.Errorf("%s is no longer drawn as it was; look at the difference, then run go test -update\ngot:\n%s", path, got)
	}
}

// What people typed cannot become part of the page.
func TestEscaping(t *testing.T) {
	const bad = `<script>alert(1)</script>"'`
	s := newShop(t).act(station.Action{Do: station.DoStart, Order: bad, Spec: "hs-08", Quantity: 2, Operator: bad}).stroke().snapshot()
	s.Press = bad
	s.Links = []Link{{Name: bad, Text: bad}, {Name: "caliper", Text: bad}}
	s.View.Cage = bad
	for _, path := range []string{"/", "/menu", "/order", "/cage", "/who", "/links", "/last", "/papers", "/scrap?piece=" + url.QueryEscape(bad+"/1")} {
		html := draw(t, path, s)
		if strings.Contains(html, "<script>") || strings.Contains(html, "alert(1)</script>") {
			t.Errorf("%s: what was typed stands in the page as it is", path)
		}
	}
	for _, html := range []string{draw(t, "/", s), drawFragment(t, s)} {
		if strings.Contains(html, "<script>") || !strings.Contains(html, "&lt;script&gt;alert(1)") {
			t.Error("what was typed is not shown, or as it is")
		}
	}
}

// Nothing on the page may read as if an assembly could be used.
func TestForbiddenWords(t *testing.T) {
	forbidden := regexp.MustCompile(`(?i)\b(safe(ly)?|approv\w+|certif(y|ies|ied)|releas\w+|ok to|ready for|pass(ed)?|go/no-go|recipe|danger|warning|caution)\b`)
	standingWord := "current crimp specification"
	var all strings.Builder
	for _, dir := range []fs.FS{sources, static} {
		err := fs.WalkDir(dir, ".", func(path string, d fs.DirEntry, err error) error {
			if err == nil && !d.IsDir() {
				b, _ := fs.ReadFile(dir, path)
				all.Write(b)
			}
			return err
		})
		if err != nil {
			t.Fatal(err)
		}
	}
	busy := states(t)["turn"]
	for _, language := range words.Languages() {
		for _, path := range paths {
			html := draw(t, withLanguage(path, language), busy)
			if language == words.English {
				all.WriteString(html)
			}
			if strings.Contains(html, "%!") {
				t.Errorf("%s in %s: a phrase lacks its arguments", path, language)
			}
		}
	}
	for _, s := range states(t) {
		for _, path := range []string{"/", "/menu"} {
			html := draw(t, path, s)
			if !strings.Contains(html, standingWord) || !strings.Contains(html, "Advice only.") {
				t.Errorf("%s: the standing sentence is missing", path)
			}
			all.WriteString(html)
		}
	}
	if found := forbidden.FindAllString(all.String(), -1); found != nil {
		t.Errorf("forbidden words: %q", found)
	}
}

func withLanguage(path, language string) string {
	if strings.Contains(path, "?") {
		return path + "&lang=" + language
	}
	return path + "?lang=" + language
}

func TestEveryViewSaysPractice(t *testing.T) {
	real := states(t)["turn"]
	demo := real
	demo.Demo = true
	for _, path := range paths {
		if html := draw(t, path, demo); !strings.Contains(html, `<b class="practice">Practice</b>`) {
			t.Errorf("%s does not say that it is practice", path)
		}
		if html := draw(t, path, real); strings.Contains(html, "Practice") {
			t.Errorf("%s says practice of a real press", path)
		}
	}
	if !strings.Contains(drawFragment(t, demo), `<b class="practice">Practice</b>`) {
		t.Error("the part that follows the station does not say that it is practice")
	}
}

func TestWordsOfThePage(t *testing.T) {
	old := newShop(t).start(6)
	old.do(station.Retract{At: old.at})
	for _, c := range []struct {
		name string
		shop *shop
		want []string
	}{
		{"pieces", newShop(t).start(6).stroke().read("1.2000"), []string{"Piece 1 of 6", "place 1", "on target"}},
		{"crimped again", newShop(t).start(6).stroke().read("1.2080", "1.2080", "1.2080").stroke(), []string{"Piece 1 of 6, crimp 2"}},
		{"more than ordered", newShop(t).start(1).strokes(2), []string{"Piece 2, 1 ordered"}},
		{"millimetres", newShop(t).act(station.Action{Do: station.DoStart, Order: "B-7", Spec: "hs-12", Quantity: 2}), []string{"38.000", "mm", "37.900 mm", "38.100 mm"}},
		{"under", newShop(t).start(6).stroke().read("1.1990"), []string{"0.0010 in", "below target"}},
		{"scrap is counted", newShop(t).start(6).stroke().read("1.1930", "1.1930", "1.1930"), []string{"1 scrap", "0.0020 in under the lower limit", `data-verdict="scrap"`, "judged low"}},
		{"setting advised", newShop(t).start(6).stroke().read("1.1930", "1.1930", "1.1930"), []string{">127<", "now 120", "Set to 127"}},
		{"care", newShop(t).start(6).strokes(2), []string{"Lubricate in 48", "Tear down in 998"}},
		{"care due", newShop(t).start(90).strokes(50), []string{"Lubricate now"}},
		{"care overdue", newShop(t).start(90).strokes(53).read("1.2000", "1.2000", "1.2000").set(120), []string{"Lubricate now", "Lubrication of cage C-21 is 3 strokes over", ">Lubricated<"}},
		{"fully retracted", old, []string{"If the cage was changed, load it under More."}},
		{"piece left", newShop(t).start(6).stroke().read("1.2000").stroke(), []string{"Piece 1 not judged: 1 of 3 readings were taken before the next stroke"}},
		{"unsure", newShop(t, func(r *station.Rules) { r.Judge.Confidence = 0.95 }).start(6).stroke().read("1.2050", "1.2050", "1.2045"),
			[]string{`data-verdict="unsure"`, "caliper cannot tell", `name="piece" value="A-1001/1"`, ">Measure again<"}},
		{"complete", newShop(t).start(1).stroke().read("1.2000", "1.2000", "1.2000").set(120), []string{">Finish order<"}},
		{"caliper", newShop(t).start(1).lose("caliper", "not connected"), []string{"<span>Caliper</span> <em>fault</em>", "Look at the caliper"}},
		{"broker", newShop(t).start(1).lose("broker", "no answer"), []string{"<span>Broker</span> <em>away</em>"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			html := drawFragment(t, c.shop.snapshot())
			for _, want := range c.want {
				if !strings.Contains(html, want) {
					t.Errorf("no %q in\n%s", want, html)
				}
			}
		})
	}
}

func TestQueueIsTold(t *testing.T) {
	for _, c := range []struct {
		ok    bool
		queue uint64
		want  string
	}{
		{true, 0, ""}, {true, 12, "12 wait"}, {true, 999, "999 wait"}, {true, 123_456, "123k wait"},
		{true, 7_000_000, "999k wait"}, {false, 0, "away"}, {false, 12, "away"},
	} {
		if got := english(Snapshot{Queue: c.queue}).waiting(c.ok); got != c.want {
			t.Errorf("working %v, %d wait: got %q, want %q", c.ok, c.queue, got, c.want)
		}
	}
	p := newShop(t).lose("broker", "no answer since 09:12")
	p.queue = 123_456
	if html := draw(t, "/links", p.snapshot()); !strings.Contains(html, "Broker: no answer since 09:12, events waiting: 123456") {
		t.Errorf("the queue is not told:\n%s", html)
	}
}

// Each verdict has its own word and its own shape, so that colour is not needed.
func TestVerdictsDiffer(t *testing.T) {
	seen := map[string]crimp.Outcome{}
	for _, outcome := range []crimp.Outcome{crimp.Pass, crimp.Recrimp, crimp.Scrap, crimp.Unsure} {
		r := &record.Record{Mean: record.Ptr(length("1.2in")), Outcome: outcome}
		j := english(Snapshot{}).newJudged(shopSpecs()[0], r)
		for _, key := range []string{"word " + j.Word, "shape " + j.Shape} {
			if other, twice := seen[key]; twice || strings.HasSuffix(key, " ") {
				t.Errorf("%s: %q is also that of %q", outcome, key, other)
			}
			seen[key] = outcome
		}
	}
}

// Text stands out at least 7:1 from its ground and lines 3:1, in the light and in
// the dark (WCAG 2.2, 1.4.6 and 1.4.11).
func TestContrast(t *testing.T) {
	css, err := fs.ReadFile(static, "static/panel.css")
	if err != nil {
		t.Fatal(err)
	}
	blocks := regexp.MustCompile(`:root \{([^}]*)\}`).FindAllStringSubmatch(string(css), -1)
	if len(blocks) < 2 {
		t.Fatalf("got %d sets of colours, want light and dark", len(blocks))
	}
	for i, theme := range []string{"light", "dark"} {
		colours := map[string]string{}
		for _, m := range regexp.MustCompile(`--([a-z-]+): #([0-9a-f]{6});`).FindAllStringSubmatch(blocks[i][1], -1) {
			colours[m[1]] = m[2]
		}
		for _, c := range []struct {
			text, ground string
			want         float64
		}{
			{"ink", "paper", 7}, {"soft", "paper", 7}, {"act", "paper", 7}, {"on-act", "act", 7}, {"old", "paper", 7},
			{"within", "paper", 7}, {"large", "paper", 7}, {"unsure", "paper", 7}, {"on-scrap", "scrap", 7}, {"line", "paper", 3},
		} {
			if got := contrast(t, colours[c.text], colours[c.ground]); got < c.want {
				t.Errorf("%s: %s on %s: contrast %.2f, want %g", theme, c.text, c.ground, got, c.want)
			}
		}
	}
}

// contrast is the contrast ratio of two colours (WCAG 2.2, relative luminance).
func contrast(t *testing.T, a, b string) float64 {
	t.Helper()
	light := func(hex string) (l float64) {
		for i, weight := range []float64{0.2126, 0.7152, 0.0722} {
			n, err := strconv.ParseUint(hex[2*i:2*i+2], 16, 8)
			if err != nil {
				t.Fatal(err)
			}
			c := float64(n) / 255
			if c <= 0.04045 {
				c /= 12.92
			} else {
				c = math.Pow((c+0.055)/1.055, 2.4)
			}
			l += weight * c
		}
		return l
	}
	la, lb := light(a), light(b)
	return (max(la, lb) + 0.05) / (min(la, lb) + 0.05)
}

// The page loads from nowhere else, has no script or style of its own, and stays
// small: below 60 kB with all that it needs.
func TestPageIsSelfContained(t *testing.T) {
	size := 0
	for _, path := range []string{"static/panel.css", "static/panel.js", "static/keypad.js", "static/scanner.js", "static/icon.svg"} {
		b, err := fs.ReadFile(static, path)
		if err != nil {
			t.Fatal(err)
		}
		size += len(b)
		if strings.Contains(strings.ReplaceAll(string(b), "http://www.w3.org/2000/svg", ""), "//") && !strings.HasSuffix(path, ".js") {
			t.Errorf("%s names an address", path)
		}
	}
	largest := 0
	moments := states(t)
	for _, s := range moments {
		largest = max(largest, len(draw(t, "/", s)))
	}
	for _, path := range paths {
		html := draw(t, path, moments["turn"])
		largest = max(largest, len(html))
		for _, bad := range []string{"http://", "https://", " style=", "<style", " onclick=", "javascript:"} {
			if strings.Contains(strings.ReplaceAll(html, "http://www.w3.org/2000/svg", ""), bad) {
				t.Errorf("%s has %q", path, bad)
			}
		}
		if n := strings.Count(html, "<script"); n != 1 {
			t.Errorf("%s has %d scripts, want the one that is loaded", path, n)
		}
	}
	if size += largest; size > 60_000 {
		t.Errorf("the page weighs %d bytes, want at most 60,000", size)
	}
}

func ExampleBoard_Now() {
	b := NewBoard("north-bench", Shop{})
	b.Publish(Snapshot{At: began, Queue: 3})
	fmt.Println(b.Now().Press, b.Now().Queue)
	// Output: north-bench 3
}
