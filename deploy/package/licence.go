package main

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"

	"github.com/google/licensecheck"
)

// accepted are the licences that a module may have, by their SPDX names, and what
// they ask of who hands the program on. What is not in it wants a person who reads it.
var accepted = map[string]string{
	"Apache-2.0":   "text and notices go along",
	"BSD-2-Clause": "text goes along",
	"BSD-3-Clause": "text goes along",
	"EPL-2.0":      "text goes along, and where the source is",
	"ISC":          "text goes along",
	"MIT":          "text goes along",
}

// enough is how much of a licence's file must be the licence, in percent, so that
// no condition hides behind it. The Go project's pages of packages take 75; those
// in the program have 95 and more, the rest being names and years.
const enough = 90

// licences are those of one module.
type licences struct {
	names []string // SPDX, each once, in order
	texts []paper
}

// paper is one file of a licence, a notice or a grant.
type paper struct {
	name string // from the module's folder
	text string
}

// licenceName matches a file that is a licence, notice whatever stands beside one.
var (
	licenceName = regexp.MustCompile(`(?i)^(licen[cs]e|copying|unlicense|e[dp]l-v[0-9]+)([-._].*)?$`)
	noticeName  = regexp.MustCompile(`(?i)^(notice|patents|copyright|authors)([-._].*)?$`)
	thirdParty  = regexp.MustCompile(`(?i)third.?party.?licen[cs]es?$`)
	sourceName  = regexp.MustCompile(`\.(go|s|c|h)$`)
)

// licencesOf reads a module's licences: those in its folder, which must be known
// and accepted; those in the folders of its packages, and of what it took from
// others, whose texts go along.
func licencesOf(m module) (licences, error) {
	var l licences
	top, err := papersIn(m.dir, "")
	if err != nil {
		return licences{}, fmt.Errorf("%s: read its licence: %w", m.path, err)
	}
	var faults []error
	for _, p := range top {
		l.texts = append(l.texts, p)
		if !licenceName.MatchString(p.name) {
			continue
		}
		names, err := recognise(p)
		if err != nil {
			faults = append(faults, fmt.Errorf("%s %s: %w", m.path, m.version, err))
		}
		l.names = append(l.names, names...)
	}
	if len(l.names) == 0 && len(faults) == 0 {
		faults = append(faults, fmt.Errorf("%s %s: no licence is in %s: nobody may hand it on", m.path, m.version, m.dir))
	}
	for _, folder := range m.within() {
		beside, err := papersIn(m.dir, folder)
		if err != nil {
			return licences{}, fmt.Errorf("%s: read its licences: %w", m.path, err)
		}
		l.texts = append(l.texts, beside...)
	}
	slices.Sort(l.names)
	l.names = slices.Compact(l.names)
	return l, errors.Join(faults...)
}

// within are the folders below a module's own that may have licences: of its
// packages in the program, of those around them, and of third parties.
func (m module) within() []string {
	found := map[string]bool{}
	for _, folder := range m.folders {
		for rel, err := filepath.Rel(m.dir, folder); err == nil && rel != "." && !strings.HasPrefix(rel, ".."); rel = filepath.Dir(rel) {
			found[rel] = true
		}
	}
	entries, _ := os.ReadDir(m.dir) // it was read before
	for _, e := range entries {
		if e.IsDir() && thirdParty.MatchString(e.Name()) {
			found[e.Name()] = true
		}
	}
	names := make([]string, 0, len(found))
	for name := range found {
		names = append(names, name)
	}
	slices.Sort(names)
	return names
}

// papersIn are the licences and notices in one folder of a module.
func papersIn(dir, folder string) (papers []paper, err error) {
	entries, err := os.ReadDir(filepath.Join(dir, folder))
	if err != nil {
		return nil, err
	}
	for _, e := range entries {
		name := e.Name()
		wanted := licenceName.MatchString(name) || noticeName.MatchString(name) || thirdParty.MatchString(folder)
		if e.IsDir() || sourceName.MatchString(name) || !wanted {
			continue
		}
		text, err := os.ReadFile(filepath.Join(dir, folder, name)) //nolint:gosec // a module's own file
		if err != nil {
			return nil, err
		}
		papers = append(papers, paper{filepath.ToSlash(filepath.Join(folder, name)), string(text)})
	}
	return papers, nil
}

// recognise names the licences in a text, each of which must be accepted.
func recognise(p paper) (names []string, err error) {
	found := licensecheck.Scan([]byte(p.text))
	for _, m := range found.Match {
		if _, ok := accepted[m.ID]; !ok {
			return nil, fmt.Errorf("%s has the licence %s, which nobody has accepted: read it, then add it to the table with what it asks for, or do without the module", p.name, m.ID)
		}
		names = append(names, m.ID)
	}
	if found.Percent < enough {
		return nil, fmt.Errorf("%s is no licence that is known, or has more in it (%.0f %% of it are known): read it", p.name, found.Percent)
	}
	return names, nil
}
