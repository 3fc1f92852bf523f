package port

import (
	"fmt"
	"path/filepath"
	"regexp"
	"strings"
)

// plainWord is what may stand in a udev rule without quoting.
var plainWord = regexp.MustCompile(`^[A-Za-z0-9._:-]+$`)

// portSuffix is what the by-path links of USB adapters have behind the path.
var portSuffix = regexp.MustCompile(`-port[0-9]+$`)

// Rule is a udev rule that lets the agent's group open this device and gives it
// the steady name /dev/NAME, such as caliper0: by serial number, else by the USB
// socket that it is plugged into. It also keeps modem probers and desktops off the
// device. Empty for what is no USB device.
func (p Info) Rule(name string) string {
	if !plainWord.MatchString(p.Vendor) || !plainWord.MatchString(p.Product) {
		return ""
	}
	match := fmt.Sprintf(`SUBSYSTEM=="tty", ENV{ID_VENDOR_ID}==%q, ENV{ID_MODEL_ID}==%q`, p.Vendor, p.Product)
	rest := `GROUP="dialout", MODE="0660", TAG+="systemd", ENV{ID_MM_DEVICE_IGNORE}="1"`
	if p.Kind == KindKeyboard {
		match = fmt.Sprintf(`SUBSYSTEM=="input", KERNEL=="event*", ENV{ID_VENDOR_ID}==%q, ENV{ID_MODEL_ID}==%q`, p.Vendor, p.Product)
		rest = `GROUP="input", MODE="0660", TAG+="systemd", ENV{LIBINPUT_IGNORE_DEVICE}="1"`
		name = "input/" + name
	}
	path := portSuffix.ReplaceAllString(filepath.Base(p.ByPath), "")
	switch {
	case plainWord.MatchString(p.Serial):
		match += fmt.Sprintf(`, ENV{ID_SERIAL_SHORT}==%q`, p.Serial)
	case p.Kind == KindSerial && p.ByPath != "" && plainWord.MatchString(path):
		match += fmt.Sprintf(`, ENV{ID_PATH}==%q`, path)
	}
	return strings.Join([]string{match, fmt.Sprintf(`SYMLINK+=%q`, name), rest}, ", ")
}
