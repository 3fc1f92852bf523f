package main

import (
	"bytes"
	"fmt"
	"io"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/prometheus/client_golang/prometheus/testutil/promlint"
	dto "github.com/prometheus/client_model/go"
	"github.com/prometheus/common/expfmt"
	"github.com/prometheus/common/model"

	"benchtally/agent/record"
)

// scrape asks for metrics as Prometheus does, and has them read by its own parser
// and linter.
func scrape(t *testing.T, address string) (map[string]*dto.MetricFamily, []byte) {
	t.Helper()
	answer, err := http.Get("http://" + address + "/metrics")
	if err != nil {
		t.Fatal(err)
	}
	page, err := io.ReadAll(answer.Body)
	_ = answer.Body.Close()
	if err != nil || answer.StatusCode != http.StatusOK || answer.Header.Get("Content-Type") != "text/plain; version=0.0.4; charset=utf-8" {
		t.Fatalf("%v, %s, %v", err, answer.Status, answer.Header)
	}
	parser := expfmt.NewTextParser(model.LegacyValidation)
	families, err := parser.TextToMetricFamilies(bytes.NewReader(page))
	if err != nil {
		t.Fatalf("%v\n%s", err, page)
	}
	if problems, err := promlint.New(bytes.NewReader(page)).Lint(); err != nil || len(problems) > 0 {
		t.Errorf("%v, %v", problems, err)
	}
	return families, page
}

// figure is one figure, by its labels as name=value.
func figure(t *testing.T, families map[string]*dto.MetricFamily, name string, labels ...string) float64 {
	t.Helper()
	for _, m := range families[name].GetMetric() {
		var has []string
		for _, l := range m.Label {
			has = append(has, l.GetName()+"="+l.GetValue())
		}
		if !slices.Equal(has, labels) {
			continue
		}
		switch {
		case m.Counter != nil:
			return m.Counter.GetValue()
		case m.Gauge != nil:
			return m.Gauge.GetValue()
		case m.Histogram != nil:
			return float64(m.Histogram.GetSampleCount())
		}
	}
	t.Errorf("there is no %s%v", name, labels)
	return -1
}

// TestFigures: a running agent counts what happens, gives it away at the address
// that the configuration names and at no other, and names no order, piece, cage or
// person.
func TestFigures(t *testing.T) {
	at, page := freeAddress(t), freeAddress(t)
	_, config := shop(t, fmt.Sprintf("[measure]\nplaces = 1\n[metrics]\nlisten = %q\n[page]\nlisten = %q\n", at, page))
	a := startAgent(t, config)
	a.say(`{"do":"start","order":"A-1001","spec":"hs-08","quantity":6,"setting":120,"operator":"kj"}`)
	a.next(record.Start)
	for range 2 {
		a.say(`{"level":0}`)
		time.Sleep(1100 * time.Millisecond) // a stroke takes its time, and the next one comes a second later
		a.say(`{"level":1}`)
		a.next(record.Stroke)
	}
	a.say(`{"text":"+1.2000\r\n"}`)
	a.next(record.Verdict)
	a.say(`{"text":"garbage\r\n"}`)
	a.next(record.Refused)
	f, text := scrape(t, at)
	for _, c := range []struct {
		name   string
		labels []string
		want   float64
	}{
		{"benchtally_strokes_total", nil, 2},
		{"benchtally_crimps_total", []string{"crimp=first"}, 2},
		{"benchtally_crimps_total", []string{"crimp=again"}, 0},
		{"benchtally_readings_total", nil, 1},
		{"benchtally_verdicts_total", []string{"outcome=pass"}, 1},
		{"benchtally_verdicts_total", []string{"outcome=unsure"}, 1}, // the first piece was not measured
		{"benchtally_verdicts_total", []string{"outcome=scrap"}, 0},
		{"benchtally_refused_total", []string{"source=caliper"}, 1},
		{"benchtally_faults_total", []string{"source=switch"}, 0},
		{"benchtally_store_commit_failures_total", nil, 0},
		{"benchtally_link_up", []string{"link=store"}, 1},
		{"benchtally_care_strokes", []string{"work=lubricate"}, 2},
		{"benchtally_care_limit_strokes", []string{"work=teardown"}, 1000},
		{"benchtally_parts_hanging", nil, 0},
	} {
		if got := figure(t, f, c.name, c.labels...); got != c.want {
			t.Errorf("%s%v is %v, want %v", c.name, c.labels, got, c.want)
		}
	}
	commits := figure(t, f, "benchtally_store_commits_total")
	if n := figure(t, f, "benchtally_store_commit_duration_seconds"); n != commits || n < 4 {
		t.Errorf("%v commits, %v timed", commits, n)
	}
	for name, least := range map[string]float64{
		"process_resident_memory_bytes": 1 << 20, "process_open_fds": 5, "process_max_fds": 10, "go_goroutines": 5,
		"benchtally_store_size_bytes": 4096, "benchtally_store_filesystem_free_bytes": 1, "benchtally_record_sequence": 6,
		"process_start_time_seconds": float64(time.Now().Add(-time.Hour).Unix()),
	} {
		if got := figure(t, f, name); got < least {
			t.Errorf("%s is %v, want at least %v", name, got, least)
		}
	}
	for _, private := range []string{"A-1001", "kj", "C-21", "hs-08"} {
		if bytes.Contains(text, []byte(private)) {
			t.Errorf("%s stands in the metrics", private)
		}
	}
	if n := bytes.Count(text, []byte("\n")); n > 300 {
		t.Errorf("%d lines", n)
	}
	for _, elsewhere := range []string{"http://" + page + "/metrics", "http://" + at + "/", "http://" + at + "/status"} {
		answer, err := http.Get(elsewhere)
		if err != nil {
			t.Fatal(err)
		}
		_ = answer.Body.Close()
		if answer.StatusCode != http.StatusNotFound {
			t.Errorf("%s: %s", elsewhere, answer.Status)
		}
	}
	if path, err := exec.LookPath("promtool"); err == nil {
		check := exec.Command(path, "check", "metrics")
		check.Stdin = bytes.NewReader(text)
		if out, err := check.CombinedOutput(); err != nil || len(out) > 0 {
			t.Errorf("promtool: %v\n%s", err, out)
		}
	}
	a.end()
}

