package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// TestCheckTellsOnce: what is wrong with the way to the broker is told at its own
// key and nowhere else, also for a Sparkplug node that takes the same way.
func TestCheckTellsOnce(t *testing.T) {
	const node = "[sparkplug]\ngroup = \"riverside-hose-shop\"\n"
	for _, c := range []struct{ name, lines, want string }{
		{"no scheme", "[mqtt]\nbroker = \"broker.riverside.example:1883\"\n" + node, `[mqtt] broker = "broker.riverside.example:1883": want`},
		{"two brokers and a comma", "[mqtt]\nbroker = \"tcp://a:1883,tcp://b:1883\"\n" + node, "parted by a blank alone"},
		{"a certificate without a key", "[mqtt]\nbroker = \"ssl://a:8883\"\ncert = \"press.pem\"\n" + node, "[mqtt] cert: a certificate needs its key"},
		{"an authority without TLS", "[mqtt]\nbroker = \"tcp://127.0.0.1:1883\"\nca = \"press.pem\"\n" + node, "[mqtt] ca: is of use with ssl:// only"},
		{"a password without a user", "[mqtt]\nbroker = \"tcp://127.0.0.1:1883\"\npassword_file = \"pw\"\n" + node, "[mqtt] password_file: a password needs a user"},
		{"a group that is none", "[mqtt]\nbroker = \"tcp://127.0.0.1:1883\"\n" + strings.Replace(node, "riverside-", "riverside/", 1), "[sparkplug] group = "},
		{"a node without a broker", node, "[sparkplug] group: a node needs a broker"},
	} {
		t.Run(c.name, func(t *testing.T) {
			dir, file := shop(t, c.lines)
			for _, name := range []string{"press.pem", "pw"} {
				if err := os.WriteFile(filepath.Join(dir, name), []byte("-"), 0o600); err != nil {
					t.Fatal(err)
				}
			}
			code, _, errs := command(t, "", "check", file)
			if code != exitUsage || strings.Count(errs, "bench.toml:") != 1 || !strings.Contains(errs, c.want) {
				t.Errorf("exit %d, want %d and %q alone:\n%s", code, exitUsage, c.want, errs)
			}
		})
	}
}

// TestCheckOpensFiles: a file that is there and holds something else is no fault,
// since it can be put right while the agent runs, but whoever checks is told.
func TestCheckOpensFiles(t *testing.T) {
	for _, c := range []struct{ name, lines, want string }{
		{"an authority that is none", "ca = \"other\"\n", "[mqtt] ca: authority's certificate: "},
		{"a list that is none", "crl = \"other\"\n", "[mqtt] crl: list of revoked certificates: "},
		{"a certificate that is none", "cert = \"other\"\nkey = \"other\"\n", "[mqtt] cert: own certificate "},
	} {
		t.Run(c.name, func(t *testing.T) {
			dir, file := shop(t, "[mqtt]\nbroker = \"ssl://a:8883\"\n"+c.lines)
			if err := os.WriteFile(filepath.Join(dir, "other"), []byte("spec,cage\n"), 0o600); err != nil {
				t.Fatal(err)
			}
			code, _, errs := command(t, "", "check", file)
			if code != exitDone || strings.Count(errs, c.want) != 1 {
				t.Errorf("exit %d, want a warning %q:\n%s", code, c.want, errs)
			}
		})
	}
}
