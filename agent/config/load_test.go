package config

import (
	"errors"
	"flag"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"benchtally/agent/crimp"
)

var update = flag.Bool("update", false, "rewrite the .want files")

const (
	configs = "../../testdata/config/"
	specs   = "../../testdata/specs/"
	jobs    = "../../testdata/jobs/"
)

// Every file is one fault, named after it; its .want is what the person reads.
// Files named good-… have none.
func TestFaultsOfConfigFiles(t *testing.T) {
	eachFile(t, configs+"*.toml", func(file string) string {
		c, err := Load(file)
		if err == nil && len(c.JobFaults) > 0 {
			if err = c.JobFaults; len(c.Jobs) > 0 {
				t.Errorf("%d job cards of files with faults", len(c.Jobs))
			}
		}
		if err == nil {
			return ""
		}
		var faults Faults
		if !errors.As(err, &faults) {
			t.Fatalf("Load: error %T, want Faults", err)
		}
		return err.Error() + "\n"
	})
}

func TestFaultsOfSpecsFiles(t *testing.T) {
	scale := crimp.Scale{Step: crimp.Thousandth, Lowest: 0, Highest: 999}
	eachFile(t, specs+"*.csv", func(file string) string {
		data, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		_, faults := parseSpecs(file, data, scale, map[string]string{})
		if len(faults) == 0 {
			return ""
		}
		return faults.Error() + "\n"
	})
}

func TestFaultsOfJobFiles(t *testing.T) {
	known := []crimp.Spec{{ID: "hs-04"}, {ID: "hs-06"}, {ID: "hs-08"}}
	eachFile(t, jobs+"*.csv", func(file string) string {
		_, err := ReadJobs([]string{file}, known)
		var faults Faults
		switch {
		case err == nil:
			return ""
		case !errors.As(err, &faults):
			t.Fatalf("ReadJobs: error %T, want Faults", err)
		}
		return err.Error() + "\n"
	})
}

// eachFile compares what said tells of each file with the .want beside it.
func eachFile(t *testing.T, pattern string, said func(file string) string) {
	t.Helper()
	files, err := filepath.Glob(pattern)
	if err != nil || len(files) < 10 {
		t.Fatalf("%s: %d files, %v", pattern, len(files), err)
	}
	here, err := filepath.Abs("../../testdata")
	if err != nil {
		t.Fatal(err)
	}
	for _, file := range files {
		name := strings.TrimSuffix(filepath.Base(file), filepath.Ext(file))
		t.Run(name, func(t *testing.T) {
			got := said(file)
			got = strings.ReplaceAll(got, filepath.Dir(file)+"/", "")
			got = strings.ReplaceAll(got, "../../testdata/", "../")
			got = strings.ReplaceAll(got, here, "/home/shop")
			good := strings.HasPrefix(name, "good") || name == "same-id-as-good"
			if good != (got == "") {
				t.Errorf("good %v, but it says %q", good, got)
			}
			path := strings.TrimSuffix(file, filepath.Ext(file)) + ".want"
			if *update && got != "" {
				if err := os.WriteFile(path, []byte(got), 0o644); err != nil {
					t.Fatal(err)
				}
			}
			want, err := os.ReadFile(path)
			if err != nil && !(errors.Is(err, os.ErrNotExist) && got == "") {
				t.Fatal(err)
			}
			if got != string(want) {
				t.Errorf("got\n%swant\n%s", got, want)
			}
		})
	}
}
