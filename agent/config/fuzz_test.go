package config

import (
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"benchtally/agent/crimp"
)

// seed adds the content of all matching files.
func seed(f *testing.F, pattern string) {
	f.Helper()
	files, err := filepath.Glob(pattern)
	if err != nil || len(files) == 0 {
		f.Fatalf("%s: %v", pattern, err)
	}
	for _, file := range files {
		b, err := os.ReadFile(file)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(b)
	}
}

// FuzzLoad: whatever the file holds, there are faults that say where, or a
// configuration whose every field is within its range.
func FuzzLoad(f *testing.F) {
	seed(f, configs+"*.toml")
	seed(f, configs+"full/*.toml")
	f.Fuzz(func(t *testing.T, data []byte) {
		l := load("bench.toml", data, func(string) ([]byte, error) { return []byte(oneSpec), nil })
		if len(l.faults) > 0 {
			checkFaults(t, l.faults)
			return
		}
		checkConfig(t, l.c)
		l.c.Warnings()
	})
}

// FuzzSpecs: whatever the file holds, there are faults that say where, or
// specifications by which a crimp can be judged.
func FuzzSpecs(f *testing.F) {
	seed(f, specs+"*.csv")
	scale := crimp.Scale{Step: crimp.Thousandth, Lowest: 50, Highest: 950}
	f.Fuzz(func(t *testing.T, data []byte) {
		specs, faults := parseSpecs("specs.csv", data, scale, map[string]string{})
		if len(faults) > 0 {
			checkFaults(t, faults)
			return
		}
		if len(specs) == 0 {
			t.Fatal("neither specifications nor faults")
		}
		checkSpecs(t, specs, scale)
	})
}

// FuzzJobs: whatever the file holds, there are faults that say where, or job cards
// by which an order can be made.
func FuzzJobs(f *testing.F) {
	seed(f, jobs+"*.csv")
	known := []crimp.Spec{{ID: "hs-04"}, {ID: "hs-06"}, {ID: "hs-08"}}
	f.Fuzz(func(t *testing.T, data []byte) {
		cards, faults := parseJobs("jobs.csv", data, known, map[string]string{})
		if len(faults) > 0 {
			checkFaults(t, faults)
			return
		}
		checkJobs(t, cards, known)
	})
}

func checkFaults(t *testing.T, faults Faults) {
	t.Helper()
	for _, f := range faults {
		if f.File == "" || f.Text == "" || f.Line < 0 || f.Column < 0 {
			t.Errorf("%#v does not say what and where", f)
		}
		if s := f.Error(); !utf8.ValidString(s) || strings.Contains(s, "struct") || strings.Contains(s, "interface {}") {
			t.Errorf("not for people: %q", s)
		}
	}
}

