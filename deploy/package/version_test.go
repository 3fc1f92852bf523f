package main

import (
	"os/exec"
	"strings"
	"testing"
	"time"
)

func TestVersionFromGit(t *testing.T) {
	for described, want := range map[string]string{
		"v0.3.0-0-g0a1b2c3":        "0.3.0",
		"v0.3.0-5-g0a1b2c3":        "0.3.0+5.g0a1b2c3",
		"v0.3.0-0-g0a1b2c3-dirty":  "0.3.0+0.g0a1b2c3.dirty",
		"v0.3.0-rc1-0-g0a1b2c3":    "0.3.0-rc1",
		"v0.3.0-rc.1-12-g0a1b2c3d": "0.3.0-rc.1+12.g0a1b2c3d",
	} {
		got, err := fromDescribed(described)
		if err != nil || got != want {
			t.Errorf("%s: got %s, %v, want %s", described, got, err, want)
		}
		if err := checkVersion(got); err != nil {
			t.Error(err)
		}
	}
	if got, err := fromDescribed("0a1b2c3"); err == nil || !strings.Contains(err.Error(), "or give --version") {
		t.Errorf("without a tag: %q, %v", got, err)
	}
	for _, bad := range []string{"", "0.3", "v0.3.0", "0.3.0-", "0.3.0 1", "0.3.0_1", "0.3.0-rc1-2", "../0.3.0"} {
		if checkVersion(bad) == nil {
			t.Errorf("%q is taken", bad)
		}
	}
}

// dpkg must take each for newer than the one before.
func TestVersionsRiseForDpkg(t *testing.T) {
	wants(t, "dpkg")
	rising := []string{"0.2.9", "0.3.0-rc1", "0.3.0-rc1+4.g0a1b2c3", "0.3.0-rc2", "0.3.0", "0.3.0+2.gffffff0", "0.3.0+10.g0000001", "0.3.1", "0.10.0"}
	for i := 1; i < len(rising); i++ {
		a, b := release{version: rising[i-1]}.debian(), release{version: rising[i]}.debian()
		if err := exec.Command("dpkg", "--compare-versions", a, "lt", b).Run(); err != nil { //nolint:gosec // the test's own words
			t.Errorf("%s is not older than %s: %v", a, b, err)
		}
	}
}

func TestDateIsTheEnvironmentsOrTheCommits(t *testing.T) {
	t.Setenv("SOURCE_DATE_EPOCH", date)
	got, err := releaseDate(t.Context(), root(t))
	if want := time.Date(2026, 3, 2, 6, 0, 0, 0, time.UTC); err != nil || got != want {
		t.Errorf("got %s, %v, want %s", got, err, want)
	}
	t.Setenv("SOURCE_DATE_EPOCH", "yesterday")
	if got, err := releaseDate(t.Context(), root(t)); err == nil {
		t.Errorf("yesterday is taken for %s", got)
	}
}
