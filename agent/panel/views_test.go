package panel

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"strings"
	"testing"
	"time"

	"benchtally/agent/crimp"
	"benchtally/agent/station"
	"benchtally/agent/words"
)

// A long list comes in parts of which none is lost.
func TestListsComeInParts(t *testing.T) {
	b := NewBoard("north-bench", testShop())
	b.Publish(newShop(t).snapshot())
	var jobs []crimp.Job
	for i := range 14 {
		jobs = append(jobs, crimp.Job{Order: fmt.Sprintf("A-%d", 1001+i), Quantity: 2, Ends: [2]crimp.End{{Spec: "hs-08"}}})
	}
	h := b.Handler(Desk{Act: did, Jobs: func() []crimp.Job { return jobs }}, Options{})
	seen := map[string]int{}
	for path := "/start"; path != ""; {
		html := get(t, h, path).Body.String()
		for _, j := range jobs {
			seen[j.Order] += strings.Count(html, `name="order" value="`+j.Order+`"`)
		}
		_, rest, on := strings.Cut(html, `</span><a class="key" href="`)
		if !on {
			_, rest, on = strings.Cut(html, `aria-label="Before"`)
			if on {
				_, rest, on = strings.Cut(rest, `<a class="key" href="`)
			}
		}
		if path, _, _ = strings.Cut(rest, `"`); !on {
			path = ""
		}
	}
	for _, j := range jobs {
		if seen[j.Order] != 1 {
			t.Errorf("order %s is shown %d times", j.Order, seen[j.Order])
		}
	}
	for _, from := range []string{"-6", "999", "x", "13"} {
		if w := get(t, h, "/start?from="+from); w.Code != http.StatusOK || !strings.Contains(w.Body.String(), `name="order"`) {
			t.Errorf("from %s: got %d without an order", from, w.Code)
		}
	}
}

// A view that has nothing to show leads to one that has.
func TestViewsWithoutAnOrder(t *testing.T) {
	d := newDesk()
	d.Publish(newShop(t).snapshot())
	for path, to := range map[string]string{
		"/order": "/start", "/order/change": "/start", "/order/lots": "/order", "/assemblies": "/order", "/assembly/1": "/assemblies",
		"/assembly/x": "/assemblies", "/assembly/1/length": "/assemblies", "/last/measure": "/last", "/scrap?piece=A-1001%2F1": "/",
		"/sign": "/", "/cage/teardown": "/cage", "/who/pin": "/who",
	} {
		if w := get(t, d, path); w.Code != http.StatusSeeOther || w.Header().Get("Location") != to {
			t.Errorf("%s: got %d to %q, want %q", path, w.Code, w.Header().Get("Location"), to)
		}
	}
	for _, path := range []string{"/", "/menu", "/start", "/start/typed", "/setting", "/last", "/cage", "/cage/load", "/caliper", "/who", "/papers", "/pictures"} {
		if w := get(t, d, path); w.Code != http.StatusOK {
			t.Errorf("%s: got %d", path, w.Code)
		}
	}
}

// Each check of the caliper is told once, with what it found and what it means.
func TestChecksOfTheCaliper(t *testing.T) {
	b := NewBoard("north-bench", testShop())
	b.Publish(newShop(t).snapshot())
	h := b.Handler(ready(did), Options{})
	if html := get(t, h, "/caliper").Body.String(); !strings.Contains(html, `href="/caliper/checks"`) {
		t.Error("no way leads to the earlier checks")
	}
	first, rest := get(t, h, "/caliper/checks").Body.String(), get(t, h, "/caliper/checks?from=6").Body.String()
	for text, html := range map[string]string{
		"ring-25: 25.000 mm, should be 25.000 mm · good · kj</dd>":                                               first,
		"ring-25: 25.060 mm, should be 25.000 mm · wrong · kj. Readings from record 71 to 80 are in doubt.</dd>": first,
		`<div class="bad"><dt>` + words.In(words.English).Clock(began.Add(-time.Hour).Local()):                   first,
		"Closed jaws: 0.000 mm · good</dd>":                                                                      rest,
	} {
		if !strings.Contains(html, text) {
			t.Errorf("not told: %s", text)
		}
	}
	if n, m := strings.Count(first, "<dd>"), strings.Count(rest, "<dd>"); n != 6 || m != 1 {
		t.Errorf("%d and %d checks, want 6 and 1", n, m)
	}
	for want, checks := range map[string]func(context.Context) ([]station.CaliperEntry, error){
		"The caliper was not checked yet":                   func(context.Context) ([]station.CaliperEntry, error) { return nil, nil },
		"The records cannot be read: the card is read-only": func(context.Context) ([]station.CaliperEntry, error) { return nil, errors.New("the card is read-only") },
	} {
		html := get(t, b.Handler(Desk{Act: did, Checks: checks}, Options{}), "/caliper/checks").Body.String()
		if !strings.Contains(html, want) {
			t.Errorf("not told: %s", want)
		}
	}
}

