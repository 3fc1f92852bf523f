package panel

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"net/http/httptest"
	"net/url"
	"reflect"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"testing/synctest"

	"benchtally/agent/crimp"
	"benchtally/agent/record"
	"benchtally/agent/station"
	"benchtally/agent/words"
)

// desk is a handler that writes down the actions it was asked for.
type desk struct {
	http.Handler
	*Board
	acted   []station.Action
	refused string
	err     error
}

func (d *desk) act(_ context.Context, a station.Action) (string, error) {
	d.acted = append(d.acted, a)
	return d.refused, d.err
}

func newDesk() *desk {
	d := &desk{}
	d.Board = NewBoard("north-bench", testShop())
	d.Handler = d.Board.Handler(ready(d.act), Options{})
	return d
}

func post(h http.Handler, body string, headers ...string) *httptest.ResponseRecorder {
	r := httptest.NewRequest(http.MethodPost, "http://localhost:8737/do", strings.NewReader(body))
	r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	for i := 0; i < len(headers); i += 2 {
		if headers[i] == "Host" {
			r.Host = headers[i+1]
		} else {
			r.Header.Set(headers[i], headers[i+1])
		}
	}
	w := httptest.NewRecorder()
	h.ServeHTTP(w, r)
	return w
}

func TestFormsBecomeActions(t *testing.T) {
	for _, c := range []struct {
		form string
		want station.Action
	}{
		{"do=start&order=A-1001&spec=hs-08&quantity=6&setting=120&operator=kj", station.Action{Do: station.DoStart, Order: "A-1001", Spec: "hs-08", Quantity: 6, Setting: record.Ptr(120), Operator: "kj"}},
		{"do=start&order=+A-1001+&spec=hs-08&quantity=6&setting=&operator=", station.Action{Do: station.DoStart, Order: "A-1001", Spec: "hs-08", Quantity: 6}},
		{"do=set&setting=085", station.Action{Do: station.DoSet, Setting: record.Ptr(85)}},
		{"do=set&setting=000&back=%2Fsetting", station.Action{Do: station.DoSet, Setting: record.Ptr(0)}},
		{"do=undo&key=k1", station.Action{Do: station.DoUndo}},
		{"do=dry", station.Action{Do: station.DoDry}},
		{"do=same", station.Action{Do: station.DoSame}},
		{"do=load&cage=C-21", station.Action{Do: station.DoLoad, Cage: "C-21"}},
		{"do=care&cage=C-21&work=lubricate", station.Action{Do: station.DoCare, Cage: "C-21", Work: crimp.Lubricate}},
		{"do=finish&order=A-1001", station.Action{Do: station.DoFinish, Order: "A-1001"}},
		{"do=measure&piece=A-1001%2F3", station.Action{Do: station.DoMeasure, Piece: "A-1001/3"}},
		{"do=operator&operator=", station.Action{Do: station.DoOperator}},
		{"do=turn&end=B", station.Action{Do: station.DoTurn, End: crimp.EndB}},
		{"do=lot&end=&maker=north&lot=L-9", station.Action{Do: station.DoLot, Maker: "north", Lot: "L-9"}},
		{"do=check&piece=A-1001%2F1&points=no+cracks&points=insertion+mark&ok=no&reason=too+short", station.Action{Do: station.DoCheck, Piece: "A-1001/1", Points: "no cracks,insertion mark", OK: record.Ptr(false), Reason: "too short"}},
		{"do=check&assembly=3&value=39.5in", station.Action{Do: station.DoCheck, Assembly: 3, Value: record.Ptr(length("39.5in"))}},
		{"do=check&assembly=3&value=1003.5+mm", station.Action{Do: station.DoCheck, Assembly: 3, Value: record.Ptr(length("1003.5mm"))}},
		{"do=check&assembly=3&value=1003.5&unit=mm", station.Action{Do: station.DoCheck, Assembly: 3, Value: record.Ptr(length("1003.5mm"))}},
		{"do=check&assembly=3&angle=89.5", station.Action{Do: station.DoCheck, Assembly: 3, Angle: record.Ptr(89.5)}},
		{"do=proof&assembly=3&pressure=700&pressure_unit=bar&hold=60&ok=yes", station.Action{Do: station.DoProof, Assembly: 3, Pressure: 700 * crimp.Bar, Hold: 60, OK: record.Ptr(true)}},
		{"do=proof&assembly=3&pressure=70.5+MPa&hold=30", station.Action{Do: station.DoProof, Assembly: 3, Pressure: 70_500 * crimp.Kilopascal, Hold: 30}},
		{"do=scrap&piece=A-1001%2F2&reason=cracked+ferrule", station.Action{Do: station.DoScrap, Piece: "A-1001/2", Reason: "cracked ferrule"}},
		{"do=scrap&assembly=2&off=yes", station.Action{Do: station.DoScrap, Assembly: 2, Off: true}},
		{"do=standard&standard=ring-25", station.Action{Do: station.DoStandard, Standard: "ring-25"}},
		{"do=care&cage=C-21&work=teardown&condition=worn&finding=scored+bore", station.Action{Do: station.DoCare, Cage: "C-21", Work: crimp.Teardown, Condition: crimp.Worn, Finding: "scored bore"}},
	} {
		t.Run(c.form, func(t *testing.T) {
			d := newDesk()
			w := post(d, c.form)
			if w.Code != http.StatusSeeOther || strings.Contains(w.Header().Get("Location"), "answer") {
				t.Errorf("got %d to %q: %s", w.Code, w.Header().Get("Location"), w.Body)
			}
			if len(d.acted) != 1 || !reflect.DeepEqual(d.acted[0], c.want) {
				t.Errorf("got %+v, want %+v", d.acted, c.want)
			}
		})
	}
}

