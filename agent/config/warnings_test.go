package config

import (
	"path/filepath"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

func TestWarnings(t *testing.T) {
	for _, test := range []struct {
		name, from, to string // replaced in the least file
		specs          string
		want           []string
	}{
		{"nothing to warn of", "", "", oneSpec, nil},
		{"port named in order of plugging in", "/dev/caliper0", "/dev/ttyUSB0", oneSpec, []string{
			"bench.toml:6: [caliper] port: this name may change when the cable is plugged in again: use the one under /dev/serial/by-id (benchtally ports shows it)",
		}},
		{"request that nothing sends", "[caliper]", "[caliper]\nrequest = 'R'", oneSpec, []string{
			`bench.toml:6: [caliper] request: is sent only with trigger = "request"`,
		}},
		{"ovality of one reading", "[caliper]", "[measure]\nplaces = 1\novality = '0.1mm'\n[caliper]", oneSpec, []string{
			"bench.toml:7: [measure] ovality: says nothing with places = 1: one reading has no largest and smallest",
		}},
		{"broker far away without encryption, topic of the example", "[caliper]", "[mqtt]\nbroker = 'tcp://broker.riverside.example'\n[caliper]", oneSpec, []string{
			"bench.toml: [press] topic: is not written, so the topics begin with the example's riverside/hose-shop: write your site and area",
			"bench.toml:6: [mqtt] broker: the records travel unencrypted to another machine, the password too: ssl:// protects them",
		}},
		{"broker here, topic written", "[switch]", "topic = 'works'\n[mqtt]\nbroker = 'tcp://[::1]'\n[switch]", oneSpec, nil},
		// z = 1.6449 (0.95), u = 0.0061 in: 2·z·u = 0.02007 in against 0.020 in.
		{"guard band as wide as the tolerance", "[caliper]", "[measure]\nu = '0.0061in'\nconfidence = 0.95\n[caliper]", oneSpec, []string{
			"bench.toml:7: [measure] confidence: the guard band leaves no room to pass: hs-08",
		}},
		{"guard band just narrower", "[caliper]", "[measure]\nu = '0.0060in'\nconfidence = 0.95\n[caliper]", oneSpec, nil},
		{"one count beyond the tolerance", "[caliper]", "[setting]\nstep = '0.021in'\n[caliper]", oneSpec, []string{
			"bench.toml:6: [setting] step: one count of the setting changes the diameter by more than the whole tolerance: hs-08",
		}},
		{"invented figures", "", "", "revision," + strings.ReplaceAll(oneSpec, "hs-", "invented,hs-"), []string{
			"bench.toml:8: [[specs]] file: the figures are invented examples: replace them by those of the maker's current sheet: hs-08",
		}},
	} {
		t.Run(test.name, func(t *testing.T) {
			dir := write(t, map[string]string{"bench.toml": strings.Replace(least, test.from, test.to, 1), "specs.csv": test.specs})
			c, err := Load(filepath.Join(dir, "bench.toml"))
			if err != nil {
				t.Fatal(err)
			}
			got := c.Warnings()
			for i := range got {
				got[i] = strings.ReplaceAll(got[i], dir+"/", "")
			}
			if diff := cmp.Diff(got, test.want); diff != "" {
				t.Errorf("got -, want +\n%s", diff)
			}
		})
	}
}

func TestManySpecsOfOneWarningAreCounted(t *testing.T) {
	rows := "spec,cage,diameter,plus,minus,setting,revision\n"
	for _, id := range []string{"a", "b", "c", "d", "e", "f", "g"} {
		rows += id + ",C-21,1.204in,0.010in,0.010in,120,invented\n"
	}
	dir := write(t, map[string]string{"bench.toml": least, "specs.csv": rows})
	c, err := Load(filepath.Join(dir, "bench.toml"))
	if err != nil {
		t.Fatal(err)
	}
	w := c.Warnings()
	if len(w) != 1 || !strings.HasSuffix(w[0], ": a, b, c, d, e and 2 more") {
		t.Errorf("got %q", w)
	}
}
