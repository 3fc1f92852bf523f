package caliper

import (
	"encoding/json"
	"fmt"
	"strings"
	"testing"
	"time"

	"benchtally/agent/crimp"
	"benchtally/caliper/frame"
	"benchtally/caliper/port"
)

var start = time.Date(2026, 3, 2, 6, 0, 0, 0, time.UTC)

// step is what happens at a time in milliseconds; texts starting with ! are
// calls of the Reader instead of bytes.
type step struct {
	ms   int
	text string
}

func at(ms int) time.Time { return start.Add(time.Duration(ms) * time.Millisecond) }

func play(t *testing.T, r *Reader, steps []step) []string {
	t.Helper()
	var got []string
	for _, s := range steps {
		switch s.text {
		case "!restart":
			r.Restart(at(s.ms))
		case "!tick":
			got = append(got, tellAll(r.Tick(at(s.ms)))...)
		default:
			got = append(got, tellAll(r.Feed([]byte(s.text), at(s.ms)))...)
		}
	}
	return got
}

func tellAll(es []Event) []string {
	var out []string
	for _, e := range es {
		out = append(out, tell(e))
	}
	return out
}

// tell writes an event in one line: milliseconds, kind, what it carries.
func tell(e Event) string {
	s := fmt.Sprintf("%d %s", e.At.Sub(start).Milliseconds(), e.Kind)
	switch e.Kind {
	case Reading:
		return fmt.Sprintf("%s %s %q", s, e.Value, e.Raw)
	case Refused:
		return fmt.Sprintf("%s %q %s", s, e.Raw, e.Reason)
	case Fault, Clear:
		return fmt.Sprintf("%s %s", s, e.Cause)
	}
	return s
}