// TestMachine reads a board's files as they were written down from memory, and
// those of a computer that tells nothing.
func TestMachine(t *testing.T) {
	root := t.TempDir()
	put := func(name, text string) {
		name = filepath.Join(root, name)
		if err := os.MkdirAll(filepath.Dir(name), 0o755); err != nil {
			t.Fatal(err)
		}
		write(t, name, text)
	}
	if s := (machine{root}).state(); s != (machineState{}) {
		t.Errorf("of nothing: %+v", s)
	}
	put("sys/firmware/devicetree/base/model", "A board, model 4\x00")
	put("sys/class/thermal/thermal_zone0/temp", "48312\n")
	put("proc/uptime", "1036800.25 4000000.00\n")
	put("proc/loadavg", "0.25 0.10 0.05 1/100 1234\n")
	put("proc/meminfo", "MemTotal:  1000 kB\nMemAvailable:     512 kB\n")
	put("sys/class/hwmon/hwmon0/name", "cpu_thermal\n")
	put("sys/class/hwmon/hwmon0/in0_lcrit_alarm", "0\n")
	put("sys/class/hwmon/hwmon1/name", "rpi_volt\n")
	put("sys/class/hwmon/hwmon1/in0_lcrit_alarm", "1\n")
	s := machine{root}.state()
	if s.Model != "A board, model 4" || *s.Temperature != 48.312 || *s.Up != 1036800.25 || *s.Load != 0.25 || *s.Available != 512<<10 || !*s.LowVoltage || s.Throttled != nil {
		t.Errorf("%+v", s)
	}
	put("sys/devices/platform/soc/soc:firmware/get_throttled", "50004\n")
	s = machine{root}.state()
	if *s.LowVoltage || !*s.Throttled || !*s.WasLow {
		t.Errorf("%v %v %v", *s.LowVoltage, *s.Throttled, *s.WasLow)
	}
	for _, name := range []string{"sys/class/thermal/thermal_zone0/temp", "proc/uptime", "proc/loadavg", "proc/meminfo", "sys/devices/platform/soc/soc:firmware/get_throttled"} {
		put(name, strings.Repeat("nonsense ", 9)+"\nMemAvailable: x kB\n")
	}
	if s := (machine{root}).state(); s.Temperature != nil || s.Up != nil || s.Load != nil || s.Available != nil || s.Throttled != nil {
		t.Errorf("of nonsense: %+v", s)
	}
}
