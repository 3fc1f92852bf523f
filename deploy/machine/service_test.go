//go:build linux

package machine

import (
	"encoding/json"
	"os"
	"strconv"
	"strings"
	"testing"
	"time"

	"benchtally/deploy/machine/hand"
)

// installation is what README.txt has a person type who installs by hand, with
// what stands for an editor marked as "edit".
var installation = []string{
	"install benchtally /usr/local/bin/",
	"benchtally init /etc/benchtally",
	"cd /etc/benchtally",
	"install -D -m 644 sysusers.conf /etc/sysusers.d/benchtally.conf",
	"systemd-sysusers",
	"install -m 644 modules-load.conf /etc/modules-load.d/benchtally.conf",
	"systemctl restart systemd-modules-load",
	"install -m 644 60-benchtally.rules /etc/udev/rules.d/",
	"udevadm control --reload",
	"udevadm trigger",
	"edit udevadm settle",
	`edit sed -i '/^\[caliper\]/,/^\[/s|^port = .*|port = "'$(echo /dev/serial/by-id/*)'"|; /^\[switch\]/,/^\[/s|^line = .*|line = "GPIO17"|' bench.toml`,
	"benchtally ports",
	"benchtally check bench.toml",
	"install -m 644 benchtally.service /etc/systemd/system/",
	"systemctl daemon-reload",
	"systemctl enable --now benchtally",
}

// cableName is the stable name of the caliper's adapter.
const cableName = "/dev/serial/by-id/usb-QEMU_QEMU_USB_SERIAL_" + cableNumber + "-if00-port0"

// A station is a Debian with the agent installed as a service.
type station struct {
	*guest
	t *testing.T
}

// newStation boots a Debian and installs the agent as README.txt says.
func newStation(t *testing.T) station {
	t.Helper()
	began := time.Now()
	s := station{boot(t, setting{root: true, memory: 512, steady: true}), t}
	t.Logf("Debian is up in %.1f s", time.Since(began).Seconds())
	readme, err := os.ReadFile("../files/README.txt")
	if err != nil {
		t.Fatal(err)
	}
	folder := "/opt/machine"
	for _, step := range installation {
		command, edit := strings.CutPrefix(step, "edit ")
		if !edit && !strings.Contains(string(readme), command) {
			t.Fatalf("deploy/files/README.txt does not say %q any more: install here as it says now", command)
		}
		if to, ok := strings.CutPrefix(command, "cd "); ok {
			folder = to
			continue
		}
		said := s.run("sh", "-c", "cd "+folder+" && "+command)
		if command == "benchtally ports" && !(strings.Contains(said, cableName) && strings.Contains(said, "GPIO17")) {
			t.Fatalf("benchtally ports does not show the caliper's adapter and the input:\n%s", said)
		}
	}
	t.Logf("installed after %.1f s", time.Since(began).Seconds())
	return s
}

// shown is a property of the service, as the service manager has it.
func (s station) shown(property string) string {
	s.t.Helper()
	return strings.TrimSpace(s.run("systemctl", "show", "--value", "-p", property, "benchtally"))
}

func (s station) status() (st standing) {
	s.t.Helper()
	a := s.ask(hand.Question{Do: hand.Run, Args: []string{"benchtally", "status", "--json"}})
	if a.Code == 0 {
		if err := json.Unmarshal([]byte(a.Out), &st); err != nil {
			s.t.Fatal(err)
		}
	}
	return st
}

// press presses once, and wants the stroke counted.
func (s station) press() {
	s.t.Helper()
	before := s.status().Cage.Teardown
	s.ask(hand.Question{Do: hand.Press, Line: "GPIO17", Course: []hand.Level{
		{After: 1500 * time.Millisecond}, {After: 300 * time.Millisecond, High: true}, {After: 500 * time.Millisecond, High: true}}})
	await(s.t, "a stroke is counted", func() bool { return s.status().Cage.Teardown == before+1 })
}

// measure sends a frame, and wants its reading kept.
func (s station) measure(frame string) {
	s.t.Helper()
	if _, err := s.cable.Write([]byte(frame + "\r\n")); err != nil {
		s.t.Fatal(err)
	}
	await(s.t, "reading "+frame+" is kept", func() bool {
		return strings.Contains(s.run("benchtally", "log", "--json"), `"raw":"`+frame+`"`)
	})
}

