package scanner

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"benchtally/caliper/port"
)

var start = time.Date(2026, 3, 2, 6, 0, 0, 0, time.UTC)

func at(ms int) time.Time { return start.Add(time.Duration(ms) * time.Millisecond) }

// tell writes an event in one line: milliseconds, kind, what it carries.
func tell(e Event) string {
	s := fmt.Sprintf("%d %s", e.At.Sub(start).Milliseconds(), e.Kind)
	switch e.Kind {
	case Code:
		return fmt.Sprintf("%s %q", s, e.Text)
	case Refused:
		return fmt.Sprintf("%s %s: %s", s, e.Raw, e.Reason)
	case Fault, Clear:
		return s
	}
	return s
}

// step is what arrives at a time in milliseconds; "!" is the cable coming out and
// in again.
type step struct {
	ms   int
	text string
}

func play(r *Reader, steps []step) (got []string) {
	for _, s := range steps {
		if s.text == "!" {
			r.Restart(at(s.ms))
			continue
		}
		for _, e := range r.Feed([]byte(s.text), at(s.ms)) {
			got = append(got, tell(e))
		}
	}
	return got
}

func TestReader(t *testing.T) {
	lost := string(rune(port.Lost))
	for _, row := range []struct {
		name  string
		steps []step
		want  []string
	}{
		{"a code", []step{{200, "ORDER A-1001\r\n"}}, []string{`200 code "ORDER A-1001"`}},
		{"a code in pieces", []step{{200, "ORD"}, {250, "ER A-1"}, {340, "001"}, {439, "\r"}, {440, "\n"}}, []string{`439 code "ORDER A-1001"`}},
		{"two codes in one burst", []step{{200, "CAGE C-21\rDO UNDO\r"}}, []string{`200 code "CAGE C-21"`, `200 code "DO UNDO"`}},
		{"framing and empty lines", []step{{200, "\r\n\x02CAGE C-21\x03\r\n  \r\n\tDO SAME \r\n"}}, []string{`200 code "CAGE C-21"`, `200 code "DO SAME"`}},
		{"no terminator: ends with 100 ms of silence", []step{{200, "CAGE C-21"}, {299, ""}, {300, ""}, {500, "DO DRY"}, {900, ""}},
			[]string{`300 code "CAGE C-21"`, `600 code "DO DRY"`}},
		{"no terminator, but earlier ones had one", []step{{200, "CAGE C-21\r"}, {900, "PIECE A-1001/1"}, {1000, ""}, {1001, "2\r"}},
			[]string{`200 code "CAGE C-21"`, `1000 refused PIECE A-1001/1: ` + brokeOff, `1001 refused : ` + brokeOff}},
		{"the rest of a badge is not told", []step{{200, "\r\nDO UNDO\r\n"}, {900, "BADGE AAAA"}, {1100, "BBBB"}, {1300, "CC\xffC\r\n"}, {1301, "DO UNDO\r\n"}},
			[]string{`200 code "DO UNDO"`, `1000 refused BADGE AAAA: ` + brokeOff, `1200 refused : ` + brokeOff, `1300 refused : ` + noText, `1301 code "DO UNDO"`}},
		{"the rest of what was no text, or too long", []step{{200, "DO UNDO\r\n"}, {900, "BADGE A\xff"}, {1100, "BBBB\r\n"}, {3000, strings.Repeat("7", 300)}, {3200, "C-21\r\nDO DRY\r\n"}},
			[]string{`200 code "DO UNDO"`, `1000 refused BADGE A\xff: ` + noText, `1100 refused : ` + brokeOff,
				`3000 refused ` + strings.Repeat("7", 64) + `: ` + tooLong, `3200 refused : ` + brokeOff, `3200 code "DO DRY"`}},
		{"framing behind the line end", []step{{200, "\x02DO UNDO\r\x03"}, {400, "\x02DO DRY\r\x03"}}, []string{`200 code "DO UNDO"`, `400 code "DO DRY"`}},
		{"only the line end comes late", []step{{200, "DO UNDO\r\n"}, {900, "CAGE C-21"}, {1100, "\r\nCAGE C-21\r\n"}},
			[]string{`200 code "DO UNDO"`, `1000 refused CAGE C-21: ` + brokeOff, `1100 code "CAGE C-21"`}},
		{"scanned again a second later", []step{{200, "DO UNDO\r"}, {900, "CAGE C-2"}, {1900, "CAGE C-21\r"}, {2900, "CAGE C-2"}, {3899, "CAGE C-21\r"}},
			[]string{`200 code "DO UNDO"`, `1000 refused CAGE C-2: ` + brokeOff, `1900 code "CAGE C-21"`, `3000 refused CAGE C-2: ` + brokeOff, `3899 refused : ` + brokeOff}},
		{"the first one may have lost its beginning", []step{{99, "DER A-1\r"}, {101, "CAGE C-21\r"}},
			[]string{`99 refused : ` + beheaded, `101 code "CAGE C-21"`}},
		{"a line end comes first", []step{{50, "\rCAGE C-21\r"}}, []string{`50 code "CAGE C-21"`}},
		{"the cable comes out in a code", []step{{200, "CAGE C-2"}, {210, "!"}, {400, "1\r"}, {500, "CAGE C-21\r"}},
			[]string{`400 code "1"`, `500 code "CAGE C-21"`}},
		{"another scanner, without terminators", []step{{200, "DO UNDO\r"}, {210, "!"}, {400, "DO UNDO"}, {500, ""}},
			[]string{`200 code "DO UNDO"`, `500 code "DO UNDO"`}},
		{"others' codes have separators", []step{{200, "\x1d0104006381333931\x1d17\r"}}, []string{"200 code \"\\x1d0104006381333931\\x1d17\""}},
		{"not ASCII", []step{{200, "ORDER Schläuche\r"}}, []string{`200 code "ORDER Schläuche"`}},
		{"no text", []step{{200, "CAGE \xff\x80\r"}}, []string{`200 refused CAGE \xff\x80: ` + noText}},
		{"a lost key at the end", []step{{200, "CAGE C-2" + lost + "\r"}}, []string{`200 refused CAGE C-2\x1a: ` + noText}},
		{"three in a row are a fault, the others are not told", []step{{200, "\xff\r\xfe\r\x00\r\xfd\r"}, {300, "\xff"}, {400, ""}, {500, "DO UNDO\r\xff\r"}},
			[]string{`200 refused \xff: ` + noText, `200 refused \xfe: ` + noText, `200 refused \x00: ` + noText, `200 fault`, `500 clear`, `500 code "DO UNDO"`, `500 refused \xff: ` + noText}},
		{"too long", []step{{200, strings.Repeat("7", 600)}, {201, "7\rDO UNDO\r"}},
			[]string{`200 refused ` + strings.Repeat("7", 64) + `: ` + tooLong, `201 code "DO UNDO"`}},
		{"as long as can be", []step{{200, strings.Repeat("7", 256) + "\r"}}, []string{`200 code "` + strings.Repeat("7", 256) + `"`}},
		{"the clock is set back", []step{{200, "CAGE"}, {-5000, " C-21"}, {-4900, ""}}, []string{`-4900 code "CAGE C-21"`}},
	} {
		t.Run(row.name, func(t *testing.T) {
			if got := play(NewReader(false, start), row.steps); !slices.Equal(got, row.want) {
				t.Errorf("got\n%s\nwant\n%s", strings.Join(got, "\n"), strings.Join(row.want, "\n"))
			}
		})
	}
}

