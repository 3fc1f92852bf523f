package config

import (
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"strings"
)

// handedOver begins the name of a file that the service manager hands to the
// service alone, in a folder that it makes for one run (systemd.exec(5),
// LoadCredential=).
const handedOver = "$" + credentialsVariable + "/"

const credentialsVariable = "CREDENTIALS_DIRECTORY"

// credentialFile takes the path of a file, or $CREDENTIALS_DIRECTORY/ and a name.
func credentialFile(s string) string {
	if !strings.Contains(s, credentialsVariable) {
		return filePath(s)
	}
	name, ok := strings.CutPrefix(s, handedOver)
	if !ok || name == "" || name == "." || name == ".." || strings.Contains(name, "/") || filePath(name) != "" {
		return fmt.Sprintf("want %sNAME, with the NAME that LoadCredential= gives the file in the service's unit", handedOver)
	}
	return ""
}

// handOver puts the folder of the service manager in the place of its variable.
// Where the variable is not set, as in a shell, the files stay sealed.
func (l *loader) handOver() {
	folder := os.Getenv(credentialsVariable)
	for _, f := range []struct {
		key  string
		path *string
	}{
		{"mqtt.password_file", &l.c.MQTT.PasswordFile},
		{"mqtt.ca", &l.c.MQTT.CA},
		{"mqtt.crl", &l.c.MQTT.CRL},
		{"mqtt.cert", &l.c.MQTT.Cert},
		{"mqtt.key", &l.c.MQTT.Key},
		{"page.cert", &l.c.Page.Cert},
		{"page.key", &l.c.Page.Key},
	} {
		name, ok := strings.CutPrefix(*f.path, handedOver)
		switch {
		case !ok:
		case filepath.IsAbs(folder):
			*f.path = filepath.Join(folder, name)
		default:
			l.c.sealed = append(l.c.sealed, sealed{f.key, name})
		}
	}
}

// Sealed are the keys of the broker's files that the service manager hands to the
// service alone and has not handed to this program. Who only reads the
// configuration can do without; who connects cannot.
func (c *Config) Sealed() (faults Faults) {
	for _, s := range c.sealed {
		if (c.MQTT.Broker != "" || c.Sparkplug.Broker != "") && strings.HasPrefix(s.key, "mqtt.") {
			faults = append(faults, c.Fault(s.key, s.text()))
		}
	}
	return faults
}

// sealed is a file that the service manager has not handed over.
type sealed struct{ key, name string }

func (s sealed) text() string {
	return fmt.Sprintf("systemd hands this file to the service alone, here it is not: the service's unit needs LoadCredential=%s:FILE", s.name)
}

// credentials checks that the files named for the broker are there, and that
// nobody but their owner and group may read the secret ones.
func (l *loader) credentials() {
	m := l.c.MQTT
	if m.Broker == "" && l.c.Sparkplug.Broker == "" {
		return
	}
	for _, f := range []struct {
		name, path string
		secret     bool
	}{
		{"mqtt.password_file", m.PasswordFile, true},
		{"mqtt.ca", m.CA, false},
		{"mqtt.crl", m.CRL, false},
		{"mqtt.cert", m.Cert, false},
		{"mqtt.key", m.Key, true},
	} {
		if f.path == "" || !l.good[f.name] || strings.HasPrefix(f.path, handedOver) {
			continue
		}
		if text := credential(f.path, f.secret); text != "" {
			l.fault(f.name, "", text)
		}
	}
}

// credential says what is wrong with a file of credentials: it is not there, or who
// may open it; "": nothing. It is never read.
func credential(path string, secret bool) string {
	info, err := os.Stat(path)
	switch {
	case os.IsPermission(err):
		return "" // this user may not look into the folder; the agent's user may
	case err != nil:
		return openText(path, err)
	case info.IsDir():
		return "want a file, this is a folder: " + path
	case secret && info.Mode().IsRegular() && info.Mode().Perm()&0o007 != 0 && runtime.GOOS != "windows":
		return fmt.Sprintf("every user of this machine may open the secret file: chmod o-rwx %s", path)
	}
	return ""
}