func TestFormsThatCannotBe(t *testing.T) {
	long := strings.Repeat("x", 257)
	for _, c := range []struct {
		name, form string
		code       int
		want       string
	}{
		{"no such field", "do=undo&speed=9", 400, `there is no field "speed"`},
		{"a field twice", "do=undo&do=dry", 400, "the field do comes 2 times: want it once"},
		{"no action", "setting=85", 400, "no action is named"},
		{"no such action", "do=crimp", 400, `there is no action "crimp": want one of [load start`},
		{"no number", "do=set&setting=12x", 400, `Setting is "12x": want a whole number from 0 to 999`},
		{"out of range", "do=set&setting=1000", 400, `Setting is "1000"`},
		{"below nothing", "do=start&quantity=-1", 400, `Quantity is "-1": want a whole number from 1 to 1000000`},
		{"too long", "do=start&operator=" + long, 400, "Operator is longer than 256 characters"},
		{"control character", "do=start&operator=a%00b", 400, "Operator holds a character that cannot be written"},
		{"no text", "do=start&operator=%ff", 400, "Operator holds a character that cannot be written"},
		{"odd key", "do=undo&key=%2F..", 400, "the field key holds more than letters and digits"},
		{"elsewhere", "do=undo&back=%2F%2Fevil.example", 400, "the field back is"},
		{"two faults", "do=crimp&setting=x", 400, "Setting is"},
		{"a path with a query", "do=undo&back=%2Flast%3Fx", 400, "the field back is"},
		{"no such end", "do=turn&end=C", 400, "the field end is"},
		{"neither yes nor no", "do=scrap&piece=A-1001%2F1&off=on", 400, "the field off is"},
		{"a length without a unit", "do=check&assembly=1&value=39.5", 400, `The length "39.5" has no unit: write in or mm behind the number`},
		{"a length in another unit", "do=check&assembly=1&value=39.5&unit=ft", 400, `the field unit: unit "ft": want`},
		{"no length", "do=check&assembly=1&value=39.5.1in", 400, "is no plain number"},
		{"too long to be", "do=check&assembly=1&value=99999999999in", 400, "is no plain number"},
		{"no angle", "do=check&assembly=1&angle=360", 400, "is no number of degrees from 0 to below 360"},
		{"a pressure without a unit", "do=proof&assembly=1&pressure=700", 400, "is no number with bar, MPa or psi behind it"},
		{"no pressure", "do=proof&assembly=1&pressure=high&pressure_unit=bar", 400, "is no number with bar, MPa or psi behind it"},
		{"held for ever", "do=proof&assembly=1&hold=99999", 400, `Seconds held is "99999"`},
		{"broken coding", "do=%zz", 400, "the form cannot be read"},
		{"oversize", "do=undo&operator=" + strings.Repeat("x", 5000), 413, "the form is longer than 4096 bytes"},
	} {
		t.Run(c.name, func(t *testing.T) {
			d := newDesk()
			w := post(d, c.form)
			if w.Code != c.code || !strings.Contains(w.Body.String(), c.want) {
				t.Errorf("got %d %q, want %d %q", w.Code, w.Body, c.code, c.want)
			}
			if got := post(d, c.form, "Accept", "application/json"); got.Code != c.code || !json.Valid(got.Body.Bytes()) {
				t.Errorf("to the script: got %d %q", got.Code, got.Body)
			}
			if d.acted != nil {
				t.Errorf("it acted: %+v", d.acted)
			}
		})
	}
}

