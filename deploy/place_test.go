package deploy

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// An installed agent may write to State alone, so its store must not lie beside
// its configuration; a station to try has all in one folder.
func TestStoreOfAnInstalledAgentLiesApart(t *testing.T) {
	example := []byte(embedded(t, "bench.toml"))
	for dir, want := range map[string]string{
		Folder:                     `path = "/var/lib/benchtally/benchtally.db" # where everything is kept`,
		Folder + "/../benchtally/": `path = "/var/lib/benchtally/benchtally.db" # where everything is kept`,
		"/srv/press":               `path = "benchtally.db"        # where everything is kept`,
		State:                      `path = "benchtally.db"        # where everything is kept`,
	} {
		got := string(placed(dir, "bench.toml", example))
		if strings.Count(got, "\n"+want+"\n") != 1 || strings.Count(got, "benchtally.db") != 1 {
			t.Errorf("in %s the configuration lacks the line %s", dir, want)
		}
	}
	if got := placed(Folder, "README.txt", exampleStore); string(got) != string(exampleStore) {
		t.Errorf("another file was changed: %s", got)
	}
}

func TestPackagedFilesAreNotWrittenOnceMore(t *testing.T) {
	before := packagedUnit
	defer func() { packagedUnit = before }()
	packagedUnit = filepath.Join(t.TempDir(), "benchtally.service")
	left := func(dir string) (out []string) {
		for _, n := range names {
			if !wanted(dir, n) {
				out = append(out, n)
			}
		}
		return out
	}
	if got := left(Folder); got != nil {
		t.Errorf("without a package %q are left out", got)
	}
	if err := os.WriteFile(packagedUnit, nil, 0o600); err != nil {
		t.Fatal(err)
	}
	if got, want := strings.Join(left(Folder), " "), strings.Join(system, " "); got != want {
		t.Errorf("with a package %q are left out, want %q", got, want)
	}
	if got := left("/srv/press"); got != nil {
		t.Errorf("in another folder %q are left out", got)
	}
}

// The unit, the notes and the program name the same places.
func TestPlacesAreTheUnits(t *testing.T) {
	unit := embedded(t, "benchtally.service")
	for _, want := range []string{
		"\nConditionPathExists=" + Folder + "/bench.toml\n",
		"\nExecStart=/usr/local/bin/benchtally run --config " + Folder + "/bench.toml\n",
		"\nStateDirectory=" + filepath.Base(State) + "\n", // below /var/lib: systemd.exec(5)
		"\nProtectSystem=strict\n",
	} {
		if !strings.Contains(unit, want) {
			t.Errorf("the unit lacks %q", want)
		}
	}
	for _, want := range []string{Folder, State} {
		if !strings.Contains(embedded(t, "README.txt"), want) {
			t.Errorf("README.txt does not name %s", want)
		}
	}
}

// The package has the same texts, with its own program and without the notes for
// who copies them by hand.
func TestPackagedTextsAreTheSame(t *testing.T) {
	for _, name := range system {
		got, err := Packaged(name)
		if err != nil {
			t.Fatal(err)
		}
		first, rest, _ := strings.Cut(embedded(t, name), "\n")
		if !strings.HasPrefix(first, "# Goes to ") {
			t.Errorf("%s begins with %q", name, first)
		}
		if want := strings.Replace(rest, "/usr/local/bin/benchtally", "/usr/bin/benchtally", 1); string(got) != want {
			t.Errorf("%s is\n%s", name, got)
		}
	}
	if got, err := Packaged("bench.toml"); err != nil || string(got) != embedded(t, "bench.toml") {
		t.Errorf("bench.toml is %q, %v", got, err)
	}
	if _, err := Packaged("nothing"); err == nil {
		t.Error("a file that is not there")
	}
}