func checkConfig(t *testing.T, c *Config) {
	t.Helper()
	mm := crimp.Millimetre
	in := func(name string, v, low, high int64) {
		if v < low || v > high {
			t.Errorf("%s = %d, want %d to %d", name, v, low, high)
		}
	}
	in("bytes of base", int64(len(c.Base())), 1, 128)
	in("levels of base", int64(strings.Count(c.Base(), "/"))+1, 1, 8)
	in("step", int64(c.Scale.Step), 1000, int64(mm))
	in("lowest", int64(c.Scale.Lowest), 0, int64(c.Scale.Highest)-1)
	in("highest", int64(c.Scale.Highest), 1, 999)
	in("line", int64(len(c.Switch.Line)), 1, 31)
	in("settle", int64(c.Switch.Settle), int64(time.Millisecond), int64(c.Switch.Shortest))
	in("cycle", int64(c.Switch.Cycle), int64(c.Switch.Shortest), int64(c.Switch.Stuck))
	in("stuck", int64(c.Switch.Stuck), int64(time.Second), int64(time.Hour))
	in("port", int64(len(c.Caliper.Port)), 1, 255)
	in("baud", int64(c.Caliper.Baud), 300, 921600)
	in("data_bits", int64(c.Caliper.DataBits), 7, 8)
	if s := c.Caliper.StopBits; s != "1" && s != "2" {
		t.Errorf("stop_bits = %q", s)
	}
	in("request", int64(len(c.Caliper.Request)), 0, 16)
	in("zero", int64(c.Caliper.Zero), 0, int64(mm/4))
	in("limit", int64(c.Caliper.Limit), 1000, int64(mm))
	in("places", int64(c.Measure.Places), 1, 24)
	in("every", int64(c.Measure.Every), 1, 1000)
	if d := c.Measure.Dies; d != 0 {
		in("dies", int64(d), 2, 32)
	}
	in("repeatability", int64(c.Measure.Repeatability), 0, int64(mm))
	in("repeatability_dof", int64(c.Measure.RepeatabilityDof), 0, 100_000)
	if c.Measure.RepeatabilityDof > 0 && c.Measure.Repeatability == 0 {
		t.Error("degrees of freedom of no repeatability")
	}
	if k := c.Measure.Temperature; !(k >= 0 && k <= 100) {
		t.Errorf("temperature = %v", k)
	}
	in("ovality", int64(c.Measure.Ovality), 0, int64(5*mm))
	in("u", int64(c.Measure.U), 0, int64(mm))
	in("prior_sd", int64(c.Correction.PriorSD), 0, int64(10*mm))
	in("noise_sd", int64(c.Correction.NoiseSD), 1, int64(mm))
	in("drift_sd", int64(c.Correction.DriftSD), 0, int64(mm))
	in("hold", int64(c.Correction.Hold), 0, int64(mm))
	if cost := c.Correction.Costs; !(cost.Scrap >= 0 && cost.Scrap <= 1_000_000 && cost.Stroke >= 0 && cost.Stroke <= 1_000_000) ||
		(cost.Scrap > 0) != (cost.Stroke > 0) || !slices.Contains(crimp.Shapes(), cost.Shape) {
		t.Errorf("costs %+v", cost)
	}
	in("lubricate", int64(c.Care.Lubricate), 1, 10_000)
	in("teardown", int64(c.Care.Teardown), 1, 100_000)
	in("months", int64(c.Care.Months), 1, 60)
	in("keep", int64(c.Store.Keep), 0, int64(36_500*24*time.Hour))
	in("window", int64(c.MQTT.Window), 1, 64)
	if p := c.Measure.Confidence; p != 0 && !(p >= 0.5 && p < 1) {
		t.Errorf("confidence = %v", p)
	}
	if r := c.MQTT.Rate; !(r >= 0 && r <= 10_000) {
		t.Errorf("rate = %v", r)
	}
	in("oil_days", int64(c.Care.OilDays), 0, 3650)
	in("check_every", int64(c.Caliper.CheckEvery), 0, int64(31*24*time.Hour))
	if c.Caliper.CheckEvery > 0 && (c.Caliper.CheckEvery < time.Hour || len(c.Standards) == 0) {
		t.Errorf("check_every = %s with %d standards", c.Caliper.CheckEvery, len(c.Standards))
	}
	for _, name := range slices.Concat(c.Order.EndPoints, c.Order.AssemblyPoints) {
		in("bytes of a point", int64(len(name)), 1, 32)
	}
	if s := c.Order.Lengths; s != crimp.EN && s != crimp.SAE {
		t.Errorf("lengths = %q", s)
	}
	in("scanner.baud", int64(c.Scanner.Baud), 300, 921600)
	in("scanner.data_bits", int64(c.Scanner.DataBits), 7, 8)
	if c.Scanner.Port != "" && c.Scanner.Port == c.Caliper.Port {
		t.Errorf("scanner and caliper share %q", c.Scanner.Port)
	}
	if !slices.Contains([]string{"en", "es", "de"}, c.Page.Language) {
		t.Errorf("language = %q", c.Page.Language)
	}
	in("idle", int64(c.Page.Idle), int64(time.Minute), int64(12*time.Hour))
	if (c.Page.Cert == "") != (c.Page.Key == "") || c.Page.SignIn && c.Page.Operators == "" || c.Page.ViewSignedIn && !c.Page.SignIn {
		t.Errorf("page %+v", c.Page)
	}
	if p := c.Page; p.Listen != "" && (listenAddress(p.Listen) != "" || !shownHere(p.Listen) && (!p.SignIn || p.Cert == "" && p.Proxy == "")) {
		t.Errorf("page %+v", p)
	}
	for _, s := range c.Standards {
		if s.Name == "" || s.Value < leastStandard || s.Allowed <= 0 {
			t.Errorf("standard %+v", s)
		}
	}
	if c.Caliper.Trigger == onRequest && c.Caliper.Request == "" {
		t.Error("a request without bytes")
	}
	for _, p := range []string{c.Store.Path, c.MQTT.PasswordFile, c.MQTT.CA, c.MQTT.CRL, c.MQTT.Cert, c.MQTT.Key, c.Page.Cert, c.Page.Key, c.Page.Operators} {
		if p != "" && !filepath.IsAbs(p) && credentialFile(p) != "" {
			t.Errorf("path %q is not absolute", p)
		}
	}
	checkSpecs(t, c.Specs, c.Scale)
}

