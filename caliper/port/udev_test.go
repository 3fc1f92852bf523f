package port

import "testing"

func TestRule(t *testing.T) {
	const end = `GROUP="dialout", MODE="0660", TAG+="systemd", ENV{ID_MM_DEVICE_IGNORE}="1"`
	for _, row := range []struct {
		name string
		port Info
		want string
	}{
		{"by serial number", Info{Kind: KindSerial, Vendor: "1a2b", Product: "3c4d", Serial: "A1", ByPath: "/dev/serial/by-path/x-port0"},
			`SUBSYSTEM=="tty", ENV{ID_VENDOR_ID}=="1a2b", ENV{ID_MODEL_ID}=="3c4d", ENV{ID_SERIAL_SHORT}=="A1", SYMLINK+="caliper0", ` + end},
		{"by socket", Info{Kind: KindSerial, Vendor: "1a2b", Product: "3c4d", ByPath: "/dev/serial/by-path/platform-xhci.0-usb-0:1.2:1.0-port0"},
			`SUBSYSTEM=="tty", ENV{ID_VENDOR_ID}=="1a2b", ENV{ID_MODEL_ID}=="3c4d", ENV{ID_PATH}=="platform-xhci.0-usb-0:1.2:1.0", SYMLINK+="caliper0", ` + end},
		{"a serial number that is no plain word", Info{Kind: KindSerial, Vendor: "1a2b", Product: "3c4d", Serial: `A", RUN+="x`},
			`SUBSYSTEM=="tty", ENV{ID_VENDOR_ID}=="1a2b", ENV{ID_MODEL_ID}=="3c4d", SYMLINK+="caliper0", ` + end},
		{"keyboard", Info{Kind: KindKeyboard, Vendor: "1a2b", Product: "3c4d", Serial: "A1"},
			`SUBSYSTEM=="input", KERNEL=="event*", ENV{ID_VENDOR_ID}=="1a2b", ENV{ID_MODEL_ID}=="3c4d", ENV{ID_SERIAL_SHORT}=="A1", SYMLINK+="input/caliper0", GROUP="input", MODE="0660", TAG+="systemd", ENV{LIBINPUT_IGNORE_DEVICE}="1"`},
		{"no USB device", Info{Kind: KindSerial, Name: "/dev/ttyAMA0"}, ""},
	} {
		t.Run(row.name, func(t *testing.T) {
			if got := row.port.Rule("caliper0"); got != row.want {
				t.Errorf("got\n%s\nwant\n%s", got, row.want)
			}
		})
	}
}
