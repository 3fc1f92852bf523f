package deploy

import (
	"bytes"
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
)

// Places of an installed agent, for its service, the package and whoever looks
// for its configuration. What people write lies apart from what the agent keeps:
// the service cannot write to the first, and nothing but the service writes to
// the second (Filesystem Hierarchy Standard 3.0, 3.7 and 5.8).
const (
	Folder = "/etc/benchtally"     // configuration, specifications, job cards, keys
	State  = "/var/lib/benchtally" // the store
)

// packagedUnit is there where a package has installed the program, with all the
// files of system.
var packagedUnit = "/usr/lib/systemd/system/benchtally.service"

// system are the files that go to other folders of the system.
var system = []string{"60-benchtally.rules", "benchtally.service", "modules-load.conf", "sysusers.conf"}

// exampleStore and installedStore are the same line of bench.toml: a station to
// try keeps its store beside its configuration, an installed one in State.
var (
	exampleStore   = []byte(`path = "benchtally.db"        #`)
	installedStore = []byte(`path = "` + State + `/benchtally.db" #`)
)

// Packaged is a file of an installation as a package has it, which puts it where
// it goes and the program where packages have theirs. An error is a file that is
// not there, or a unit that starts another program.
func Packaged(name string) ([]byte, error) {
	data, err := files.ReadFile("files/" + name)
	if err != nil {
		return nil, err
	}
	if rest, ok := bytes.CutPrefix(data, []byte("# Goes to ")); ok {
		_, data, _ = bytes.Cut(rest, []byte("\n"))
	}
	if name != "benchtally.service" {
		return data, nil
	}
	byHand, byPackage := []byte("=/usr/local/bin/benchtally "), []byte("=/usr/bin/benchtally ")
	if !bytes.Contains(data, byHand) || bytes.Count(data, byHand) != bytes.Count(data, []byte("/usr/local")) {
		return nil, errors.New("benchtally.service: want all programs to be /usr/local/bin/benchtally, which the package replaces by its own")
	}
	return bytes.ReplaceAll(data, byHand, byPackage), nil
}

// installed says whether dir is Folder, however it is written.
func installed(dir string) bool {
	whole, err := filepath.Abs(dir)
	return err == nil && whole == Folder
}

// wanted says whether a file belongs into dir: with a package, Folder does without
// those that the package has put where they go.
func wanted(dir, name string) bool {
	if !installed(dir) || !slices.Contains(system, name) {
		return true
	}
	_, err := os.Stat(packagedUnit)
	return errors.Is(err, fs.ErrNotExist)
}

// placed is the content of a file as dir needs it.
func placed(dir, name string, data []byte) []byte {
	if name != "bench.toml" || !installed(dir) {
		return data
	}
	return bytes.Replace(data, exampleStore, installedStore, 1)
}