func checkSpecs(t *testing.T, specs []crimp.Spec, scale crimp.Scale) {
	t.Helper()
	seen := map[string]bool{}
	for _, s := range specs {
		if seen[s.ID] || s.ID == "" || s.Cage == "" || strings.ContainsAny(s.ID+s.Cage, "/ \t\r\n") {
			t.Errorf("id %q, cage %q", s.ID, s.Cage)
		}
		seen[s.ID] = true
		if s.Diameter < leastDiameter || s.Diameter > mostDiameter || s.Plus < 0 || s.Minus < 0 ||
			s.Lower() >= s.Upper() || s.Lower() <= 0 {
			t.Errorf("%s: no room between the limits %v and %v", s.ID, s.Lower(), s.Upper())
		}
		if s.Setting < scale.Lowest || s.Setting > scale.Highest || s.Recrimps < 0 || s.Recrimps > 9 ||
			s.Places < 0 || s.Places > mostPlaces || s.Dies < 0 || s.Dies == 1 || s.Dies > mostDies || s.Skive < 0 || s.Insertion < 0 {
			t.Errorf("out of range: %+v", s)
		}
	}
}

func checkJobs(t *testing.T, cards []crimp.Job, known []crimp.Spec) {
	t.Helper()
	seen := map[string]bool{}
	for _, j := range cards {
		if seen[j.Order] || j.Order == "" || len(j.Order) > 48 || strings.ContainsAny(j.Order, "/ \t\r\n") {
			t.Errorf("order %q", j.Order)
		}
		seen[j.Order] = true
		for i, e := range j.Ends {
			if is := slices.ContainsFunc(known, func(s crimp.Spec) bool { return s.ID == e.Spec }); !is && (i == 0 || e.Spec != "") {
				t.Errorf("%s: end %d has the specification %q", j.Order, i, e.Spec)
			}
			if e.CutOff < 0 || e.CutOff > mostDepth {
				t.Errorf("%s: end %d is cut off by %s", j.Order, i, e.CutOff)
			}
		}
		if j.Quantity < 1 || j.Quantity > mostAssemblies || j.Working < 0 || j.Plus < 0 || j.Minus < 0 || j.Length < 0 || j.Length > mostLength ||
			j.Angle != nil && (*j.Angle < 0 || *j.Angle > 359) {
			t.Errorf("out of range: %+v", j)
		}
		if j.Length == 0 && (j.Plus > 0 || j.Minus > 0) {
			t.Errorf("%s: a tolerance to no length", j.Order)
		}
		if j.Length > 0 && j.Ends[0].CutOff+j.Ends[1].CutOff >= j.Length {
			t.Errorf("%s: no hose is left of %s", j.Order, j.Length)
		}
	}
}