func TestSevenBits(t *testing.T) {
	r := NewReader(true, start)
	if got := play(r, []step{{200, "C\xc1GE C-21\x8d"}}); !slices.Equal(got, []string{`200 code "CAGE C-21"`}) {
		t.Errorf("got %q", got)
	}
	r.Restart(at(300))
	if got := play(r, []step{{500, "DO \xc4RY\x8d"}}); !slices.Equal(got, []string{`500 code "DO DRY"`}) {
		t.Errorf("after the cable was out: got %q", got)
	}
}

func TestWait(t *testing.T) {
	r := NewReader(false, start)
	if got := r.Wait(at(5)); got != 0 {
		t.Errorf("nothing has come: wait %s", got)
	}
	r.Feed([]byte("DO"), at(200))
	for ms, want := range map[int]time.Duration{200: gap, 260: 40 * time.Millisecond, 300: 1, 900: 1, -900: gap} {
		if got := r.Wait(at(ms)); got != want {
			t.Errorf("at %d ms: %s, want %s", ms, got, want)
		}
	}
	r.Feed([]byte(" UNDO\r"), at(201))
	if got := r.Wait(at(201)); got != 0 {
		t.Errorf("the code has ended: wait %s", got)
	}
}

// FuzzReader: whatever comes whenever, codes are short texts, a fault is told once
// until it ends, and how bytes of one moment are cut changes nothing.
func FuzzReader(f *testing.F) {
	f.Add([]byte("\x05\x0eORDER A-1001\r\n\x00\x09DO UNDO\r\n"))
	f.Add([]byte("\x05\x06\xff\r\xfe\r\x00\r\x05\x03DO\r"))
	f.Add([]byte(strings.Repeat("\x01\x59"+strings.Repeat("7", 89), 4)))
	delays := []int{0, 1, 99, 100, 101, 250, -400, 5000}
	f.Fuzz(func(t *testing.T, in []byte) {
		whole, cut := NewReader(false, start), NewReader(false, start)
		now, fault := 0, false
		for len(in) >= 2 {
			now += delays[int(in[0])%len(delays)]
			n := min(int(in[1]%90), len(in)-2)
			b := in[2 : 2+n]
			if in[1] > 250 {
				whole.Restart(at(now))
				cut.Restart(at(now))
				fault = false
			}
			in = in[2+n:]
			var one, other []string
			for _, e := range whole.Feed(b, at(now)) {
				one = append(one, tell(e))
				switch e.Kind {
				case Code:
					if e.Text == "" || len(e.Text) > longest || !utf8.ValidString(e.Text) || strings.ContainsAny(e.Text, "\r\n\x00\x1a") {
						t.Fatalf("code %q", e.Text)
					}
				case Refused:
					if e.Reason == "" || len(e.Raw) > 4*shown || strings.ContainsFunc(e.Raw, func(c rune) bool { return c < ' ' || c > '~' }) {
						t.Fatalf("%+v", e)
					}
				case Fault, Clear:
					if on := e.Kind == Fault; on == fault {
						t.Fatalf("%s twice", e.Kind)
					}
					fault = !fault
				}
			}
			for i := range b {
				for _, e := range cut.Feed(b[i:i+1], at(now)) {
					other = append(other, tell(e))
				}
			}
			if len(b) == 0 {
				for _, e := range cut.Feed(nil, at(now)) {
					other = append(other, tell(e))
				}
			}
			if !slices.Equal(one, other) {
				t.Fatalf("whole %q, in single bytes %q", one, other)
			}
			if len(whole.code) > longest {
				t.Fatalf("%d bytes are held", len(whole.code))
			}
		}
	})
}

// A scanner that has gone mad for an hour makes no more than a few events: they must
// not fill a card. Codes that can be read are codes all the same.
func TestFloodsAreToldInFew(t *testing.T) {
	for _, row := range []struct {
		name, sent string
	}{
		{"noise", "\x80\x81\r\x82\r"},
		{"noise and codes in turns", "\x80\r\x81\r\x82\rORDER A-1001\r"},
		{"a code between each two", "\x80\rORDER A-1001\r"},
		{"codes that break off", "ORDER A-1001\r\nORDER"},
	} {
		t.Run(row.name, func(t *testing.T) {
			r := NewReader(false, at(0))
			refused, faults, codes := 0, 0, 0
			for ms := 1000; ms < 3600_000; ms += 1500 {
				for _, e := range r.Feed([]byte(row.sent), at(ms)) {
					switch e.Kind {
					case Refused:
						refused++
					case Fault:
						faults++
					case Code:
						codes++
					case Clear:
					}
				}
			}
			if refused > 120 || faults > 80 {
				t.Errorf("%d refused and %d faults in an hour", refused, faults)
			}
			if want := strings.Count(row.sent, "1001\r") * 2400; codes < want-2 {
				t.Errorf("%d codes, want %d", codes, want)
			}
		})
	}
}
