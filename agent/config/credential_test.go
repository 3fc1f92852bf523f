package config

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

// sealedFile is a configuration whose secrets the service manager hands over.
func sealedFile(t *testing.T) string {
	t.Helper()
	const mqtt = "[mqtt]\nbroker = \"ssl://broker.riverside.example\"\nuser = \"north-bench\"\n" +
		"password_file = \"$CREDENTIALS_DIRECTORY/mqtt-password\"\nca = \"ca.pem\"\n" +
		"cert = \"$CREDENTIALS_DIRECTORY/press.pem\"\nkey = \"$CREDENTIALS_DIRECTORY/press.key\"\n" +
		"[page]\ncert = \"$CREDENTIALS_DIRECTORY/page.pem\"\nkey = \"page.key\"\n"
	dir := write(t, map[string]string{"bench.toml": least + mqtt, "specs.csv": oneSpec, "ca.pem": "-", "page.key": "-"})
	return filepath.Join(dir, "bench.toml")
}

func TestFilesHandedOverByTheServiceManager(t *testing.T) {
	file := sealedFile(t)
	dir := write(t, map[string]string{"mqtt-password": "-", "press.pem": "-", "press.key": "-", "page.pem": "-"})
	t.Setenv("CREDENTIALS_DIRECTORY", dir)
	c, err := Load(file)
	if err != nil {
		t.Fatal(err)
	}
	in := func(name string) string { return filepath.Join(dir, name) }
	got := []string{c.MQTT.PasswordFile, c.MQTT.CA, c.MQTT.Cert, c.MQTT.Key, c.Page.Cert, c.Page.Key}
	want := []string{in("mqtt-password"), filepath.Join(filepath.Dir(file), "ca.pem"), in("press.pem"), in("press.key"), in("page.pem"), filepath.Join(filepath.Dir(file), "page.key")}
	if diff := cmp.Diff(got, want); diff != "" {
		t.Errorf("got -, want +\n%s", diff)
	}
	if s := c.Sealed(); len(s) != 0 {
		t.Errorf("sealed: %v", s)
	}
	if w := c.Warnings(); len(w) != 1 || !strings.Contains(w[0], "[press] topic") {
		t.Errorf("warnings %q", w)
	}
	// The unit hands over less than the configuration names.
	if err := os.Remove(in("press.key")); err != nil {
		t.Fatal(err)
	}
	if _, err := Load(file); err == nil || err.Error() != file+":15: [mqtt] key: there is no file "+in("press.key") {
		t.Errorf("without the key: %v", err)
	}
}

// Whoever checks the file is not the service: what is sealed is told, and is no
// fault of the file.
func TestFilesNotHandedOver(t *testing.T) {
	file := sealedFile(t)
	for name, value := range map[string]string{"not set": "", "not a folder's whole path": "credentials"} {
		t.Run(name, func(t *testing.T) {
			t.Setenv("CREDENTIALS_DIRECTORY", value)
			c, err := Load(file)
			if err != nil {
				t.Fatal(err)
			}
			text := func(line, key, name string) string {
				return file + ":" + line + ": " + key + ": systemd hands this file to the service alone, here it is not: the service's unit needs LoadCredential=" + name + ":FILE"
			}
			broker := []string{text("12", "[mqtt] password_file", "mqtt-password"), text("14", "[mqtt] cert", "press.pem"), text("15", "[mqtt] key", "press.key")}
			if got, want := c.Sealed().Error(), strings.Join(broker, "\n"); got != want {
				t.Errorf("got\n%s\nwant\n%s", got, want)
			}
			if diff := cmp.Diff(c.Warnings()[1:], append(broker, text("17", "[page] cert", "page.pem"))); diff != "" {
				t.Errorf("got -, want +\n%s", diff)
			}
		})
	}
}
