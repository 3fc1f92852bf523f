package people

import (
	"encoding/hex"
	"strings"
	"testing"
)

func TestCheckPIN(t *testing.T) {
	for pin, says := range map[string]string{
		"":              "4 to 12 digits",
		"471":           "4 to 12 digits",
		"4711471147114": "4 to 12 digits",
		"47a1":          "4 to 12 digits",
		"47 11":         "4 to 12 digits",
		"-471":          "4 to 12 digits",
		"٤٧١١":          "4 to 12 digits",
		"0000":          "one digit alone",
		"777777":        "one digit alone",
		"1234":          "counts up or down",
		"7890":          "counts up or down",
		"890123":        "counts up or down",
		"9876":          "counts up or down",
		"3210":          "counts up or down",
		"2109":          "counts up or down",
		"4711":          "",
		"1357":          "",
		"1235":          "",
		"0001":          "",
		"471147114711":  "",
	} {
		switch err := CheckPIN(pin); {
		case says == "" && err != nil:
			t.Errorf("%q: %v, want it taken", pin, err)
		case says != "" && (err == nil || !strings.Contains(err.Error(), says)):
			t.Errorf("%q: %v, want %q in it", pin, err, says)
		}
	}
}

// TestPINHash: the key is PBKDF2's, by the first 32 bytes of the vector in
// RFC 7914, 11, and
// a hash fits its own PIN only.
func TestPINHash(t *testing.T) {
	key := pinHash{iterations: 1, salt: "salt"}.of("passwd")
	if want := "55ac046e56e3089fec1691c22544b605f94185216dde0465e68b9d57c20dacbc"; hex.EncodeToString([]byte(key)) != want {
		t.Errorf("the key is %x, want %s", key, want)
	}
	a, b := newPIN("4711"), newPIN("4711")
	if a.salt == b.salt || a.key == b.key {
		t.Error("two hashes of one PIN are alike")
	}
	read, err := parsePIN(a.String())
	if err != nil || read != a {
		t.Fatalf("%s is read as %+v, %v", a, read, err)
	}
	if !read.is("4711") || read.is("4712") || read.is("") || read.is("04711") {
		t.Error("the hash of 4711 fits another PIN, or not its own")
	}
	if (pinHash{}).is("") || (pinHash{}).is("4711") || decoy.is("4711") || decoy.is("") {
		t.Error("no PIN at all fits one")
	}
	if text := a.String(); !strings.HasPrefix(text, "pbkdf2-sha256$50000$") {
		t.Errorf("kept as %s", text)
	}
}

func TestBadgeHash(t *testing.T) {
	token, h := newBadge()
	if len(token) != 26 || strings.Trim(token, "ABCDEFGHIJKLMNOPQRSTUVWXYZ234567") != "" {
		t.Errorf("token %q: want 26 of base32, 130 bits", token)
	}
	for _, scanned := range []string{token, strings.ToLower(token), " " + token + "\r\n"} {
		if !h.is(hashBadge(scanned)) {
			t.Errorf("%q is not taken for %q", scanned, token)
		}
	}
	if h.is(hashBadge(token[1:])) || (badgeHash{}).is(hashBadge("")) || h.is(badgeHash{}) {
		t.Error("another badge fits")
	}
	if read, err := parseBadge(h.String()); err != nil || read != h {
		t.Errorf("%s is read as %v, %v", h, read, err)
	}
}

// BenchmarkPIN is what one try of a PIN costs.
func BenchmarkPIN(b *testing.B) {
	h := newPIN("4711")
	for b.Loop() {
		h.is("4712")
	}
}
