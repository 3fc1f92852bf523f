package main

import (
	"context"
	"fmt"
	"os"
	"regexp"
	"strconv"
	"strings"
	"time"
)

// revision is Debian's: it counts packages of the same version. It stays 1 as long
// as a new package is a new version.
const revision = "1"

// validVersion is one of three numbers, with what comes before a release (-rc1) or
// after one (+3.g0a1b2c3) behind them.
var validVersion = regexp.MustCompile(`^[0-9]+\.[0-9]+\.[0-9]+(-[0-9A-Za-z.]+)?(\+[0-9A-Za-z.]+)?$`)

func checkVersion(v string) error {
	if !validVersion.MatchString(v) {
		return fmt.Errorf("version %q: want three numbers such as 0.3.0, with -rc1 behind them for a candidate", v)
	}
	return nil
}

// debian is the version as dpkg sorts it: a candidate goes before its release.
func (r release) debian() string {
	return strings.ReplaceAll(r.version, "-", "~") + "-" + revision
}

// described is what git says of a commit: the tag, the commits since then and the
// commit, and whether something is not committed.
var described = regexp.MustCompile(`^v(.+?)-([0-9]+)-(g[0-9a-f]+)(-dirty)?$`)

// taggedVersion is the version of the latest tag, with the commit behind it
// where it is not the tagged one.
func taggedVersion(ctx context.Context, root string) (string, error) {
	out, err := output(ctx, root, nil, "git", "describe", "--tags", "--long", "--dirty", "--match", "v[0-9]*")
	if err != nil {
		return "", fmt.Errorf("no version is given, and git knows no tag such as v0.3.0: give --version (%w)", err)
	}
	return fromDescribed(strings.TrimSpace(out))
}

func fromDescribed(text string) (string, error) {
	m := described.FindStringSubmatch(text)
	if m == nil {
		return "", fmt.Errorf("git describes the commit as %q: want a tag such as v0.3.0, or give --version", text)
	}
	version, since, commit, dirty := m[1], m[2], m[3], m[4] != ""
	var behind []string
	if since != "0" || dirty {
		behind = append(behind, since, commit)
	}
	if dirty {
		behind = append(behind, "dirty")
	}
	if behind != nil {
		version += "+" + strings.Join(behind, ".")
	}
	return version, nil
}

// releaseDate is SOURCE_DATE_EPOCH where it is set, otherwise the date of the
// commit.
func releaseDate(ctx context.Context, root string) (time.Time, error) {
	text := os.Getenv("SOURCE_DATE_EPOCH")
	if text == "" {
		out, err := output(ctx, root, nil, "git", "log", "-1", "--format=%ct")
		if err != nil {
			return time.Time{}, fmt.Errorf("the date of the packages: set SOURCE_DATE_EPOCH, or build in a clone (%w)", err)
		}
		text = strings.TrimSpace(out)
	}
	seconds, err := strconv.ParseInt(text, 10, 64)
	if err != nil || seconds < 0 {
		return time.Time{}, fmt.Errorf("SOURCE_DATE_EPOCH = %q: want seconds since 1970", text)
	}
	return time.Unix(seconds, 0).UTC(), nil
}