func TestOnlyFormsAndOnlyPost(t *testing.T) {
	d := newDesk()
	if w := post(d, `{"do":"undo"}`, "Content-Type", "application/json"); w.Code != http.StatusUnsupportedMediaType {
		t.Errorf("JSON: got %d", w.Code)
	}
	if w := post(d, "do=undo", "Content-Type", "text/plain"); w.Code != http.StatusUnsupportedMediaType {
		t.Errorf("text: got %d", w.Code)
	}
	for _, path := range []string{"/do", "/do?do=undo"} {
		if w := get(t, d, path); w.Code != http.StatusMethodNotAllowed {
			t.Errorf("GET %s: got %d", path, w.Code)
		}
	}
	for _, path := range []string{"/x", "/static/x", "/../panel.go"} {
		if w := get(t, d, path); w.Code != http.StatusNotFound && w.Code != http.StatusTemporaryRedirect {
			t.Errorf("GET %s: got %d", path, w.Code)
		}
	}
	if d.acted != nil {
		t.Errorf("it acted: %+v", d.acted)
	}
}

func TestWhoMayAsk(t *testing.T) {
	for _, c := range []struct {
		name    string
		headers []string
		code    int
	}{
		{"this page", []string{"Sec-Fetch-Site", "same-origin"}, 303},
		{"a program", nil, 303},
		{"this page, plain network", []string{"Origin", "http://localhost:8737"}, 303},
		{"another site", []string{"Sec-Fetch-Site", "cross-site"}, 403},
		{"another port", []string{"Sec-Fetch-Site", "same-site"}, 403},
		{"another origin", []string{"Origin", "http://evil.example"}, 403},
		{"no origin at all", []string{"Origin", "null"}, 403},
		{"a name made to point here", []string{"Host", "evil.example:8737"}, 421},
		{"numeric", []string{"Host", "127.0.0.1"}, 303},
		{"IPv6", []string{"Host", "[::1]:9"}, 303},
		{"another address", []string{"Host", "192.0.2.7:8737"}, 421},
		{"no name", []string{"Host", ""}, 421},
	} {
		t.Run(c.name, func(t *testing.T) {
			d := newDesk()
			if w := post(d, "do=undo", c.headers...); w.Code != c.code || (c.code == 303) != (len(d.acted) == 1) {
				t.Errorf("got %d %s, acted %d times", w.Code, w.Body, len(d.acted))
			}
		})
	}
}

