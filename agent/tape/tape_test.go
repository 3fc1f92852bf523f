package tape

import (
	"errors"
	"io"
	"strings"
	"testing"
	"testing/iotest"
	"time"

	"github.com/google/go-cmp/cmp"
)

const header = `{"tape":1,"at":"2026-03-02T06:00:00Z"}` + "\n"

func TestHeader(t *testing.T) {
	six := time.Date(2026, 3, 2, 6, 0, 0, 0, time.UTC)
	const want = `the first line must be {"tape":1,"at":"2026-03-02T06:00:00Z"}`
	for _, c := range []struct {
		name, tape string
		at         time.Time
		err        string
	}{
		{"as it should be", header, six, ""},
		{"without an end of line", strings.TrimSpace(header), six, ""},
		{"with the ends of another system", strings.TrimSpace(header) + "\r\n", six, ""},
		{"behind empty lines", "\n \n" + header, six, ""},
		{"in another zone", `{"tape":1,"at":"2026-03-02T11:30:00.5+05:30"}`, six.Add(500 * time.Millisecond), ""},
		{"nothing", "", time.Time{}, `a.jsonl:1: the tape is empty: its first line must be {"tape":1,"at":"2026-03-02T06:00:00Z"}`},
		{"empty lines alone", "\n\n", time.Time{}, `a.jsonl:1: the tape is empty: its first line must be {"tape":1,"at":"2026-03-02T06:00:00Z"}`},
		{"an input", `{"t":1,"level":0}`, time.Time{}, `a.jsonl:1: no header (unknown key "t"): ` + want},
		{"an input on line 3", "\n\n{\"t\":1,\"level\":0}", time.Time{}, `a.jsonl:3: no header (unknown key "t"): ` + want},
		{"no JSON", "tape 1", time.Time{}, `a.jsonl:1: no header (not JSON: invalid character 'a' in literal true (expecting 'r')): ` + want},
		{"a later form", `{"tape":2,"at":"2026-03-02T06:00:00Z"}`, time.Time{}, `a.jsonl:1: tape form 2: want {"tape":1,…}`},
		{"no form", `{"at":"2026-03-02T06:00:00Z"}`, time.Time{}, `a.jsonl:1: tape form 0: want {"tape":1,…}`},
		{"no time", `{"tape":1}`, time.Time{}, `a.jsonl:1: at "" is no time: write RFC 3339, such as 2026-03-02T06:00:00Z`},
		{"a day", `{"tape":1,"at":"2026-03-02"}`, time.Time{}, `a.jsonl:1: at "2026-03-02" is no time: write RFC 3339, such as 2026-03-02T06:00:00Z`},
		{"no zone", `{"tape":1,"at":"2026-03-02T06:00:00"}`, time.Time{}, `a.jsonl:1: at "2026-03-02T06:00:00" is no time: write RFC 3339, such as 2026-03-02T06:00:00Z`},
		{"far too long", strings.Repeat(" ", maxLine) + header, time.Time{}, `a.jsonl:1: the line is longer than 65536 bytes`},
	} {
		t.Run(c.name, func(t *testing.T) {
			r, err := NewReader(strings.NewReader(c.tape), "a.jsonl")
			if c.err != "" {
				var where *Error
				if err == nil || err.Error() != c.err || !errors.As(err, &where) {
					t.Fatalf("got  %v\nwant %s", err, c.err)
				}
				return
			}
			if err != nil {
				t.Fatal(err)
			}
			if !r.At.Equal(c.at) || r.At.Location() != time.UTC {
				t.Errorf("began at %s, want %s", r.At, c.at)
			}
			if _, err := r.Next(); !errors.Is(err, io.EOF) {
				t.Errorf("behind the header: %v, want the end", err)
			}
		})
	}
}

