package deploy

import (
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

var names = []string{
	"60-benchtally.rules", "README.txt", "bench.toml", "benchtally.service", "jobs.csv", "journald.conf", "modules-load.conf", "specs.csv", "system.conf", "sysusers.conf",
}

func within(dir string) (paths []string) {
	for _, n := range names {
		paths = append(paths, filepath.Join(dir, n))
	}
	return paths
}

func TestInitWritesAllFilesIntoANewFolder(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "press", "north")
	written, kept, err := Init(dir)
	if err != nil || len(kept) != 0 {
		t.Fatalf("kept %v, %v", kept, err)
	}
	if diff := cmp.Diff(written, within(dir)); diff != "" {
		t.Errorf("written -, want +\n%s", diff)
	}
	for _, path := range written {
		got, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		want, err := files.ReadFile("files/" + filepath.Base(path))
		if err != nil || string(got) != string(want) {
			t.Errorf("%s differs from what is embedded, %v", path, err)
		}
	}
}

func TestInitKeepsWhatIsThere(t *testing.T) {
	dir := t.TempDir()
	if _, _, err := Init(dir); err != nil {
		t.Fatal(err)
	}
	edited := filepath.Join(dir, "bench.toml")
	if err := os.WriteFile(edited, []byte("# mine\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	if err := os.Remove(filepath.Join(dir, "README.txt")); err != nil {
		t.Fatal(err)
	}
	written, kept, err := Init(dir)
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(written, []string{filepath.Join(dir, "README.txt")}); diff != "" {
		t.Errorf("written -, want +\n%s", diff)
	}
	if len(kept) != len(names)-1 {
		t.Errorf("kept %v", kept)
	}
	got, err := os.ReadFile(edited)
	if err != nil || string(got) != "# mine\n" {
		t.Errorf("the edited file holds %q, %v", got, err)
	}
	if written, kept, err = Init(dir); err != nil || len(written) != 0 || len(kept) != len(names) {
		t.Errorf("a third time: written %v, kept %v, %v", written, kept, err)
	}
}

// A link that leads nowhere is somebody's file that is away, such as on a
// stick: nothing may be made in its place.
func TestInitKeepsALinkThatLeadsNowhere(t *testing.T) {
	dir := t.TempDir()
	if err := os.Symlink("/nowhere/specs.csv", filepath.Join(dir, "specs.csv")); err != nil {
		t.Skip(err)
	}
	written, kept, err := Init(dir)
	if err != nil || len(written) != len(names)-1 || len(kept) != 1 {
		t.Errorf("written %v, kept %v, %v", written, kept, err)
	}
}

func TestInitSaysWhatIsInTheWay(t *testing.T) {
	dir := t.TempDir()
	file := filepath.Join(dir, "file")
	if err := os.WriteFile(file, nil, 0o600); err != nil {
		t.Fatal(err)
	}
	if _, _, err := Init(file); err == nil || err.Error() != "make the folder: mkdir "+file+": not a directory" {
		t.Errorf("a file in place of the folder: %v", err)
	}
	folder := filepath.Join(dir, "bench.toml")
	if err := os.Mkdir(folder, 0o755); err != nil {
		t.Fatal(err)
	}
	written, _, err := Init(dir)
	if err == nil || err.Error() != folder+" is a folder: a file of this name belongs here, move the folder away" {
		t.Errorf("a folder in place of a file: %v", err)
	}
	if len(written) != 2 { // the two names in front of bench.toml
		t.Errorf("written %v", written)
	}
}

func embedded(t *testing.T, name string) string {
	t.Helper()
	b, err := files.ReadFile("files/" + name)
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}

// What the service may not have, and what it cannot do without.
func TestServiceReachesItsDevicesAndNothingElse(t *testing.T) {
	unit := regexp.MustCompile(`(?m)^#.*\n`).ReplaceAllString(embedded(t, "benchtally.service"), "")
	for _, want := range []string{
		"Type=notify\n", "WatchdogSec=30\n", "Restart=always\n", "RestartPreventExitStatus=2\n", "StartLimitIntervalSec=0\n",
		"User=benchtally\n", "SupplementaryGroups=gpio dialout\n", "StateDirectory=benchtally\n", "StandardInput=null\n",
		"NoNewPrivileges=yes\n", "ProtectSystem=strict\n", "CapabilityBoundingSet=\n", "DevicePolicy=closed\n",
		"DeviceAllow=char-gpiochip rw\n", "DeviceAllow=char-ttyUSB rw\n", "DeviceAllow=char-ttyACM rw\n",
		"SystemCallFilter=@system-service\nSystemCallFilter=~@privileged @resources\nSystemCallFilter=adjtimex clock_adjtime\n",
		"MemoryMax=128M\n", "Environment=GOMEMLIMIT=96MiB\n", "NotifyAccess=main\n",
	} {
		if !strings.Contains(unit, "\n"+want) {
			t.Errorf("the unit lacks %q", want)
		}
	}
	// PrivateDevices hides the ports, ProtectClock forbids to read the clock's
	// state, and an order behind the network or the clock would delay counting.
	for _, never := range []string{"PrivateDevices", "ProtectClock", "ProcSubset", "BindsTo", "After=", "Requires="} {
		if strings.Contains(unit, never) {
			t.Errorf("the unit has %q", never)
		}
	}
}

func TestReadmeNamesEveryFileAndTheLimitsOfTheTool(t *testing.T) {
	readme := embedded(t, "README.txt")
	for _, n := range names {
		if n != "README.txt" && !strings.Contains(readme, n) {
			t.Errorf("README.txt does not name %s", n)
		}
	}
	oneLine := strings.Join(strings.Fields(readme), " ")
	for _, want := range []string{
		"Advice only. The hose and fitting maker's current crimp specification, local codes and trained people decide.",
		"It has inputs only",
		"it is no guard and no emergency stop",
		"Never a contact, wire or supply of the press control, its guards or its emergency stop.",
		"Crimp nothing by them.",
	} {
		if !strings.Contains(oneLine, want) {
			t.Errorf("README.txt lacks %q", want)
		}
	}
}

// Nobody may read more into a result than "within limits".
func TestNoFileCallsAnAssemblySafe(t *testing.T) {
	word := regexp.MustCompile(`(?i)\b(safe|approved|certified|released)\b`)
	for _, n := range names {
		if m := word.FindString(embedded(t, n)); m != "" {
			t.Errorf("%s says %q", n, m)
		}
		for i, line := range strings.Split(embedded(t, n), "\n") {
			if strings.TrimRight(line, " \t") != line || strings.ContainsAny(line, "\t\r") {
				t.Errorf("%s:%d: blanks at the end, a tab or a carriage return", n, i+1)
			}
		}
	}
}
