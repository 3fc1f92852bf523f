package main

import (
	"bytes"
	"errors"
	"io"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/creack/pty"
	"golang.org/x/term"

	"benchtally/agent/people"
)

// staffed is a shop with an operators file named, which is not there yet.
func staffed(t *testing.T) (file, config string) {
	t.Helper()
	dir, config := shop(t, "[page]\nlisten = \"\"\noperators = \"operators.csv\"\n")
	return filepath.Join(dir, "operators.csv"), config
}

// TestOperators: people are added, get PINs and badges, and go, in a file that only
// its owner may open.
func TestOperators(t *testing.T) {
	file, config := staffed(t)
	at := time.Date(2026, 3, 2, 6, 40, 0, 0, time.UTC)
	door := people.NewDoor(file, people.Settings{Now: func() time.Time { return at }})
	signsIn := func(id, pin string) bool {
		at = at.Add(time.Minute)
		_, p, err := door.PIN(id, pin, "192.0.2.7")
		return err == nil && p.ID == id
	}
	do := func(stdin string, args ...string) string {
		t.Helper()
		code, out, errs := command(t, stdin, append([]string{"operator", "--config", config}, args...)...)
		if code != exitDone {
			t.Fatalf("%v: exit %d: %s", args, code, errs)
		}
		return out
	}
	if got := do("4711\n", "add", "kj", "--name", "Kim Jansen", "--lead"); got != "kj is added, with a PIN; a running agent knows it within seconds\n" {
		t.Errorf("add says %q", got)
	}
	if got := do("", "add", "mb"); got != "mb is added, without a PIN; a running agent knows it within seconds\n" {
		t.Errorf("add says %q", got)
	}
	if info, err := os.Stat(file); err != nil || info.Mode().Perm() != 0o600 {
		t.Errorf("the file is %v, %v, want mode 0600", info, err)
	}
	if !signsIn("kj", "4711") || signsIn("mb", "") {
		t.Error("kj does not sign in with 4711, or mb with nothing does")
	}
	do("2580\r\n", "pin", "kj")
	if signsIn("kj", "4711") || !signsIn("kj", "2580") {
		t.Error("the new PIN of kj is not 2580 alone")
	}
	label := do("", "badge", "mb")
	if !regexp.MustCompile(`^BADGE [A-Z2-7]{26}\n$`).MatchString(label) {
		t.Errorf("the label is %q", label)
	}
	at = at.Add(time.Minute)
	if _, p, err := door.Badge(strings.TrimPrefix(label, "BADGE ")); err != nil || p.ID != "mb" {
		t.Errorf("the badge of mb is %v's, %v", p, err)
	}
	if got, want := do("", "list"), "operator  name        lead  PIN  badge\n"+
		"kj        Kim Jansen  yes   yes  -\n"+
		"mb                    -     -    yes\n"; got != want {
		t.Errorf("the list is\n%swant\n%s", got, want)
	}
	if got, want := do("", "list", "--json"), `[{"operator":"kj","name":"Kim Jansen","lead":true,"pin":true,"badge":false},`+
		`{"operator":"mb","name":"","lead":false,"pin":false,"badge":true}]`+"\n"; got != want {
		t.Errorf("the list is %swant %s", got, want)
	}
	if got := do("", "remove", "kj"); got != "kj is out; a running agent knows it within seconds\n" || signsIn("kj", "2580") {
		t.Errorf("remove says %q", got)
	}
	if text, err := os.ReadFile(file); err != nil || strings.Contains(string(text), "kj") || strings.Contains(string(text), label[6:32]) {
		t.Errorf("the file is %s, %v", text, err)
	}
}