// TestReader goes through a tape with good and bad lines: a bad one is told with
// its place, and the next one is read all the same.
func TestReader(t *testing.T) {
	type step struct {
		line Line
		err  string
	}
	tape := header +
		"{\"t\":0,\"level\":1}\n" +
		"\n" +
		"{\"t\":1.5,\"level\":0}\r\n" +
		"  {\"t\":1.5000004,\"hex\":\"0d0a\"}  \n" + // rounded to the microsecond
		"{\"t\":1.4999996,\"level\":1}\n" + // this too: it does not fall
		"{\"t\":1.4,\"level\":1}\n" +
		"{\"level\":1}\n" +
		"{\"t\":null,\"level\":1}\n" +
		"{\"t\":-0.1,\"level\":1}\n" +
		"{\"t\":1e10,\"level\":1}\n" +
		"{\"t\":2,\"level\":7}\n" +
		"{\"t\":-0,\"level\":1}\n" +
		"{\"t\":2.000001,\"text\":\"x\"}\n" +
		"{\"t\":9e9,\"level\":1}\n" +
		"{\"t\":8999999999.5,\"level\":1}" // no end of line
	want := []step{
		{line: Line{N: 2, Level: ptr(true)}},
		{line: Line{N: 4, T: 1500 * time.Millisecond, Level: ptr(false)}},
		{line: Line{N: 5, T: 1500 * time.Millisecond, Bytes: []byte("\r\n")}},
		{line: Line{N: 6, T: 1500 * time.Millisecond, Level: ptr(true)}},
		{err: "a.jsonl:7: t 1.4 falls behind the line before (1.5): times never fall"},
		{err: `a.jsonl:8: no "t": say when, in seconds since the tape began`},
		{err: `a.jsonl:9: no "t": say when, in seconds since the tape began`},
		{err: "a.jsonl:10: t -0.1: want 0 to 9000000000 seconds since the tape began"},
		{err: "a.jsonl:11: t 1e+10: want 0 to 9000000000 seconds since the tape began"},
		{err: "a.jsonl:12: level 7: want 0 or 1"},
		{err: "a.jsonl:13: t -0 falls behind the line before (1.5): times never fall"},
		{line: Line{N: 14, T: 2*time.Second + time.Microsecond, Bytes: []byte("x")}},
		{line: Line{N: 15, T: 9e9 * time.Second, Level: ptr(true)}},
		{err: "a.jsonl:16: t 8999999999.5 falls behind the line before (9000000000): times never fall"},
	}
	r, err := NewReader(iotest.OneByteReader(strings.NewReader(tape)), "a.jsonl")
	if err != nil {
		t.Fatal(err)
	}
	for i, w := range want {
		l, err := r.Next()
		got := step{line: l}
		if err != nil {
			got.err = err.Error()
		}
		if diff := cmp.Diff(w, got, cmp.AllowUnexported(step{})); diff != "" {
			t.Errorf("step %d, want -, got +:\n%s", i, diff)
		}
	}
	for range 2 {
		if _, err := r.Next(); !errors.Is(err, io.EOF) {
			t.Errorf("behind the last line: %v, want the end", err)
		}
	}
}

func TestText(t *testing.T) {
	r, err := NewReader(strings.NewReader(header+`{"t":1,"level":0} `+"\n"+`{"t":2,"levle":0}`), "a")
	if err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{`{"t":1,"level":0} `, `{"t":2,"levle":0}`} {
		_, _ = r.Next() // the text of a bad line is wanted too
		if got := string(r.Text()); got != want {
			t.Errorf("got %q, want %q", got, want)
		}
	}
}

func TestLongLines(t *testing.T) {
	fill := func(n int) string {
		const frame = `{"t":1,"text":""}`
		return `{"t":1,"text":"` + strings.Repeat("x", n-len(frame)) + `"}`
	}
	r, err := NewReader(strings.NewReader(header+fill(maxLine-1)+"\n"+fill(maxLine)+"\n"+fill(100)), "a.jsonl")
	if err != nil {
		t.Fatal(err)
	}
	if l, err := r.Next(); err != nil || len(l.Bytes) != maxLine-1-len(`{"t":1,"text":""}`) {
		t.Errorf("the longest line: %d bytes, %v", len(l.Bytes), err)
	}
	for _, want := range []string{"a.jsonl:3: the line is longer than 65536 bytes", "a.jsonl:3: the line is longer than 65536 bytes"} {
		if _, err := r.Next(); err == nil || err.Error() != want { // nothing behind it can be found again
			t.Errorf("got %v, want %s", err, want)
		}
	}
}

func TestBrokenSource(t *testing.T) {
	gone := errors.New("input/output error")
	if _, err := NewReader(iotest.ErrReader(gone), "a.jsonl"); !errors.Is(err, gone) || err.Error() != "read a.jsonl: input/output error" {
		t.Errorf("at the header: %v", err)
	}
	r, err := NewReader(io.MultiReader(strings.NewReader(header+"{\"t\":1,\"level\":0}\n"), iotest.ErrReader(gone)), "a.jsonl")
	if err != nil {
		t.Fatal(err)
	}
	if _, err := r.Next(); err != nil {
		t.Errorf("the line before the fault: %v", err)
	}
	if _, err := r.Next(); !errors.Is(err, gone) {
		t.Errorf("got %v, want the fault", err)
	}
}

func TestIsHeader(t *testing.T) {
	for text, want := range map[string]bool{
		strings.TrimSpace(header):                true,
		`{"tape":2,"at":"2026-03-02T06:00:00Z"}`: true, // of a form not known, and still no input
		`{"tape":0}`:                             false,
		`{"at":"2026-03-02T06:00:00Z"}`:          false,
		`{"t":1,"level":0}`:                      false,
		`{"tape":1,"level":0}`:                   false,
		`tape`:                                   false,
		``:                                       false,
	} {
		if got := IsHeader([]byte(text)); got != want {
			t.Errorf("%s: %t, want %t", text, got, want)
		}
	}
}