func TestAllowedHosts(t *testing.T) {
	for _, c := range []struct {
		allowed, host string
		want          bool
	}{
		{"bench-7.shop.test", "bench-7.shop.test:8737", true},
		{"bench-7.shop.test:8737", "BENCH-7.shop.test", true},
		{"192.0.2.7:8737", "192.0.2.7:8737", true},
		{"192.0.2.7:8737", "192.0.2.8:8737", false},
		{"[2001:db8::7]:8737", "[2001:db8::7]", true},
		{"0.0.0.0:8737", "192.0.2.9", true},
		{":8737", "192.0.2.9:8737", true},
		{"[::]:8737", "[2001:db8::9]:8737", true},
		{"0.0.0.0:8737", "evil.example", false},
		{":8737", "", false},
		{"localhost", "localhost.evil.example", false},
	} {
		if got := newHosts([]string{c.allowed}).has(c.host); got != c.want {
			t.Errorf("listening on %q, asked for %q: got %v", c.allowed, c.host, got)
		}
	}
}

func TestHeaders(t *testing.T) {
	d := newDesk()
	for _, path := range []string{"/", "/menu", "/static/panel.css", "/static/panel.js", "/nowhere"} {
		h := get(t, d, path).Header()
		for name, want := range map[string]string{
			"Content-Security-Policy": policy, "Cache-Control": "no-store",
			"X-Content-Type-Options": "nosniff", "Referrer-Policy": "same-origin",
		} {
			if got := h.Get(name); got != want {
				t.Errorf("%s: %s is %q, want %q", path, name, got, want)
			}
		}
	}
	if got := get(t, d, "/static/panel.js").Header().Get("Content-Type"); !strings.HasPrefix(got, "text/javascript") {
		t.Errorf("the script comes as %q", got)
	}
}

// A refusal is told in the words of the station: as JSON to the script, else on
// the page that the form was on.
func TestRefusalIsTold(t *testing.T) {
	d := newDesk()
	d.refused = "no order is in work"
	w := post(d, "do=finish&key=k1", "Accept", "application/json")
	if w.Code != http.StatusConflict || w.Body.String() != `{"done":false,"refused":"no order is in work","said":"Not taken: no order is in work","to":"/?answer=k1"}`+"\n" {
		t.Errorf("to the script: got %d %s", w.Code, w.Body)
	}
	for _, back := range []string{"/", "/last"} {
		form := url.Values{"do": {"finish"}, "key": {"k2"}}
		if back != "/" {
			form.Set("back", back)
		}
		w = post(d, form.Encode())
		to := w.Header().Get("Location")
		if w.Code != http.StatusSeeOther || to != back+"?answer=k2" {
			t.Fatalf("got %d to %q", w.Code, to)
		}
		if page := get(t, d, to).Body.String(); !strings.Contains(page, "Not taken: no order is in work") {
			t.Errorf("the page does not say so:\n%s", page)
		}
	}
	if page := get(t, d, "/?answer=%3Cb%3Eforged").Body.String(); strings.Contains(page, "forged") {
		t.Error("the page says what its address says")
	}
}

func TestFaultIsToldAndTriedAgain(t *testing.T) {
	d := newDesk()
	d.err = errors.New("keep records: disk full")
	w := post(d, "do=dry&key=k1", "Accept", "application/json")
	if w.Code != http.StatusServiceUnavailable || w.Body.String() != `{"done":false,"fault":"keep records: disk full","said":"Not kept: keep records: disk full. Try again.","to":"/?answer=k1"}`+"\n" {
		t.Errorf("got %d %s", w.Code, w.Body)
	}
	d.err = nil
	if w = post(d, "do=dry&key=k1", "Accept", "application/json"); w.Code != http.StatusOK || len(d.acted) != 2 {
		t.Errorf("again: got %d %s, acted %d times", w.Code, w.Body, len(d.acted))
	}
	if w = post(d, "do=dry&key=k1", "Accept", "application/json"); w.Body.String() != `{"done":true,"to":"/"}`+"\n" || len(d.acted) != 2 {
		t.Errorf("a third time: got %s, acted %d times", w.Body, len(d.acted))
	}
}

