package config

import (
	"fmt"
	"maps"
	"path/filepath"
	"slices"

	"benchtally/agent/crimp"
)

// row takes in an entry of a table that may stand several times.
func (l *loader) row(e entry) {
	switch e.table {
	case specsTable:
		l.named(&l.specs, e)
	case jobsTable:
		l.named(&l.jobs, e)
	case standardsTable:
		l.standard(e)
	}
}

// named takes in the name of one file.
func (l *loader) named(files *[]entry, e entry) {
	s, ok := e.value.(string)
	text := filePath(s)
	if !ok {
		text = "want the name of a CSV file in quotes" + found(e.value)
	}
	for _, other := range slices.Concat(l.specs, l.jobs) {
		if text == "" && filepath.Clean(other.value.(string)) == filepath.Clean(s) {
			text = fmt.Sprintf("this file is named already, line %d", other.line)
		}
	}
	if text != "" {
		l.faultAt(e.position, e.key(), e.written, text)
		return
	}
	*files = append(*files, e)
}

// beside is a path as it is meant: from the folder of the configuration.
func (l *loader) beside(name string) string {
	if filepath.IsAbs(name) {
		return name
	}
	return filepath.Join(filepath.Dir(l.c.File), name)
}

// standard is a gauge block or ring as the file has it.
type standard struct {
	crimp.Standard
	at   position
	bad  bool
	told map[string]bool
}

// Bounds of gauge blocks and rings, and of what a caliper may be off on them.
const (
	leastStandard = crimp.Millimetre
	mostStandard  = 300 * crimp.Millimetre
)

// standard takes in a key of a gauge block or ring.
func (l *loader) standard(e entry) {
	b := l.blocks[e.row]
	if b == nil {
		b = &standard{at: e.position, told: map[string]bool{}}
		l.blocks[e.row] = b
	}
	b.told[e.name] = true
	var wrong string
	switch e.name {
	case "name":
		b.Name, _ = e.value.(string)
		if !pointForm.MatchString(b.Name) {
			wrong = `want a name of small letters, digits and "-", such as "ring-25"`
		}
		for row, other := range l.blocks {
			if row != e.row && other.Name == b.Name {
				wrong = fmt.Sprintf("this name stands already, line %d", other.at.line)
			}
		}
	case "value":
		wrong = lengthOf(e.value, leastStandard, mostStandard, &b.Value)
	case "allowed":
		wrong = lengthOf(e.value, crimp.Micrometre, crimp.Millimetre, &b.Allowed)
	}
	if wrong != "" {
		b.bad = true
		l.faultAt(e.position, e.key(), e.written, wrong)
	}
}

// lengthOf reads a length from low to high.
func lengthOf(v any, low, high crimp.Length, to *crimp.Length) (wrong string) {
	return length(func(*Config) *crimp.Length { return to }, low, high)(nil, v)
}

// standards takes over the gauge blocks and rings. What a caliper may be off on
// one is its permissible error where nothing else is written.
func (l *loader) standards() {
	for _, row := range slices.Sorted(maps.Keys(l.blocks)) {
		b := l.blocks[row]
		for _, name := range []string{"name", "value"} {
			if !b.told[name] {
				b.bad = true
				l.faultAt(b.at, standardsTable+"."+name, "", `is missing: write name = "ring-25" and value = "25.000mm", as the ring's own certificate has it`)
			}
		}
		if b.bad {
			continue
		}
		if b.Allowed == 0 {
			b.Allowed = l.c.Caliper.Limit
		}
		l.c.Standards = append(l.c.Standards, b.Standard)
	}
}

// missingInRows notes tables without their file: of [[specs]] and [[jobs]] every
// single one needs it.
func (l *loader) missingInRows(d *document) {
	for _, table := range []string{specsTable, jobsTable} {
		named := map[int]bool{}
		for _, e := range d.entries {
			if e.table == table {
				named[e.row] = true
			}
		}
		row := 0
		for _, h := range d.headers {
			if h.name() != table || !h.array {
				continue
			}
			if !named[row] && (len(named) > 0 || table != specsTable) {
				l.faultAt(h.position, table+".file", "", fmt.Sprintf(`is missing: write file = "%s.csv"`, table))
			}
			row++
		}
	}
	row := 0
	for _, h := range d.headers {
		if h.name() == standardsTable && h.array {
			if l.blocks[row] == nil {
				l.faultAt(h.position, standardsTable+".name", "", `is missing: write name = "ring-25" and value = "25.000mm"`)
			}
			row++
		}
	}
}