func mustReader(t testing.TB, s Settings) *Reader {
	t.Helper()
	r, err := NewReader(s)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

// every repeats a text from a moment on, each time so many milliseconds later.
func every(from, apart, times int, texts ...string) []step {
	var s []step
	for i := range times {
		s = append(s, step{from + i*apart, texts[i%len(texts)]})
	}
	return s
}

func join(parts ...[]step) []step {
	var s []step
	for _, p := range parts {
		s = append(s, p...)
	}
	return s
}

const sentTwice = "the same frame within 0.3 s: it was sent twice and is counted once"

func TestReader(t *testing.T) {
	inches := Settings{Unit: crimp.Inches}
	noNumber := "no number in a form that the format has"
	refused := func(ms int, raw, why string) string { return fmt.Sprintf("%d refused %q %s", ms, raw, why) }
	for _, row := range []struct {
		name     string
		settings Settings
		steps    []step
		want     []string
	}{
		{"a frame", inches, []step{{5, "+1.2040\r\n"}}, []string{`5 reading 30.5816mm "+1.2040"`}},
		{"a frame in pieces", inches, []step{{5, "+1."}, {50, "204"}, {60, "0"}, {61, "\r"}, {62, "\n"}},
			[]string{`61 reading 30.5816mm "+1.2040"`}},
		{"two frames in one chunk", inches, []step{{5, "+1.2040\r\n+1.2041\r\n"}},
			[]string{`5 reading 30.5816mm "+1.2040"`, `5 reading 30.58414mm "+1.2041"`}},
		{"empty lines and blanks are nothing", inches, []step{{5, "\r\n\r\n  \r\n\n"}}, nil},
		{"no terminator: ends with 100 ms of silence", inches, []step{{5, "+1.2040"}, {104, "!tick"}, {105, "!tick"}},
			[]string{`105 reading 30.5816mm "+1.2040"`}},
		{"no terminator: stamped when it was due", inches, []step{{5, "+1.2040"}, {900, "+1.2041"}, {2000, "!tick"}},
			[]string{`105 reading 30.5816mm "+1.2040"`, `1000 reading 30.58414mm "+1.2041"`}},
		{"no terminator, but earlier ones had one: cut off", inches, []step{{5, "+1.2040\r\n"}, {2000, "+1.20"}, {3000, "!tick"}},
			[]string{`5 reading 30.5816mm "+1.2040"`, refused(2100, "+1.20", brokeOff)}},
		{"the rest of what was cut off is no reading", Settings{Unit: crimp.Millimetres}, []step{{5, "125.40\r\n"}, {2000, "1"}, {2150, "25.40\r\n"}, {2200, "125.41\r\n"}},
			[]string{`5 reading 125.4mm "125.40"`, refused(2100, "1", brokeOff), refused(2150, "25.40", restOnly), `2200 reading 125.41mm "125.41"`}},
		{"nor is its second rest", Settings{Unit: crimp.Millimetres}, []step{{5, "125.40\r\n"}, {2000, "1"}, {2900, "2"}, {3900, "25.40\r\n"}},
			[]string{`5 reading 125.4mm "125.40"`, refused(2100, "1", brokeOff), refused(3000, "2", brokeOff), `3900 reading 25.4mm "25.40"`}},
		{"with its sign a frame is whole", inches, []step{{5, "+1.2040\r\n"}, {2000, "+1.20"}, {2150, "+1.2041\r\n"}},
			[]string{`5 reading 30.5816mm "+1.2040"`, refused(2100, "+1.20", brokeOff), `2150 reading 30.58414mm "+1.2041"`}},
		{"only its line end came late", inches, []step{{5, "1.2040\r\n"}, {2000, "1.2041"}, {2150, "\r\n1.2041\r\n"}},
			[]string{`5 reading 30.5816mm "1.2040"`, refused(2100, "1.2041", brokeOff), `2150 reading 30.58414mm "1.2041"`}},
		{"the rest of a frame without a beginning", Settings{Unit: crimp.Millimetres}, []step{{5, "125.40\r\n"}, {2000, "!restart"}, {2050, "1"}, {2200, "25.40\r\n"}},
			[]string{`5 reading 125.4mm "125.40"`, refused(2150, "1", beheaded), refused(2200, "25.40", restOnly)}},
		{"identification at power-up is no reading", inches, []step{{5, "CG12 V1 RS\r"}},
			[]string{refused(5, "CG12 V1 RS", string(frame.ErrIdentification))}},
		{"no reading", inches, []step{{5, "hello\r"}}, []string{refused(5, "hello", noNumber)}},
		{"raw bytes are escaped", inches, []step{{5, "+1.\x000\r"}},
			[]string{refused(5, `+1.\x000`, "a zero byte: a parity error or a disturbed line; check cable, parity and baud rate")}},
		{"seven bits", Settings{Unit: crimp.Inches, SevenBits: true}, []step{{5, "\xab1.20\xb40\x8d"}},
			[]string{`5 reading 30.5816mm "+1.2040"`}},

		{"sent twice within 300 ms", inches, []step{{5, "+1.2040\r\n"}, {305, "+1.2040\r\n"}},
			[]string{`5 reading 30.5816mm "+1.2040"`, refused(305, "+1.2040", sentTwice)}},
		{"the same again after 301 ms", inches, []step{{5, "+1.2040\r\n"}, {306, "+1.2040\r\n"}},
			[]string{`5 reading 30.5816mm "+1.2040"`, `306 reading 30.5816mm "+1.2040"`}},
		{"different frames within 300 ms", inches, []step{{5, "+1.2040\r\n"}, {105, "+1.2041\r\n"}},
			[]string{`5 reading 30.5816mm "+1.2040"`, `105 reading 30.58414mm "+1.2041"`}},
		{"the same value in another form", inches, []step{{5, "+1.2040\r\n"}, {105, "1.2040\r\n"}},
			[]string{`5 reading 30.5816mm "+1.2040"`, `105 reading 30.5816mm "1.2040"`}},
		{"waiting frames at once", inches, []step{{5, "+1.2040\r+1.2040\r+1.2040\r+1.2040\r+1.2040\r+1.2040\r"}},
			[]string{`5 reading 30.5816mm "+1.2040"`, refused(5, "+1.2040", sentTwice), refused(5, "+1.2040", sentTwice),
				refused(5, "+1.2040", sentTwice), refused(5, "+1.2040", sentTwice), refused(5, "+1.2040", sentTwice)}},
		{"waiting frames 19 ms apart are no stream", inches, every(0, 19, 6, "1.1\r", "1.2\r"),
			[]string{`0 reading 27.94mm "1.1"`, `19 reading 30.48mm "1.2"`, `38 reading 27.94mm "1.1"`,
				`57 reading 30.48mm "1.2"`, `76 reading 27.94mm "1.1"`, `95 reading 30.48mm "1.2"`}},
		{"presses 401 ms apart are no stream", inches, every(0, 401, 6, "1.1\r"),
			[]string{`0 reading 27.94mm "1.1"`, `401 reading 27.94mm "1.1"`, `802 reading 27.94mm "1.1"`,
				`1203 reading 27.94mm "1.1"`, `1604 reading 27.94mm "1.1"`, `2005 reading 27.94mm "1.1"`}},
		{"a stream", inches, join(every(0, 120, 40, "1.1\r", "1.2\r"), []step{{5679, "!tick"}, {5680, "!tick"}, {6000, "1.3\r"}}),
			[]string{`0 reading 27.94mm "1.1"`, `120 reading 30.48mm "1.2"`, `240 reading 27.94mm "1.1"`, `360 reading 30.48mm "1.2"`, `480 reading 27.94mm "1.1"`, `600 reading 30.48mm "1.2"`, `720 reading 27.94mm "1.1"`, `840 reading 30.48mm "1.2"`, `960 reading 27.94mm "1.1"`, `1080 reading 30.48mm "1.2"`, `1200 reading 27.94mm "1.1"`, `1320 reading 30.48mm "1.2"`, `1440 reading 27.94mm "1.1"`, `1560 reading 30.48mm "1.2"`, `1680 reading 27.94mm "1.1"`,
				"1800 fault streaming", "5680 clear streaming", `6000 reading 33.02mm "1.3"`}},
		{"presses in quick succession are uneven", inches,
			[]step{{0, "1.1\r"}, {200, "1.2\r"}, {300, "1.1\r"}, {450, "1.2\r"}, {800, "1.1\r"}, {900, "1.2\r"}, {1200, "1.1\r"}, {1300, "1.2\r"}, {1650, "1.1\r"}},
			[]string{`0 reading 27.94mm "1.1"`, `200 reading 30.48mm "1.2"`, `300 reading 27.94mm "1.1"`, `450 reading 30.48mm "1.2"`,
				`800 reading 27.94mm "1.1"`, `900 reading 30.48mm "1.2"`, `1200 reading 27.94mm "1.1"`, `1300 reading 30.48mm "1.2"`,
				`1650 reading 27.94mm "1.1"`}},
		{"a stream at rest", inches, join(every(0, 20, 30, "1.1\r"), []step{{2000, "!tick"}}),
			[]string{`0 reading 27.94mm "1.1"`, refused(20, "1.1", sentTwice), refused(40, "1.1", sentTwice), refused(60, "1.1", sentTwice),
				refused(80, "1.1", sentTwice), refused(100, "1.1", sentTwice), refused(120, "1.1", sentTwice), refused(140, "1.1", sentTwice), refused(160, "1.1", sentTwice), refused(180, "1.1", sentTwice), refused(200, "1.1", sentTwice), refused(220, "1.1", sentTwice), refused(240, "1.1", sentTwice), refused(260, "1.1", sentTwice), refused(280, "1.1", sentTwice),
				"300 fault streaming", "1580 clear streaming"}},
		{"frames that cannot be read prolong a stream in silence", inches,
			join(every(0, 400, 16, "1.1\r"), every(6400, 500, 9, "ERR3\r"), []step{{15000, "!tick"}}),
			[]string{`0 reading 27.94mm "1.1"`, `400 reading 27.94mm "1.1"`, `800 reading 27.94mm "1.1"`, `1200 reading 27.94mm "1.1"`, `1600 reading 27.94mm "1.1"`, `2000 reading 27.94mm "1.1"`, `2400 reading 27.94mm "1.1"`, `2800 reading 27.94mm "1.1"`, `3200 reading 27.94mm "1.1"`, `3600 reading 27.94mm "1.1"`, `4000 reading 27.94mm "1.1"`, `4400 reading 27.94mm "1.1"`, `4800 reading 27.94mm "1.1"`, `5200 reading 27.94mm "1.1"`, `5600 reading 27.94mm "1.1"`,
				"6000 fault streaming", "11400 clear streaming"}},

		{"garbage", inches, join(every(0, 250, 20, "?\r"), []step{{6000, "1.1\r"}}),
			[]string{refused(0, "?", noNumber), refused(250, "?", noNumber), refused(500, "?", noNumber), refused(750, "?", noNumber),
				refused(1000, "?", noNumber), "1000 fault garbage", "6000 clear garbage", `6000 reading 27.94mm "1.1"`}},
		{"a reading between is no garbage", inches, join(every(0, 10, 4, "?\r"), []step{{50, "1.1\r"}}, every(60, 10, 4, "?\r")),
			[]string{refused(0, "?", noNumber), refused(10, "?", noNumber), refused(20, "?", noNumber), refused(30, "?", noNumber),
				`50 reading 27.94mm "1.1"`,
				refused(60, "?", noNumber), refused(70, "?", noNumber), refused(80, "?", noNumber), refused(90, "?", noNumber)}},
		{"longer than 64 bytes, then in step again", inches, []step{{0, strings.Repeat("1", 70) + "\r1.1\r"}},
			[]string{refused(0, strings.Repeat("1", 64), tooLong), `0 reading 27.94mm "1.1"`}},
		{"longer than 64 bytes, silence, then in step again", inches, []step{{0, strings.Repeat("1", 70)}, {100, "1.1\r"}},
			[]string{refused(0, strings.Repeat("1", 64), tooLong), `100 reading 27.94mm "1.1"`}},
		{"a flood without line ends", inches, []step{{0, strings.Repeat("x", 100_000)}},
			[]string{refused(0, strings.Repeat("x", 64), tooLong), refused(0, "", tooLong), refused(0, "", tooLong),
				refused(0, "", tooLong), refused(0, "", tooLong), "0 fault garbage"}},

		{"opened: the first frame may lack its beginning", inches, []step{{0, "!restart"}, {99, "5.40\r\n"}, {600, "1.1\r\n"}},
			[]string{refused(99, "5.40", beheaded), `600 reading 27.94mm "1.1"`}},
		{"opened: silence first", inches, []step{{0, "!restart"}, {100, "1.1\r\n"}}, []string{`100 reading 27.94mm "1.1"`}},
		{"opened: a line end first", inches, []step{{0, "!restart"}, {9, "\n1.1\r\n"}}, []string{`9 reading 27.94mm "1.1"`}},
		{"opened: silence after a piece", inches, []step{{0, "!restart"}, {9, "5.40"}, {200, "1.1\r\n"}},
			[]string{refused(109, "5.40", beheaded), `200 reading 27.94mm "1.1"`}},
		{"cable out in a frame", inches, []step{{0, "25."}, {50, "!restart"}, {700, "1.1\r\n"}}, []string{`700 reading 27.94mm "1.1"`}},
		{"cable out behind a frame without terminator", inches, []step{{0, "+1.2040"}, {150, "!restart"}, {700, "1.1\r\n"}},
			[]string{`100 reading 30.5816mm "+1.2040"`, `700 reading 27.94mm "1.1"`}},
		{"cable out in a stream", inches, join(every(0, 100, 16, "1.1\r", "1.2\r"), []step{{1550, "!restart"}, {5000, "!tick"}}),
			[]string{`0 reading 27.94mm "1.1"`, `100 reading 30.48mm "1.2"`, `200 reading 27.94mm "1.1"`, `300 reading 30.48mm "1.2"`, `400 reading 27.94mm "1.1"`, `500 reading 30.48mm "1.2"`, `600 reading 27.94mm "1.1"`, `700 reading 30.48mm "1.2"`, `800 reading 27.94mm "1.1"`, `900 reading 30.48mm "1.2"`, `1000 reading 27.94mm "1.1"`, `1100 reading 30.48mm "1.2"`, `1200 reading 27.94mm "1.1"`, `1300 reading 30.48mm "1.2"`, `1400 reading 27.94mm "1.1"`,
				"1500 fault streaming", "2500 clear streaming"}},
		{"every frame is a press", Settings{Unit: crimp.Inches, Pushed: true}, every(0, 20, 20, "1.1\r", "1.2\r"),
			[]string{`0 reading 27.94mm "1.1"`, `20 reading 30.48mm "1.2"`, `40 reading 27.94mm "1.1"`, `60 reading 30.48mm "1.2"`, `80 reading 27.94mm "1.1"`, `100 reading 30.48mm "1.2"`, `120 reading 27.94mm "1.1"`, `140 reading 30.48mm "1.2"`, `160 reading 27.94mm "1.1"`, `180 reading 30.48mm "1.2"`, `200 reading 27.94mm "1.1"`, `220 reading 30.48mm "1.2"`, `240 reading 27.94mm "1.1"`, `260 reading 30.48mm "1.2"`, `280 reading 27.94mm "1.1"`, `300 reading 30.48mm "1.2"`, `320 reading 27.94mm "1.1"`, `340 reading 30.48mm "1.2"`, `360 reading 27.94mm "1.1"`, `380 reading 30.48mm "1.2"`}},

		{"low battery", inches, []step{{0, "1.1 LOBAT\r"}, {1000, "1.2 LOBAT\r"}, {2000, "1.3\r"}, {3000, "LOW BATTERY\r"}, {4000, "1.1\r"}},
			[]string{"0 fault battery", `0 reading 27.94mm "1.1 LOBAT"`, `1000 reading 30.48mm "1.2 LOBAT"`, "2000 clear battery",
				`2000 reading 33.02mm "1.3"`, "3000 fault battery", "4000 clear battery", `4000 reading 27.94mm "1.1"`}},
		{"fixed length, no terminators, no gaps", Settings{Format: "bcd-13"},
			[]step{{0, "FFFF001234541FFFF801234530"}, {500, "!tick"}},
			[]string{`100 reading 31.3563mm "FFFF001234541"`, `100 reading -12.345mm "FFFF801234530"`}},
		{"fixed length, too long", Settings{Format: "word-24"}, []step{{0, "0009EC0"}, {500, "!tick"}},
			[]string{refused(100, "0009EC0", "not 6 digits: the frame is cut off or two ran together")}},
		{"fixed length, twice as long with a line end", Settings{Format: "word-24"}, []step{{0, "0009EC0009EC\r"}},
			[]string{refused(0, "0009EC0009EC", "not 6 digits: the frame is cut off or two ran together")}},
		{"clock set back in a frame", inches, []step{{5000, "+1.2"}, {10, "040"}, {60, "\r"}},
			[]string{`60 reading 30.5816mm "+1.2040"`}},
		{"clock set right by years", inches, []step{{0, "1.1\r"}, {1_000_000_000, "1.1\r"}},
			[]string{`0 reading 27.94mm "1.1"`, `1000000000 reading 27.94mm "1.1"`}},
	} {
		t.Run(row.name, func(t *testing.T) {
			got := play(t, mustReader(t, row.settings), row.steps)
			if g, w := strings.Join(got, "\n"), strings.Join(row.want, "\n"); g != w {
				t.Errorf("got\n%s\nwant\n%s", g, w)
			}
		})
	}
}

func TestSlowGarbage(t *testing.T) {
	got := play(t, mustReader(t, Settings{Unit: crimp.Inches}), every(0, 60_000, 500, "?\r"))
	if len(got) != trickle+1 || got[trickle] != "1740000 fault garbage" {
		t.Errorf("%d events, the last %s; want 30 refusals and a fault", len(got), got[len(got)-1])
	}
}

// A caliper that sends a hundred frames a second is streaming too, though its
// frames are as close as waiting ones.
func TestFastStream(t *testing.T) {
	got := play(t, mustReader(t, Settings{Unit: crimp.Inches}), every(0, 10, 1000, "1.1\r", "1.2\r"))
	if len(got) != 201 || got[200] != "2000 fault streaming" {
		t.Errorf("%d events, the last %s", len(got), got[len(got)-1])
	}
}

func TestWait(t *testing.T) {
	r := mustReader(t, Settings{Unit: crimp.Inches})
	if got := r.Wait(at(0)); got != 0 {
		t.Errorf("nothing yet: %v", got)
	}
	r.Feed([]byte("1.1"), at(0))
	if got := r.Wait(at(30)); got != 70*time.Millisecond {
		t.Errorf("30 ms into a frame: %v, want 70ms", got)
	}
	if got := r.Wait(at(500)); got != 1 {
		t.Errorf("overdue: %v, want 1ns", got)
	}
	r.Tick(at(500))
	if got := r.Wait(at(500)); got != 0 {
		t.Errorf("ended: %v", got)
	}
}

func TestNewReader(t *testing.T) {
	for name, s := range map[string]Settings{
		"want one of auto, decimal, decimal-unit, tagged, bcd-13, word-24": {Format: "morse"},
		"want one of send, stream, request":                                {Trigger: "shout"},
		`want "in" or "mm"`:                                                {Unit: "ft"},
	} {
		if _, err := NewReader(s); err == nil || !strings.Contains(err.Error(), name) {
			t.Errorf("got %v, want %s", err, name)
		}
	}
	r := mustReader(t, Settings{Unit: crimp.Inches})
	if r.Detected() != "" {
		t.Error("a format before the first frame")
	}
	e := r.Feed([]byte("+1.5 mm\r"), start)
	if r.Detected() != "decimal-unit" || e[0].Format != "decimal-unit" || e[0].Unit != crimp.Millimetres || e[0].Step != 100_000 {
		t.Errorf("detected %q, %+v", r.Detected(), e)
	}
}

func TestStateIsChecked(t *testing.T) {
	long := strings.Repeat("QUFB", 30)
	for name, text := range map[string]string{
		"no JSON":           `{`,
		"line too long":     `{"line":"` + long + `"}`,
		"previous too long": `{"send":{"prev":"` + long + `"}}`,
		"time ahead":        `{"now":5,"last":6}`,
		"time negative":     `{"now":-5}`,
		"clock too far":     `{"now":9223372036854775807}`,
		"count":             `{"refusals":{"in_row":-1}}`,
		"over":              `{"over":65}`,
		"run":               `{"send":{"run":51}}`,
	} {
		r := mustReader(t, Settings{Unit: crimp.Inches})
		before, _ := json.Marshal(r)
		if err := json.Unmarshal([]byte(text), r); err == nil {
			t.Errorf("%s: was taken", name)
		}
		if after, _ := json.Marshal(r); string(after) != string(before) {
			t.Errorf("%s: the reader was changed", name)
		}
	}
}

func BenchmarkFeed(b *testing.B) {
	for name, text := range map[string]string{"line": "+1.2040\r\n", "idle": ""} {
		b.Run(name, func(b *testing.B) {
			r := mustReader(b, Settings{Unit: crimp.Inches})
			in, now := []byte(text), start
			b.ReportAllocs()
			for b.Loop() {
				now = now.Add(time.Second)
				r.Feed(in, now)
			}
		})
	}
}

// A key that has no character, or was lost, spoils the frame that a caliper types.
func TestLostKeysSpoilTheFrame(t *testing.T) {
	r := mustReader(t, Settings{Unit: crimp.Inches})
	es := r.Feed([]byte("-1.2040\r1"+string(rune(port.Lost))+".2\r"), at(5))
	if len(es) != 2 || es[0].Kind != Reading || es[0].Value != -30_581_600 || es[1].Kind != Refused || es[1].Raw != `1\x1a.2` {
		t.Errorf("got %+v", es)
	}
}

// A line that is disturbed for hours makes no more than a few events, whatever comes
// between: it must not fill a card.
func TestFloodsAreToldInFew(t *testing.T) {
	const hour = 3600_000
	for _, row := range []struct {
		name        string
		steps       []step
		refused     int // at most
		faults      int // at most
		readings    int
		lastly, why string
	}{
		{"unreadable frames, a reading in each second between",
			join(every(0, 20, hour/20, "?\r"), []step{{hour + 1000, "+1.1000\r"}}), 5, 1, 1, "clear garbage", "the fault ends with the flood"},
		{"readings in the middle of a flood are none",
			join(every(0, 500, hour/500, "?\r?\r?\r+9.9\r?\r?\r"), []step{{hour + 1000, "+1.1000\r"}}), 8, 1, 2, "clear garbage", "only until it is a fault"},
		{"four and one",
			join(every(0, 500, hour/500, "?\r", "?\r", "?\r", "?\r", "+1.1\r", "+1.3\r"), []step{{hour + 1000, "?\r"}, {hour + 5*60_000, "+1.2000\r"}}),
			130, 62, hour/500/3 + 1, "clear garbage", "what can be read is still taken"},
		{"the same frame again and again, with pauses",
			join(every(0, 1000, hour/1000, "+1.1\r+1.1\r+1.1\r")), 120, 0, hour / 1000, "", ""},
	} {
		t.Run(row.name, func(t *testing.T) {
			var nRefused, nFaults, nReadings int
			lastly := ""
			for _, e := range play(t, mustReader(t, Settings{Unit: crimp.Inches}), row.steps) {
				_, what, _ := strings.Cut(e, " ")
				switch {
				case strings.HasPrefix(what, "refused"):
					nRefused++
				case strings.HasPrefix(what, "fault"):
					nFaults++
					lastly = what
				case strings.HasPrefix(what, "clear"):
					lastly = what
				case strings.HasPrefix(what, "reading"):
					nReadings++
				}
			}
			if nRefused > row.refused || nFaults > row.faults || nReadings != row.readings || lastly != row.lastly {
				t.Errorf("%d refused, %d faults, %d readings, lastly %q; want up to %d, up to %d, %d, %q: %s",
					nRefused, nFaults, nReadings, lastly, row.refused, row.faults, row.readings, row.lastly, row.why)
			}
		})
	}
}
