package record

import (
	"encoding/json"
	"strings"
	"testing"
	"unicode/utf8"
)

func TestAppendString(t *testing.T) {
	for _, c := range []struct{ name, in, want string }{
		{"empty", "", `""`},
		{"plain", "+1.2040", `"+1.2040"`},
		{"quote and backslash", `a"b\c/`, `"a\"b\\c/"`},
		{"ends of lines", "a\r\n\t", `"a\r\n\t"`},
		{"control characters", "\x00\x01\x1f\x7f", `"\u0000\u0001\u001f\u007f"`},
		{"other languages", "Müller 圧着 🔧", `"Müller 圧着 🔧"`},
		{"separators of lines", "a\u2028b\u2029c", "\"a\u2028b\u2029c\""},
		{"signs of HTML as they are", "<b>&'</b>", `"<b>&'</b>"`},
		{"a byte above 7f", "1\xff2", "\"1\ufffd2\""},
		{"a letter cut short", "a\xe5\x9c", "\"a\ufffd\ufffd\""},
		{"half of a pair", "\xed\xa0\x80", "\"\ufffd\ufffd\ufffd\""},
		{"the sign of replacement itself", "\ufffd", "\"\ufffd\""},
	} {
		t.Run(c.name, func(t *testing.T) {
			if got := string(AppendString([]byte("x"), c.in)); got != "x"+c.want {
				t.Errorf("got %q, want %q", got, "x"+c.want)
			}
		})
	}
}

// FuzzAppendString: whatever the text holds, the result is one JSON string in
// UTF-8 without control characters, and gives the text back, with U+FFFD for
// each byte that is not UTF-8, as encoding/json has it.
func FuzzAppendString(f *testing.F) {
	for _, s := range []string{"", "+1.2040\r\n", `"\`, "\x00\x7f", "\xff", "\xed\xa0\x80", "é\u2028🔧", "<&>"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		b := AppendString(nil, s)
		if !json.Valid(b) || !utf8.Valid(b) {
			t.Fatalf("%q gives %q", s, b)
		}
		if i := strings.IndexFunc(string(b), func(r rune) bool { return r < ' ' || r == 0x7f }); i >= 0 {
			t.Errorf("%q gives %q with a control character", s, b)
		}
		var got, theirs string
		if err := json.Unmarshal(b, &got); err != nil {
			t.Fatal(err)
		}
		if want := string([]rune(s)); got != want {
			t.Errorf("%q comes back as %q, want %q", s, got, want)
		}
		other, err := json.Marshal(s)
		if err != nil {
			t.Fatal(err)
		}
		if err := json.Unmarshal(other, &theirs); err != nil || got != theirs {
			t.Errorf("%q comes back as %q; from encoding/json as %q, %v", s, got, theirs, err)
		}
	})
}
