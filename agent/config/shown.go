package config

import (
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
)

// hidden are the keys whose value is never shown to others, as whoever fills them in
// wrongly may write the secret itself: of files with secrets only those that are
// there are named, and of a name only that it is given.
var hidden = []string{
	"mqtt.password_file", "mqtt.ca", "mqtt.crl", "mqtt.cert", "mqtt.key", "mqtt.user",
	"page.cert", "page.key", "page.operators",
}

// plainBroker is a broker's address without anything that may be secret.
var plainBroker = regexp.MustCompile(`^(tcp|ssl)://[A-Za-z0-9.\-\[\]:]+$`)

// Shown is a configuration for others to read: its keys and values as they are
// written, without comments, which may hold anything, and without what may be
// secret. It reads a file with faults as far as it can be read, and the files that
// it names not at all.
func Shown(file string) (string, error) {
	data, err := readFile(file, maxConfig, false)
	if err != nil {
		return "", err
	}
	if f, ok := notText(file, data); ok {
		return "", fmt.Errorf("%s: %s", file, f.Text)
	}
	d := parse(file, data)
	var b strings.Builder
	table, row := "", -1
	for _, e := range d.entries {
		if e.table != table || e.row != row {
			table, row = e.table, e.row
			head := "# a table that is not known"
			if slices.Contains(tables(), table) {
				head = tableText(table)
			}
			fmt.Fprintf(&b, "\n%s\n", head)
		}
		name := "# a key that is not known"
		if _, ok := lookup(e.table, e.name); ok {
			name = e.name
		}
		fmt.Fprintf(&b, "%s = %s\n", name, e.shown(filepath.Dir(file)))
	}
	for _, f := range d.faults {
		fmt.Fprintf(&b, "# line %d cannot be read and is not shown\n", f.Line)
	}
	return strings.TrimPrefix(b.String(), "\n"), nil
}

// shown is the value of an entry for others to read.
func (e entry) shown(folder string) string {
	key := e.key()
	_, known := lookup(e.table, e.name)
	text, isText := e.value.(string)
	switch {
	case !known:
		return "(not shown)"
	case slices.Contains(hidden, key) && !isText:
		return "(not shown)"
	case slices.Contains(hidden, key) && text == "":
		return `""`
	case key == "mqtt.user":
		return "(not shown)"
	case slices.Contains(hidden, key):
		return shownFile(folder, text)
	case key == "mqtt.broker" || key == "sparkplug.broker":
		for address := range strings.FieldsSeq(text) {
			if !plainBroker.MatchString(address) {
				return "(not shown: it is no plain address)"
			}
		}
		return strconv.Quote(text)
	}
	switch v := e.value.(type) {
	case nil, other:
		return "(cannot be read)"
	case string:
		return strconv.Quote(v)
	case []string:
		quoted := make([]string, len(v))
		for i, s := range v {
			quoted[i] = strconv.Quote(s)
		}
		return "[" + strings.Join(quoted, ", ") + "]"
	default:
		return fmt.Sprint(v)
	}
}

// shownFile names a file, if it is one.
func shownFile(folder, name string) string {
	if strings.HasPrefix(name, "$"+credentialsVariable+"/") {
		return strconv.Quote(name)
	}
	path := name
	if !filepath.IsAbs(path) {
		path = filepath.Join(folder, path)
	}
	info, err := os.Stat(path)
	if err != nil || !info.Mode().IsRegular() {
		return "(not shown: there is no such file here, or it cannot be looked at)"
	}
	return fmt.Sprintf("%q # %s, %d bytes", name, info.Mode(), info.Size())
}

// ShownFault is a fault for others to read: where it is and what it is, but not
// what is written there where that may be secret.
func ShownFault(f Fault) Fault {
	table, name, _ := strings.Cut(f.Key, ".")
	_, known := lookup(table, name)
	f.Value = ""
	if filepath.Ext(f.File) == ".csv" {
		return f
	}
	if !known {
		f.Key = "" // it may be anything, too
	}
	if !known || slices.Contains(hidden, f.Key) || strings.Contains(f.Text, "@") || strings.HasSuffix(f.Key, ".broker") {
		f.Text = "has a fault, which is not shown here: \"benchtally check\" tells it"
	}
	return f
}
