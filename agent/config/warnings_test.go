package config

import (
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"benchtally/agent/crimp"
)

// rows is a specs file with the specifications a, b, … of these tolerances, or
// of other columns as the header says.
func rows(header string, cells ...string) string {
	text := "spec,cage,diameter,setting," + header + "\n"
	for i, c := range cells {
		text += string(rune('a'+i)) + ",C-21,1.204in,120," + c + "\n"
	}
	return text
}

func TestWarnings(t *testing.T) {
	const even = "[correction]\nnoise_sd = '0.01mm'\n" // pieces that differ little
	for _, test := range []struct {
		name, from, to string // replaced in the least file
		specs          string
		want           []string
	}{
		{"nothing to warn of", "", "", oneSpec, nil},
		{"port named in order of plugging in", "/dev/caliper0", "/dev/ttyUSB0", oneSpec, []string{
			"bench.toml:6: [caliper] port: this name may change when the cable is plugged in again: use the one under /dev/serial/by-id (benchtally ports shows it)",
		}},
		{"ports named in order of plugging in", "port = \"/dev/caliper0\"", "port = '/dev/input/event3'\n[scanner]\nport = '/dev/ttyACM0'", oneSpec, []string{
			"bench.toml:6: [caliper] port: this name may change when the cable is plugged in again: use the one under /dev/input/by-id (benchtally ports shows it)",
			"bench.toml:8: [scanner] port: this name may change when the cable is plugged in again: use the one under /dev/serial/by-id (benchtally ports shows it)",
		}},
		{"the page's files are not there", "[caliper]", "[page]\ncert = 'page.pem'\nkey = 'page.key'\noperators = 'operators.csv'\n[caliper]", oneSpec, []string{
			"bench.toml:6: [page] cert: there is no file page.pem",
			"bench.toml:7: [page] key: there is no file page.key",
			"bench.toml:8: [page] operators: there is no file operators.csv",
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
		{"both brokers far away without encryption", "[switch]", "topic = 'works'\n[mqtt]\nbroker = 'tcp://broker.riverside.example'\n[sparkplug]\ngroup = 'g'\nbroker = 'tcp://127.0.0.1 tcp://host.riverside.example'\n[switch]", oneSpec, []string{
			"bench.toml:5: [mqtt] broker: the records travel unencrypted to another machine, the password too: ssl:// protects them",
			"bench.toml:8: [sparkplug] broker: the records travel unencrypted to another machine, the password too: ssl:// protects them",
		}},
		{"broker here, topic written", "[switch]", "topic = 'works'\n[mqtt]\nbroker = 'tcp://[::1]'\n[switch]", oneSpec, nil},
		// z = 1.6449 (0.95), u = 0.0061 in: 2·z·u = 0.02007 in against 0.020 in.
		{"guard band as wide as the tolerance", "[caliper]", "[measure]\nu = '0.0061in'\nconfidence = 0.95\n[caliper]", oneSpec, []string{
			"bench.toml:7: [measure] confidence: the guard band leaves no room to pass: take a finer caliper, or decide for a lower confidence: hs-08",
		}},
		{"guard band just narrower", "[caliper]", "[measure]\nu = '0.0060in'\nconfidence = 0.95\n[caliper]", oneSpec, nil},
		// u² = 20²/3 + 12.7²/12 + 12.7²/3 µm², u = 14.161 µm: 2·z·u = 46.6 µm against 45.7 and 48.3 µm.
		{"guard band computed", "[caliper]", "[measure]\nconfidence = 0.95\n" + even + "[caliper]",
			rows("plus,minus", "0.0009in,0.0009in", "0.0010in,0.0009in"), []string{
				"bench.toml:6: [measure] confidence: the guard band leaves no room to pass: take a finer caliper, or decide for a lower confidence: a",
			}},
		// The same with 10²/12 for the last digit: u = 13.979 µm, 2·z·u = 45.99 µm.
		{"guard band computed in millimetres", "[caliper]", "[measure]\nconfidence = 0.95\n" + even + "[caliper]\nunit = 'mm'",
			rows("plus,minus", "0.0459mm,0mm", "0.0460mm,0mm"), []string{
				"bench.toml:6: [measure] confidence: the guard band leaves no room to pass: take a finer caliper, or decide for a lower confidence: a",
			}},
		// And 30²/n µm² for repeatability: u = 22.379 µm with the shop's 3 places, 18.722 µm with 6:
		// 2·z·u = 73.6 and 61.6 µm against 66 µm.
		{"guard band computed with a study", "[caliper]", "[measure]\nconfidence = 0.95\nrepeatability = '0.03mm'\n" + even + "[caliper]",
			rows("plus,minus,places", "0.066mm,0mm,", "0.066mm,0mm,6"), []string{
				"bench.toml:6: [measure] confidence: the guard band leaves no room to pass: take a finer caliper, or decide for a lower confidence: a",
			}},
		// And (11.5·10⁻⁶·30.5816 mm·40)²/3 for temperature: u = 16.325 µm, 2·z·u = 53.7 µm.
		{"guard band computed with a warm ferrule", "[caliper]", "[measure]\nconfidence = 0.95\ntemperature = 40\n" + even + "[caliper]",
			rows("plus,minus", "0.0536mm,0mm", "0.0538mm,0mm"), []string{
				"bench.toml:7: [measure] temperature: is how far from 20 °C the ferrule may be, so this says from -20 °C to 60 °C",
				"bench.toml:6: [measure] confidence: the guard band leaves no room to pass: take a finer caliper, or decide for a lower confidence: a",
			}},
		{"a temperature instead of a distance from 20 °C", "[caliper]", "[measure]\ntemperature = 23\n[caliper]", oneSpec, []string{
			"bench.toml:6: [measure] temperature: is how far from 20 °C the ferrule may be, so this says from -3 °C to 43 °C",
		}},
		{"no guard band", "[caliper]", even + "[caliper]", rows("plus,minus", "0.030mm,0mm"), nil},
		{"studied and computed", "[caliper]", "[measure]\nu = '0.01mm'\nrepeatability = '0.01mm'\nrepeatability_dof = 9\ntemperature = 5\n[caliper]", oneSpec, []string{
			"bench.toml:7: [measure] repeatability: says nothing while u is written: u counts in place of all that is computed",
			"bench.toml:9: [measure] temperature: says nothing while u is written: u counts in place of all that is computed",
		}},
		{"computed alone", "[caliper]", "[measure]\nrepeatability = '0.01mm'\ntemperature = 5\n[caliper]", oneSpec, nil},
		{"places all on the marks", "[caliper]", "[measure]\nplaces = 4\ndies = 8\n[caliper]", oneSpec, []string{
			"bench.toml:6: [measure] places: 4 places evenly around 8 dies all fall on the marks alike and keep their full error: " +
				"3, 5, 6, 7 or 8 places even them out (or follow the maker's sheet where it says to measure on the flats): hs-08",
		}},
		{"places of which nobody knows the marks", "[caliper]", "[measure]\nplaces = 4\n[caliper]", oneSpec, nil},
		{"places that even out the marks", "[caliper]", "[measure]\nplaces = 3\ndies = 8\n[caliper]", oneSpec, nil},
		{"places of the specs", "[caliper]", "[measure]\ndies = 8\n[caliper]",
			rows("plus,minus,places,dies", "0.010in,0.010in,4,", "0.010in,0.010in,,6", "0.010in,0.010in,1,", "0.010in,0.010in,4,8", "0.010in,0.010in,4,10", "0.010in,0.010in,,12"), []string{
				"bench.toml:10: [[specs]] file: 4 places evenly around 8 dies all fall on the marks alike and keep their full error: " +
					"3, 5, 6, 7 or 8 places even them out (or follow the maker's sheet where it says to measure on the flats): a, d",
				"bench.toml: [measure] places: 3 places evenly around 6 dies all fall on the marks alike and keep their full error: " +
					"2, 4, 5, 6, 7 or 8 places even them out (or follow the maker's sheet where it says to measure on the flats): b",
				"bench.toml:10: [[specs]] file: one place around 8 dies takes the full error of the marks: " +
					"3, 5, 6, 7 or 8 places even them out (or follow the maker's sheet where it says to measure on the flats): c",
				"bench.toml: [measure] places: 3 places evenly around 12 dies all fall on the marks alike and keep their full error: " +
					"4, 5, 7 or 8 places even them out (or follow the maker's sheet where it says to measure on the flats): f",
			}},
		{"pieces that differ too much", "[caliper]", "[correction]\nnoise_sd = '0.006in'\n[caliper]",
			rows("plus,minus", "0.006in,0.006in", "0.007in,0.0049in", "0.0119in,0in"), []string{
				"bench.toml:6: [correction] noise_sd: pieces of one setting differ by more than half the tolerance, so that three in ten or more are beyond the limits at any setting: b, c",
			}},
		{"costs at limits that are not even", "[caliper]", "[correction]\nscrap_cost = 12\nstroke_cost = 1\n[caliper]",
			rows("plus,minus,recrimps", "0.012in,0.008in,1", "0.010in,0.010in,1", "0in,0.020in,"), []string{
				`bench.toml:6: [correction] scrap_cost: with cost_shape = "limits" the aim is about the middle of the limits, not about the target as with "linear" and "quadratic", where plus and minus differ: a, c`,
			}},
		{"costs at limits, written", "[caliper]", "[correction]\nscrap_cost = 12\nstroke_cost = 1\ncost_shape = 'limits'\n[caliper]",
			rows("plus,minus", "0.012in,0.008in"), []string{
				`bench.toml:8: [correction] cost_shape: with cost_shape = "limits" the aim is about the middle of the limits, not about the target as with "linear" and "quadratic", where plus and minus differ: a`,
			}},
		{"costs that grow", "[caliper]", "[correction]\nscrap_cost = 12\nstroke_cost = 1\ncost_shape = 'linear'\n[caliper]",
			rows("plus,minus,recrimps", "0.012in,0.008in,1"), nil},
		{"limits that are not even, without costs", "", "", rows("plus,minus", "0.012in,0.008in"), nil},
		{"what earlier set-ups teach beside what is told", "[caliper]", "[correction]\nlearn = 'on'\nprior_sd = '0.01in'\n[caliper]", oneSpec, nil},
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

// The page's secrets are warned of: they are no reason not to count.
func TestPageSecretsThatOthersMayOpenAreWarnedOf(t *testing.T) {
	dir := write(t, map[string]string{
		"bench.toml": least + "[page]\ncert = 'page.pem'\nkey = 'page.key'\noperators = 'operators.csv'\n",
		"specs.csv":  oneSpec, "page.pem": "-", "page.key": "-", "operators.csv": "-",
	})
	for name, mode := range map[string]os.FileMode{"page.pem": 0o644, "page.key": 0o640, "operators.csv": 0o644} {
		if err := os.Chmod(filepath.Join(dir, name), mode); err != nil {
			t.Fatal(err)
		}
	}
	c, err := Load(filepath.Join(dir, "bench.toml"))
	if err != nil {
		t.Fatal(err)
	}
	want := []string{c.File + ":12: [page] operators: every user of this machine may open the secret file: chmod o-rwx " + dir + "/operators.csv"}
	if diff := cmp.Diff(c.Warnings(), want); diff != "" {
		t.Errorf("got -, want +\n%s", diff)
	}
}

// Whatever number of dies a file may name, some numbers of places even out
// their marks, and those are the ones that are not warned of.
func TestPlacesThatEvenOutAreNamedForAllDies(t *testing.T) {
	for dies := fewestDies; dies <= mostDies; dies++ {
		text := strings.NewReplacer(",", "", " or", "").Replace(evenPlaces(dies))
		named := strings.Fields(text)
		if len(named) < 2 {
			t.Errorf("%d dies: %q", dies, evenPlaces(dies))
		}
		for n := 2; n <= 8; n++ {
			if got := slices.Contains(named, strconv.Itoa(n)); got == crimp.Aliases(n, dies) {
				t.Errorf("%d dies, %d places: named %v", dies, n, got)
			}
		}
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