// TestOperatorRefuses: what cannot be is refused with what to do, and nothing changes.
func TestOperatorRefuses(t *testing.T) {
	file, config := staffed(t)
	if code, _, errs := command(t, "", "operator", "list", "--config", config); code != exitUsage || !strings.Contains(errs, "operator add") {
		t.Errorf("the list of no file: exit %d, %s", code, errs)
	}
	if code, _, errs := command(t, "4711\n", "operator", "add", "kj", "--config", config); code != exitDone {
		t.Fatal(errs)
	}
	before, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	for name, c := range map[string]struct {
		stdin string
		args  []string
		says  string
	}{
		"no command":     {"", nil, "list"},
		"twice":          {"2580", []string{"add", "kj"}, "kj already"},
		"blank in it":    {"2580", []string{"add", "k j"}, "no blanks"},
		"short PIN":      {"471", []string{"add", "mb"}, "4 to 12 digits"},
		"PIN that runs":  {"1234", []string{"pin", "kj"}, "counts up or down"},
		"no PIN":         {"", []string{"pin", "kj"}, "4 to 12 digits"},
		"nobody's PIN":   {"2580", []string{"pin", "zz"}, "no operator zz: there are kj"},
		"nobody's badge": {"", []string{"badge", "zz"}, "no operator zz"},
		"nobody":         {"", []string{"remove", "zz"}, "no operator zz"},
		"PIN as a word":  {"", []string{"pin", "kj", "4711"}, "unexpected argument"},
	} {
		code, out, errs := command(t, c.stdin, append([]string{"operator", "--config", config}, c.args...)...)
		if code != exitUsage || !strings.Contains(errs, c.says) {
			t.Errorf("%s: exit %d, says %q, want %q in it", name, code, errs, c.says)
		}
		if out != "" && name != "no command" {
			t.Errorf("%s: printed %q", name, out)
		}
	}
	if after, err := os.ReadFile(file); err != nil || !bytes.Equal(before, after) {
		t.Errorf("the file is now %s, %v", after, err)
	}
	write(t, file, "operator,name,lead,pin,badge\nkj,,no,,\n")
	if code, _, errs := command(t, "2580", "operator", "pin", "kj", "--config", config); code != exitUsage || !strings.Contains(errs, file+":2:5: lead") {
		t.Errorf("a file with faults: exit %d, %s", code, errs)
	}
	_, none := shop(t, "")
	if code, _, errs := command(t, "", "operator", "list", "--config", none); code != exitUsage || !strings.Contains(errs, "operators = ") {
		t.Errorf("no file named: exit %d, %s", code, errs)
	}
}

// TestPINUnseen: at a terminal the PIN is asked for twice and never shown, and an
// interrupt leaves the terminal as it was.
func TestPINUnseen(t *testing.T) {
	for name, c := range map[string]struct {
		typed string
		pin   string
		says  string
	}{
		"twice the same": {"4711\r4711\r", "4711", ""},
		"two":            {"4711\r4712\r", "", "the two PINs differ"},
		"none":           {"\r", "", ""},
		"runs":           {"1234\r", "", "counts up or down"},
		"interrupted":    {"47\x03", "", "interrupted"},
	} {
		user, terminal, err := pty.Open()
		if err != nil {
			t.Fatal(err)
		}
		t.Cleanup(func() { _ = terminal.Close(); _ = user.Close() }) // nothing is kept there
		var shown bytes.Buffer
		seen := make(chan error, 1)
		go func() { // a terminal shows what is typed and what is asked
			for one := make([]byte, 1); !bytes.HasSuffix(shown.Bytes(), []byte("that is all")); shown.Write(one) {
				if _, err := user.Read(one); err != nil {
					seen <- err
					return
				}
			}
			seen <- nil
		}()
		before, err := term.GetState(int(terminal.Fd()))
		if err != nil {
			t.Fatal(err)
		}
		typing := &typist{Writer: terminal, user: user, text: c.typed}
		pin, err := askPIN(env{stdin: terminal, stderr: typing}, "PIN for kj")
		switch {
		case c.says == "" && (err != nil || pin != c.pin):
			t.Errorf("%s: %q, %v, want %q", name, pin, err, c.pin)
		case c.says != "" && (err == nil || !strings.Contains(err.Error(), c.says)):
			t.Errorf("%s: %q, %v, want %q in it", name, pin, err, c.says)
		}
		if after, err := term.GetState(int(terminal.Fd())); err != nil || *after != *before {
			t.Errorf("%s: the terminal is not as it was, %v", name, err)
		}
		_, err1 := io.WriteString(terminal, "that is all")
		if err := errors.Join(typing.err, err1, <-seen); err != nil {
			t.Fatal(err)
		}
		if text := shown.String(); !strings.Contains(text, "PIN for kj: ") || strings.Contains(text, "47") || strings.Contains(text, "12") {
			t.Errorf("%s: the terminal shows %q", name, text)
		}
	}
}

// typist is a terminal whose user types all there is to type at the first prompt.
type typist struct {
	io.Writer
	user io.Writer
	text string
	err  error
}

func (t *typist) Write(b []byte) (int, error) {
	n, err := t.Writer.Write(b)
	if bytes.Contains(b, []byte("PIN for kj: ")) {
		_, t.err = io.WriteString(t.user, t.text)
		t.text = ""
	}
	return n, err
}
