package config

import (
	"fmt"
	"slices"
	"strings"

	"benchtally/agent/crimp"
)

// Sizes beyond which a file is not what it is taken for.
const (
	maxConfig = 1 << 20
	maxSpecs  = 4 << 20
)

// Load reads and checks a configuration and the files that it names. The error is
// of type Faults and carries every fault of all these files. Relative paths in the
// file start from the folder it lies in.
//
// Faults of the job cards alone are no error: the office writes them while the press
// works, and a station that begins anew must not stand still for them. They are in
// the Config.
//
// What only other packages can check, such as the name of a caliper format,
// they check in more; a fault keeps its default in the Config that they are given.
func Load(file string, more ...func(*Config) Faults) (*Config, error) {
	data, err := readFile(file, maxConfig, false)
	if err != nil {
		return nil, Faults{{File: file, Text: err.Error()}}
	}
	l := load(file, data, func(path string) ([]byte, error) { return readFile(path, maxSpecs, true) })
	l.credentials()
	for _, check := range more {
		for _, f := range check(l.c) {
			if !l.echo(f.Key) {
				l.faults = append(l.faults, f)
			}
		}
	}
	l.c.JobFaults.sort(file)
	if len(l.faults) > 0 {
		l.faults = append(l.faults, l.c.JobFaults...)
		l.faults.sort(file)
		return nil, l.faults
	}
	return l.c, nil
}

// echo says whether a fault found by another package at a key is one that is told
// already. The packages that reach the broker see the settings of [mqtt] as a
// whole, the node those of [sparkplug] besides: what is wrong with one key they say
// once more, at another key and in other words.
func (l *loader) echo(key string) bool {
	told := func(table string) bool {
		return slices.ContainsFunc(l.faults, func(f Fault) bool { return strings.HasPrefix(f.Key, table+".") })
	}
	switch table, _, _ := strings.Cut(key, "."); table {
	case "mqtt":
		return told("mqtt")
	case "sparkplug":
		return told("mqtt") || told("sparkplug")
	}
	return false
}

// loader fills a Config from a document.
type loader struct {
	c      *Config
	faults Faults
	good   map[string]bool // keys without a fault, written or by default
	header map[string]position
	end    position          // where a missing table could be written
	specs  []entry           // the files named by [[specs]]
	jobs   []entry           // the files named by [[jobs]]
	blocks map[int]*standard // of [[standards]], by their row
}

// load checks the file's text; read brings the text of a specs file.
func load(file string, data []byte, read func(path string) ([]byte, error)) *loader {
	l := &loader{c: defaults(file), good: map[string]bool{}, header: map[string]position{}, blocks: map[int]*standard{}}
	l.c.at = map[string]position{}
	for _, k := range keys {
		l.good[k.table+"."+k.name] = true
	}
	if f, ok := notText(file, data); ok {
		l.faults = append(l.faults, f)
		return l
	}
	d := parse(file, data)
	l.faults = d.faults
	l.end = position{line: max(1, len(d.lines)-1)}
	l.take(d)
	if !d.lost {
		l.missing(d)
	}
	l.standards()
	l.relations()
	l.paths()
	before := len(l.faults)
	l.readSpecs(read)
	specs := l.c.Specs
	if len(l.faults) > before {
		specs = nil // those of the file with a fault are not among them
	}
	l.readJobs(read, specs)
	return l
}

// fault notes a fault at a key.
func (l *loader) fault(key, value, text string) {
	p := l.c.at[key]
	l.faultAt(p, key, value, text)
}

func (l *loader) faultAt(p position, key, value, text string) {
	l.faults = append(l.faults, Fault{
		File: l.c.File, Line: p.line, Column: p.column, Key: key, Value: value, Text: text,
	})
	l.good[key] = false
}

// take brings every entry of the document to its key.
func (l *loader) take(d *document) {
	known := map[string]bool{"": true}
	for _, t := range tables() {
		known[t] = true
	}
	foreign := map[string]bool{} // headers that carry a fault: their keys get none of their own
	for _, h := range d.headers {
		name := h.name()
		if _, ok := l.header[name]; !ok {
			l.header[name] = h.position
		}
		var text string
		switch {
		case len(h.path) > 1 || !known[name]:
			text = "unknown table [" + name + "], " + suggest(name, tables())
			foreign[name] = true
		case repeats(name) && !h.array:
			text = "write [[" + name + "]], in double brackets: it may stand several times"
		case !repeats(name) && h.array:
			text = fmt.Sprintf("write %s, in single brackets: it stands once", tableText(name))
		default:
			continue
		}
		l.faultAt(h.position, "", "", text)
	}
	for _, e := range d.entries {
		if !foreign[e.header] {
			l.entry(e, known)
		}
	}
}

// entry brings one entry to its key.
func (l *loader) entry(e entry, known map[string]bool) {
	key := e.key()
	if _, ok := l.c.at[key]; !ok {
		l.c.at[key] = e.position
	}
	if e.value == nil {
		l.good[key] = false
		return
	}
	switch k, ok := lookup(e.table, e.name); {
	case e.table == "" && known[e.name] && e.name != "":
		l.faultAt(e.position, key, e.written, fmt.Sprintf("this is a table: write %s on a line of its own and its keys below", tableText(e.name)))
		for _, k := range keys {
			if k.table == e.name { // none of them is missing, they have no place yet
				l.c.at[k.table+"."+k.name] = e.position
			}
		}
	case e.table == "":
		l.faultAt(e.position, key, "", unknown("", e.name))
	case !known[e.table]:
		l.faultAt(e.position, key, "", "unknown table, "+suggest(e.table, tables()))
	case !ok:
		l.faultAt(e.position, key, "", unknown(e.table, e.name))
	case k.set == nil:
		l.row(e)
	default:
		if text := k.set(l.c, e.value); text != "" {
			value := e.written
			if strings.Contains(value, "@") && key == "mqtt.broker" {
				value = "" // it may hold a password
			}
			l.faultAt(e.position, key, value, text)
		}
	}
}

// missing notes the keys that must be there and are not.
func (l *loader) missing(d *document) {
	for _, k := range keys {
		key := k.table + "." + k.name
		if _, ok := l.c.at[key]; ok || k.must == "" {
			continue
		}
		p, ok := l.header[k.table]
		text := "is missing: write " + k.must
		if !ok {
			p = l.end
			text += " under " + tableText(k.table)
		}
		l.faultAt(p, key, "", text)
	}
	l.missingInRows(d)
}

// readSpecs reads the specs files named, each with all its faults.
func (l *loader) readSpecs(read func(string) ([]byte, error)) {
	scale := l.c.Scale
	if !l.good["setting.lowest"] || !l.good["setting.highest"] {
		scale = crimp.Scale{Lowest: 0, Highest: 999}
	}
	seen := map[string]string{}
	for _, e := range l.specs {
		name := l.beside(e.value.(string))
		data, err := read(name)
		if err != nil {
			l.faultAt(e.position, e.key(), e.written, err.Error())
			continue
		}
		specs, faults := parseSpecs(name, data, scale, seen)
		l.faults = append(l.faults, faults...)
		if len(faults) == 0 {
			l.c.Specs = append(l.c.Specs, specs...)
		}
	}
}
