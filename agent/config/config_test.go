package config

import (
	"encoding/json"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"

	"benchtally/agent/crimp"
)

// write puts files into a new folder and returns its path.
func write(t *testing.T, files map[string]string) string {
	t.Helper()
	dir := t.TempDir()
	for name, text := range files {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	return dir
}

func content(t *testing.T, file string) string {
	t.Helper()
	b, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}

// least is the shortest file without a fault.
const least = `[press]
name = "north-bench"
[switch]
line = "GPIO17"
[caliper]
port = "/dev/caliper0"
[[specs]]
file = "specs.csv"
`

const oneSpec = "spec,cage,diameter,plus,minus,setting\nhs-08,C-21,1.204in,0.010in,0.010in,120\n"

var plain = cmpopts.IgnoreUnexported(Config{})

func TestEveryKeyReachesItsField(t *testing.T) {
	dir := write(t, map[string]string{
		"station.toml":  content(t, configs+"full/station.toml"),
		"specs.csv":     content(t, specs+"good-metric.csv"),
		"jobs.csv":      "order,a_spec,quantity,length,length_plus,angle\nB-7,m-12,3,900mm,10mm,270\n",
		"mqtt-password": "-", "ca.pem": "-", "revoked.crl": "-", "press.pem": "-", "press.key": "-",
	})
	file := filepath.Join(dir, "station.toml")
	got, err := Load(file)
	if err != nil {
		t.Fatal(err)
	}
	mm, threeQuarters := crimp.Millimetre, 270
	want := &Config{
		File:  file,
		Press: Press{Name: "south-bench", Topic: "riverside/hall-2"},
		Scale: crimp.Scale{Step: mm / 50, Smaller: true, Lowest: 90, Highest: 899},
		Switch: Switch{
			Line: "GPIO5", Rest: "GPIO6", Retracted: "GPIO13",
			Settle: 5 * time.Millisecond, Shortest: 40 * time.Millisecond,
			Cycle: 500 * time.Millisecond, Stuck: 3 * time.Minute,
		},
		Caliper: Caliper{
			Port: "/dev/serial/by-id/usb-bridge-if00", Format: "signed-decimal", Unit: crimp.Millimetres,
			Trigger: "request", Request: "R\r", Baud: 4800, DataBits: 7, Parity: "even", StopBits: "2",
			DTR: "on", RTS: "off", Zero: mm / 100, Limit: 3 * mm / 100, CheckEvery: 24 * time.Hour,
		},
		Measure: Measure{
			Places: 4, Every: 5, Dies: 6, Ovality: 15 * mm / 100, U: 8 * crimp.Micrometre, Confidence: 0.95,
			Repeatability: 6 * crimp.Micrometre, RepeatabilityDof: 58, Temperature: 7.5,
		},
		Correction: Correction{
			PriorSD: mm / 10, NoiseSD: mm / 50, DriftSD: 100, Hold: mm / 100,
			Costs: crimp.Costs{Shape: crimp.Quadratic, Scrap: 12.5, Stroke: 0.8},
		},
		Care:  Care{Lubricate: 40, Teardown: 900, Months: 5, OilDays: 30},
		Store: Store{Path: filepath.Join(dir, "records/station.db"), Keep: 365 * 24 * time.Hour},
		MQTT: MQTT{
			Broker: "ssl://broker.riverside.example:8883", User: "south-bench",
			PasswordFile: filepath.Join(dir, "mqtt-password"), CA: filepath.Join(dir, "ca.pem"),
			CRL:  filepath.Join(dir, "revoked.crl"),
			Cert: filepath.Join(dir, "press.pem"), Key: filepath.Join(dir, "press.key"),
			Window: 16, Rate: 50,
		},
		Sparkplug: Sparkplug{
			Group: "riverside-hall-2", Node: "bench 2", Device: "ring press", Host: "control-room",
			Broker: "ssl://a.riverside.example:8883 ssl://b.riverside.example:99",
		},
		Page: Page{
			Listen: "192.0.2.7:8443", Cert: filepath.Join(dir, "page.pem"), Key: filepath.Join(dir, "page.key"), Proxy: "192.0.2.1",
			Hosts: []string{"press-1.riverside.example", "192.0.2.7"}, Operators: filepath.Join(dir, "operators.csv"),
			SignIn: true, ViewSignedIn: true, Idle: 5 * time.Minute, Language: "de",
		},
		Order:   Order{EndPoints: []string{"square-cut", "skive-clean"}, Lengths: crimp.SAE, ScrapReasons: []string{"wrong hose"}},
		Scanner: Scanner{Port: "/dev/input/by-id/usb-reader-event-kbd", Baud: 19_200, DataBits: 7, Parity: "odd", StopBits: "2"},
		Specs: []crimp.Spec{
			{ID: "m-12", Cage: "C-18", Diameter: 21_600_000, Plus: mm / 5, Minus: mm / 5, Setting: 150, Unit: crimp.Millimetres, Note: "Größe 12"},
			{ID: "m-25", Cage: "C-37", Diameter: 47_500_000, Plus: 35 * mm / 100, Setting: 99, Unit: crimp.Millimetres},
		},
		Standards: []crimp.Standard{{Name: "ring-25", Value: 25_002_000, Allowed: 25_000}, {Name: "block-1", Value: crimp.Inch, Allowed: 30_000}},
		Jobs: []crimp.Job{{
			Order: "B-7", Quantity: 3, Ends: [2]crimp.End{{Spec: "m-12"}}, Length: 900 * mm, Plus: 10 * mm, Angle: &threeQuarters,
		}},
		JobFiles: []string{filepath.Join(dir, "jobs.csv")},
	}
	if diff := cmp.Diff(got, want, plain); diff != "" {
		t.Errorf("got -, want +\n%s", diff)
	}
}

func TestDefaults(t *testing.T) {
	dir := write(t, map[string]string{"bench.toml": least, "specs.csv": oneSpec})
	file := filepath.Join(dir, "bench.toml")
	got, err := Load(file)
	if err != nil {
		t.Fatal(err)
	}
	want := &Config{
		File:  file,
		Press: Press{Name: "north-bench", Topic: "riverside/hose-shop"},
		Scale: crimp.Scale{Step: 25_400, Lowest: 0, Highest: 999},
		Switch: Switch{
			Line: "GPIO17", ActiveLow: true, Settle: 20 * time.Millisecond,
			Shortest: 150 * time.Millisecond, Cycle: time.Second, Stuck: 120 * time.Second,
		},
		Caliper: Caliper{
			Port: "/dev/caliper0", Format: "auto", Unit: "in", Trigger: "send", Baud: 9600, DataBits: 8,
			Parity: "none", StopBits: "1", Zero: 12_700, Limit: 20_000,
		},
		Measure:    Measure{Places: 3, Every: 1},
		Correction: Correction{NoiseSD: 25_400, Learn: true, Costs: crimp.Costs{Shape: crimp.AtLimits}},
		Care:       Care{Lubricate: 50, Teardown: 1000, Months: 6},
		Store:      Store{Path: filepath.Join(dir, "benchtally.db")},
		MQTT:       MQTT{Window: 1},
		Sparkplug:  Sparkplug{Device: "press"},
		Order: Order{
			EndPoints: []string{"square-cut", "insertion-mark", "bore-open"}, AssemblyPoints: []string{"flushed", "capped"}, FirstPiece: true, Lengths: "EN",
			ScrapReasons: []string{"cut not square", "insertion mark hidden", "bore closed", "hose damaged", "leak in proof test"},
		},
		Scanner: Scanner{Baud: 9600, DataBits: 8, Parity: "none", StopBits: "1"},
		Page:    Page{Listen: "127.0.0.1:8737", Idle: 30 * time.Minute, Language: "en"},
		Specs: []crimp.Spec{
			{ID: "hs-08", Cage: "C-21", Diameter: 30_581_600, Plus: 254_000, Minus: 254_000, Setting: 120, Unit: crimp.Inches},
		},
	}
	if diff := cmp.Diff(got, want, plain); diff != "" {
		t.Errorf("got -, want +\n%s", diff)
	}
	if got, want := got.Base(), "riverside/hose-shop/north-bench"; got != want {
		t.Errorf("Base() = %q, want %q", got, want)
	}
}

// What a study and the temperature tell reaches the budget of a mean.
func TestGaugeOfTheConfiguration(t *testing.T) {
	c, err := Load(configs + "good-gauge.toml")
	if err != nil {
		t.Fatal(err)
	}
	um := crimp.Micrometre
	want := crimp.Gauge{
		Limit: 30 * um, Repeatability: 6 * um, RepeatabilityDof: 58, Kelvin: 7.5, Zero: crimp.Zero{Allowed: 10 * um},
		Step: crimp.Thousandth / 2, // the caliper of the file shows inches
	}
	if diff := cmp.Diff(c.Gauge(), want); diff != "" {
		t.Errorf("got -, want +\n%s", diff)
	}
}

func TestSpecByID(t *testing.T) {
	c, err := Load(configs + "good-inline.toml")
	if err != nil {
		t.Fatal(err)
	}
	if got, want := c.Base(), "north-bench"; got != want {
		t.Errorf("Base() without a topic = %q, want %q", got, want)
	}
	s, ok := c.Spec("hs-16")
	want := crimp.Spec{
		ID: "hs-16", Cage: "C-29", Diameter: 48_387_000, Plus: 304_800, Minus: 304_800, Setting: 131, Unit: crimp.Inches,
		Hose: "four-spiral 1", Fitting: "flange", Size: "-16", Skive: 52_070_000, Insertion: 55_880_000,
		Places: 4, Dies: 8, Revision: "r1", Note: "invented, external skive",
	}
	if diff := cmp.Diff(s, want); !ok || diff != "" {
		t.Errorf("ok %v; got -, want +\n%s", ok, diff)
	}
	if s, ok := c.Spec("m-25"); !ok || s.Cage != "C-37" {
		t.Errorf("of the second file: %v, %v", s, ok)
	}
	if s, ok := c.Spec("hs-99"); ok {
		t.Errorf("unknown id gives %v", s)
	}
}

func TestBrokerIsKeptWithItsPort(t *testing.T) {
	for written, want := range map[string]string{
		"tcp://127.0.0.1":                "tcp://127.0.0.1:1883",
		"ssl://broker.riverside.example": "ssl://broker.riverside.example:8883",
		"tcp://[::1]":                    "tcp://[::1]:1883",
		"SSL://broker:9":                 "ssl://broker:9",
		"":                               "",
	} {
		dir := write(t, map[string]string{
			"bench.toml": least + "[mqtt]\nbroker = \"" + written + "\"\n", "specs.csv": oneSpec,
		})
		c, err := Load(filepath.Join(dir, "bench.toml"))
		if err != nil {
			t.Errorf("%q: %v", written, err)
		} else if c.MQTT.Broker != want {
			t.Errorf("%q is kept as %q, want %q", written, c.MQTT.Broker, want)
		}
	}
}

func TestListenAddresses(t *testing.T) {
	for listen, want := range map[string]struct{ good, here bool }{
		"127.0.0.1:8737": {true, true}, "127.0.0.2:1": {true, true}, "[::1]:8737": {true, true}, "localhost:0": {true, true}, "[::ffff:127.0.0.1]:80": {true, true},
		"0.0.0.0:8737": {true, false}, "[::]:8737": {true, false}, ":8737": {true, false}, "192.0.2.7:8737": {true, false}, "localhost.example:80": {false, false},
		"127.0.0.1:http": {false, true}, "127.0.0.1:65536": {false, true}, "127.0.0.1:-1": {false, true}, "127.0.0.1:": {false, true}, "127.0.0.1": {false, false},
	} {
		if got := listenAddress(listen); (got == "") != want.good {
			t.Errorf("%q: good %v, but it says %q", listen, want.good, got)
		}
		if got := shownHere(listen); got != want.here {
			t.Errorf("%q: on this machine alone %v, want %v", listen, got, want.here)
		}
	}
}

func TestSecretsThatOthersMayOpenAreFaults(t *testing.T) {
	const mqtt = "[mqtt]\nbroker = \"ssl://broker.riverside.example\"\nuser = \"north-bench\"\n" +
		"password_file = \"pw\"\ncert = \"press.pem\"\nkey = \"press.key\"\n"
	dir := write(t, map[string]string{
		"bench.toml": least + mqtt, "specs.csv": oneSpec, "pw": "-", "press.pem": "-", "press.key": "-",
	})
	file := filepath.Join(dir, "bench.toml")
	for name, mode := range map[string]os.FileMode{"pw": 0o644, "press.key": 0o601, "press.pem": 0o666} {
		if err := os.Chmod(filepath.Join(dir, name), mode); err != nil {
			t.Fatal(err)
		}
	}
	_, err := Load(file)
	want := file + ":12: [mqtt] password_file: every user of this machine may open the secret file: chmod o-rwx " + dir + "/pw\n" +
		file + ":14: [mqtt] key: every user of this machine may open the secret file: chmod o-rwx " + dir + "/press.key"
	if err == nil || err.Error() != want {
		t.Errorf("got\n%v\nwant\n%s", err, want)
	}
	// Without a broker nothing of it is used, so nothing is asked of it.
	quiet := strings.Replace(content(t, file), "ssl://broker.riverside.example", "", 1)
	if err := os.WriteFile(file, []byte(quiet), 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := Load(file); err != nil {
		t.Errorf("without a broker: %v", err)
	}
}

func TestFilesThatCannotBeRead(t *testing.T) {
	dir := write(t, map[string]string{"large.toml": "# " + strings.Repeat("x", maxConfig)})
	for _, test := range []struct{ name, file, want string }{
		{"not there", "none.toml", "there is no file " + dir + "/none.toml"},
		{"a folder", "", "this is a folder, want a file"},
		{"too large", "large.toml", "larger than 1 MiB: want a text file written by hand"},
	} {
		t.Run(test.name, func(t *testing.T) {
			file := filepath.Join(dir, test.file)
			_, err := Load(file)
			if want := file + ": " + test.want; err == nil || err.Error() != want {
				t.Errorf("got %v, want %s", err, want)
			}
		})
	}
}

func TestTenFaultsAreToldAtOnce(t *testing.T) {
	_, err := Load(configs + "ten-faults.toml")
	var faults Faults
	if !errors.As(err, &faults) || len(faults) != 10 {
		t.Fatalf("%d faults: %v", len(faults), err)
	}
	line := 0
	for _, f := range faults {
		if f.Line < line || f.Key == "" {
			t.Errorf("out of order or without a key: %v", f)
		}
		line = f.Line
	}
}

func TestFaultAsJSON(t *testing.T) {
	_, err := Load(configs + "places-zero.toml")
	got, merr := json.Marshal(err)
	want := `[{"file":"` + configs + `places-zero.toml","line":14,"column":1,"key":"measure.places","value":"0","text":"want 1 to 24"}]`
	if merr != nil || string(got) != want {
		t.Errorf("got  %s, %v\nwant %s", got, merr, want)
	}
}

func TestFaultsOfTheFileItselfComeFirst(t *testing.T) {
	fs := Faults{{File: "a.csv", Line: 1}, {File: "b.toml", Line: 9}, {File: "b.toml", Line: 2, Column: 7}, {File: "b.toml", Line: 2}, {File: "Z.csv"}}
	fs.sort("b.toml")
	want := Faults{{File: "b.toml", Line: 2}, {File: "b.toml", Line: 2, Column: 7}, {File: "b.toml", Line: 9}, {File: "Z.csv"}, {File: "a.csv", Line: 1}}
	if diff := cmp.Diff(fs, want); diff != "" {
		t.Errorf("got -, want +\n%s", diff)
	}
}

func TestFaultFoundElsewhereNamesItsLine(t *testing.T) {
	dir := write(t, map[string]string{"specs.csv": oneSpec,
		"bench.toml": strings.Replace(least, "port =", "format = \"seven\"\nport =", 1)})
	c, err := Load(filepath.Join(dir, "bench.toml"))
	if err != nil {
		t.Fatal(err)
	}
	got := c.Fault("caliper.format", "nobody knows it").Error()
	if want := c.File + ":6: [caliper] format: nobody knows it"; got != want {
		t.Errorf("got %q, want %q", got, want)
	}
	got = c.Fault("caliper.baud", "too fast").Error()
	if want := c.File + ": [caliper] baud: too fast"; got != want {
		t.Errorf("of a default: got %q, want %q", got, want)
	}
}