func TestSameFormActsOnce(t *testing.T) {
	d := newDesk()
	for range 3 {
		if w := post(d, "do=undo&key=k1"); w.Code != http.StatusSeeOther {
			t.Errorf("got %d", w.Code)
		}
	}
	post(d, "do=dry&key=k1") // the same page, another form
	post(d, "do=undo&key=k2")
	post(d, "do=undo")
	post(d, "do=undo")
	if len(d.acted) != 5 {
		t.Errorf("acted %d times, want 5", len(d.acted))
	}
}

// Of two that come at the same time, the second waits for the first one's answer.
func TestSameFormAtTheSameTime(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var acted atomic.Int32
		let := make(chan struct{})
		h := NewBoard("north-bench", Shop{}).Handler(Desk{Act: func(context.Context, station.Action) (string, error) {
			acted.Add(1)
			<-let
			return "", nil
		}}, Options{})
		var all sync.WaitGroup
		for range 4 {
			all.Go(func() {
				if w := post(h, "do=undo&key=k1", "Accept", "application/json"); w.Body.String() != `{"done":true,"to":"/"}`+"\n" {
					t.Errorf("got %s", w.Body)
				}
			})
		}
		synctest.Wait()
		close(let)
		all.Wait()
		if n := acted.Load(); n != 1 {
			t.Errorf("acted %d times", n)
		}
	})
}

// A touch counts although its page went away, but not for ever.
func TestActOutlivesItsPage(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		h := NewBoard("north-bench", Shop{}).Handler(Desk{Act: func(ctx context.Context, _ station.Action) (string, error) {
			<-ctx.Done()
			return "", ctx.Err()
		}}, Options{})
		ctx, gone := context.WithCancel(t.Context())
		gone()
		r := httptest.NewRequestWithContext(ctx, http.MethodPost, "http://localhost/do", strings.NewReader("do=undo"))
		r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
		r.Header.Set("Accept", "application/json")
		w := httptest.NewRecorder()
		h.ServeHTTP(w, r)
		if want := `{"done":false,"fault":"context deadline exceeded",`; !strings.HasPrefix(w.Body.String(), want) {
			t.Errorf("got %s, want %s", w.Body, want)
		}
	})
}

func TestTouchesAreBounded(t *testing.T) {
	var ts touches
	for i := range 3 * keptTouches {
		ts.once(t.Context(), fmt.Sprint("k", i), "do=undo", func() answer { return answer{Done: true} })
		ts.once(t.Context(), "same", fmt.Sprint("do=", i), func() answer { return answer{Refused: "no"} })
	}
	if len(ts.byKey) != keptTouches || len(ts.keys) != keptTouches {
		t.Errorf("%d touches with %d keys are kept, want %d", len(ts.byKey), len(ts.keys), keptTouches)
	}
	same, _ := ts.get("same")
	if _, old := ts.get("k0"); same.Refused != "no" || old {
		t.Errorf("got %+v, and an old one: %v", same, old)
	}
}

func FuzzReadTouch(f *testing.F) {
	f.Add("do=start&order=A-1001&spec=hs-08&quantity=6&setting=085&operator=kj&key=k1&back=%2Forder")
	f.Add("do=proof&assembly=3&pressure=70,5&pressure_unit=MPa&hold=30&ok=no")
	f.Add("do=check&assembly=3&value=1003,5+mm&angle=89,5&points=a&points=b")
	f.Add("do=set&setting=12x")
	f.Fuzz(func(t *testing.T, text string) {
		form, err := url.ParseQuery(text)
		if err != nil {
			return
		}
		got, err := readTouch(form, words.In("de"), crimp.Millimetres)
		if err != nil {
			if err.Error() == "" {
				t.Error("an error says nothing")
			}
			return
		}
		a := got.action
		if a.Do == "" || got.key == "" || a.Setting != nil && (*a.Setting < 0 || *a.Setting > 999) || a.Quantity < 0 ||
			a.Pressure < 0 || a.Hold < 0 || a.Angle != nil && !(*a.Angle >= 0 && *a.Angle < 360) || !local(got.back) {
			t.Errorf("%q became %+v", text, got)
		}
	})
}