// TestService installs the agent on a Debian as README.txt says, and lets it go
// through what a service goes through.
func TestService(t *testing.T) {
	needMachine(t)
	s := newStation(t)

	if got := s.shown("ActiveState") + " " + s.shown("Type"); got != "active notify" {
		t.Fatalf("the service is %s", got)
	}
	pid := s.shown("MainPID")
	if user := strings.TrimSpace(s.run("stat", "-c", "%U:%G", "/proc/"+pid)); user != "benchtally:benchtally" {
		t.Errorf("it runs as %s", user)
	}
	await(t, "switch and caliper work", func() bool {
		st := s.status()
		return linkOK(st, "switch") && linkOK(st, "caliper")
	})
	files := s.run("sh", "-c", "ls -l /proc/"+pid+"/fd")
	for _, device := range []string{"/dev/ttyUSB0", "gpio"} {
		if !strings.Contains(files, device) {
			t.Errorf("nothing of %s is open:\n%s", device, files)
		}
	}
	s.run("benchtally", "do", `{"do":"load","cage":"C-21"}`)
	s.press()
	s.measure("+1.2041")
	security := strings.TrimSpace(s.run("systemd-analyze", "security", "--no-pager", "benchtally"))
	t.Log(security[strings.LastIndex(security, "\n")+1:])

	s.pulled()
	s.hangs(pid)
	s.stopped()
	s.wrong()
}

// pulled pulls the caliper's cable and puts it back.
func (s station) pulled() {
	t := s.t
	began := time.Now()
	defer func() { t.Logf("pulled: %.1f s", time.Since(began).Seconds()) }()
	s.qmp.unplug()
	await(t, "the caliper is missed", func() bool { return !linkOK(s.status(), "caliper") })
	s.press()
	s.qmp.plug()
	await(t, "the caliper is back", func() bool { return linkOK(s.status(), "caliper") })
	if real := strings.TrimSpace(s.run("readlink", "-f", cableName)); !strings.HasPrefix(real, "/dev/ttyUSB") {
		t.Errorf("%s is %s", cableName, real)
	}
	s.measure("+1.2052")
	s.press()
	records, err := parseLog(s.run("benchtally", "log", "--json"))
	if err != nil {
		t.Fatal(err)
	}
	var faults []string
	for _, l := range records {
		if l.Kind == "fault" && strings.Contains(l.raw, `"source":"caliper"`) {
			faults = append(faults, l.State)
		}
	}
	if got := strings.Join(faults, " "); got != "on off" {
		t.Errorf("the caliper's faults are %q, want on and off", got)
	}
}

// hangs stops the process as a hang would; the watchdog must have it started anew.
func (s station) hangs(pid string) {
	t := s.t
	began := time.Now()
	defer func() { t.Logf("hangs: %.1f s", time.Since(began).Seconds()) }()
	before := s.status()
	s.run("sh", "-c", "kill -STOP "+pid)
	await(t, "the watchdog has had it started anew", func() bool {
		now := s.shown("MainPID")
		return now != pid && now != "0" && s.shown("ActiveState") == "active"
	})
	if n, err := strconv.Atoi(s.shown("NRestarts")); err != nil || n != 1 {
		t.Errorf("%d restarts, want 1", n)
	}
	if journal := s.run("journalctl", "-u", "benchtally", "--no-pager"); !strings.Contains(strings.ToLower(journal), "watchdog") {
		t.Errorf("the journal does not speak of the watchdog:\n%s", journal)
	}
	await(t, "switch and caliper work again", func() bool {
		st := s.status()
		return linkOK(st, "switch") && linkOK(st, "caliper")
	})
	if after := s.status(); after.Cage.Teardown != before.Cage.Teardown {
		t.Errorf("%d strokes before, %d after", before.Cage.Teardown, after.Cage.Teardown)
	}
	s.press()
}

// stopped stops the service as an administrator does.
func (s station) stopped() {
	t := s.t
	began := time.Now()
	defer func() { t.Logf("stopped: %.1f s", time.Since(began).Seconds()) }()
	s.run("systemctl", "stop", "benchtally")
	if got := s.shown("ActiveState") + " " + s.shown("Result") + " " + s.shown("ExecMainStatus"); got != "inactive success 0" {
		t.Errorf("it ended as %s", got)
	}
	s.run("benchtally", "verify", "/var/lib/benchtally/benchtally.db")
}

// wrong has the service started with a configuration that it refuses: once, and
// not again and again.
func (s station) wrong() {
	t := s.t
	began := time.Now()
	defer func() { t.Logf("wrong: %.1f s", time.Since(began).Seconds()) }()
	s.run("sh", "-c", "cd /etc/benchtally && cp bench.toml good.toml && echo 'nonsense = 1' >>bench.toml")
	if a := s.ask(hand.Question{Do: hand.Run, Args: []string{"systemctl", "start", "benchtally"}}); a.Code == 0 {
		t.Error("it starts with a wrong configuration")
	}
	s.run("sleep", "20")
	if got := s.shown("ActiveState") + " " + s.shown("NRestarts") + " " + s.shown("ExecMainStatus"); got != "failed 0 2" {
		t.Errorf("state, restarts and exit code are %s", got)
	}
	s.run("sh", "-c", "cd /etc/benchtally && cp good.toml bench.toml && systemctl start benchtally")
	s.press()
}