// Without a desk that can do it, nothing is offered.
func TestOnlyWhatThereIsIsOffered(t *testing.T) {
	b := NewBoard("north-bench", Shop{})
	b.Publish(newShop(t, withCards).card("A-1001").good().snapshot())
	h := b.Handler(Desk{Act: did}, Options{})
	if html := get(t, h, "/menu").Body.String(); strings.Contains(html, "/papers") {
		t.Error("papers are offered")
	}
	if html := get(t, h, "/assembly/1").Body.String(); strings.Contains(html, "/paper?") {
		t.Error("a label is offered")
	}
	if w := get(t, h, "/start"); w.Header().Get("Location") != "/start/typed" {
		t.Errorf("without job cards: to %q", w.Header().Get("Location"))
	}
	if w := submit(h, "/scan", "text=CAGE+C-21"); w.Code != http.StatusNotFound {
		t.Errorf("scanned: got %d", w.Code)
	}
	if w := submit(h, "/in", "operator=kj&pin=1"); w.Code != http.StatusNotFound {
		t.Errorf("signed in: got %d", w.Code)
	}
	if w := get(t, h, "/paper?kind=handover"); w.Code != http.StatusNotFound {
		t.Errorf("paper: got %d", w.Code)
	}
}

func TestScan(t *testing.T) {
	var got []string
	b := NewBoard("north-bench", Shop{})
	h := b.Handler(Desk{Act: did, Scan: func(_ context.Context, text, who string) (Scanned, error) {
		got = append(got, text+"|"+who)
		switch text {
		case "CAGE C-21":
			return Scanned{Said: "cage C-21 loaded"}, nil
		case "CAGE C-99":
			return Scanned{Refused: "no specification wants cage C-99"}, nil
		}
		return Scanned{}, context.DeadlineExceeded
	}}, Options{})
	for _, c := range []struct {
		form string
		code int
		want string
	}{
		{"text=+CAGE+C-21+", 200, `{"done":true,"said":"cage C-21 loaded"}`},
		{"text=CAGE+C-99", 409, `"said":"Not taken: no specification wants cage C-99"`},
		{"text=CAGE+C-1", 503, `"said":"Not kept: context deadline exceeded. Try again."`},
		{"text=", 400, `"said":"That was no label"`},
		{"text=" + strings.Repeat("x", 300), 400, `"said":"That was no label"`},
	} {
		if w := submit(h, "/scan", c.form); w.Code != c.code || !strings.Contains(w.Body.String(), c.want) {
			t.Errorf("%.20s: got %d %s, want %d %s", c.form, w.Code, w.Body, c.code, c.want)
		}
	}
	if want := "CAGE C-21||CAGE C-99||CAGE C-1|"; strings.Join(got, "|") != want {
		t.Errorf("got %q, want %q", strings.Join(got, "|"), want)
	}
}

func TestFit(t *testing.T) {
	for label, want := range map[string]string{
		"Set to 119": "", "Dry stroke": "", "Abzeichnen": "long", "Messschieber": "longest",
		"Schlauch\u00adleitungen": "long", "Älteres": "",
	} {
		if got := fit(label); got != want {
			t.Errorf("%q: got %q, want %q", label, got, want)
		}
	}
}

func TestLocal(t *testing.T) {
	for path, want := range map[string]bool{
		"/": true, "/assembly/3": true, "": false, "order": false, "//evil.example": false, `/\evil.example`: false,
		"https://evil.example": false, "/x?y": false, "/x#y": false, "/x y": false, "/x\r\ny": false,
	} {
		if local(path) != want {
			t.Errorf("%q: got %v", path, !want)
		}
	}
}

// The trail draws each piece where it came out, and in the shape of its verdict.
func TestTrail(t *testing.T) {
	tr := english(states(t)["running"]).newTrail()
	if tr == nil || len(tr.Marks) != 8 || tr.Upper != 28 || tr.Lower != 76 || tr.Target != 52 {
		t.Fatalf("got %+v", tr)
	}
	for i, want := range []trailMark{{16, 50, "within"}, {44, 48, "within"}, {72, 57, "within"}, {100, 52, "within"}, {128, 55, "within"}, {156, 45, "within"}, {184, 85, "scrap"}, {212, 52, "within"}} {
		if tr.Marks[i] != want {
			t.Errorf("piece %d: got %+v, want %+v", i+1, tr.Marks[i], want)
		}
	}
	if tr := english(newShop(t).start(6).stroke().read("1.2", "1.2", "1.2").snapshot()).newTrail(); tr != nil {
		t.Errorf("one piece is no trail: %+v", tr)
	}
	if tr := english(newShop(t).snapshot()).newTrail(); tr != nil {
		t.Errorf("no order has no trail: %+v", tr)
	}
}

// Each mark of the grid has a shape and a word of its own, so that colour is not needed.
func TestMarksDiffer(t *testing.T) {
	seen := map[string]station.Mark{}
	for _, m := range []station.Mark{
		station.MarkOpen, station.MarkCrimped, station.MarkWithin, station.MarkLarge, station.MarkDoubted, station.MarkLost,
		station.MarkChecked, station.MarkAmiss,
	} {
		c := english(Snapshot{}).cell("A", m)
		for _, key := range []string{"word " + c.Word, "shape " + c.Shape} {
			if other, twice := seen[key]; twice {
				t.Errorf("%c: %q is also that of %c", m, key, other)
			}
			seen[key] = m
		}
	}
}
