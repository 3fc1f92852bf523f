// Package deploy holds the files of an installation: configuration,
// specifications, service and device rules, each with notes for the person who
// installs it.
package deploy

import (
	"embed"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
)

//go:embed files
var files embed.FS

// ConfigName is the file of the configuration in the folder.
const ConfigName = "bench.toml"

// Init writes the files that are missing in the folder dir, which it makes if
// need be, and never touches one that is there. In Folder the configuration has
// its store in State, and the files that a package has installed are left out. The answer names the files
// written and those that were there already, each with the folder. When it
// returns without an error they are on disk; with one, the files named in
// written are complete.
//
// Values are written into the configuration, if that is not there yet.
func Init(dir string, values ...Value) (written, kept []string, err error) {
	config, err := Set(Example(), values...)
	if err != nil {
		return nil, nil, err
	}
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return nil, nil, fmt.Errorf("make the folder: %w", err)
	}
	entries, err := files.ReadDir("files")
	if err != nil {
		return nil, nil, err
	}
	for _, e := range entries {
		if !wanted(dir, e.Name()) {
			continue
		}
		data, err := files.ReadFile("files/" + e.Name())
		if err != nil {
			return written, kept, err
		}
		if e.Name() == ConfigName {
			data = config
		}
		data = placed(dir, e.Name(), data)
		path := filepath.Join(dir, e.Name())
		switch err := writeNew(path, data); {
		case err == nil:
			written = append(written, path)
		case !errors.Is(err, fs.ErrExist):
			return written, kept, fmt.Errorf("write the installation files: %w", err)
		default:
			if info, err := os.Stat(path); err == nil && info.IsDir() {
				return written, kept, fmt.Errorf("%s is a folder: a file of this name belongs here, move the folder away", path)
			}
			kept = append(kept, path)
		}
	}
	// The names too, in the folder and of the folder, outlast a power cut.
	for _, d := range []string{dir, filepath.Dir(filepath.Clean(dir))} {
		if err := sync(d); err != nil {
			return written, kept, fmt.Errorf("bring the folder to disk: %w", err)
		}
	}
	return written, kept, nil
}

// writeNew writes a file that must not exist; fs.ErrExist if it does. A file
// that could not be written whole is taken away again.
func writeNew(path string, data []byte) (err error) {
	f, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o644)
	if err != nil {
		return err
	}
	defer func() {
		err = errors.Join(err, f.Close())
		if err != nil {
			err = errors.Join(err, os.Remove(path))
		}
	}()
	if _, err := f.Write(data); err != nil {
		return err
	}
	return f.Sync()
}

// sync brings the names in a folder to disk.
func sync(dir string) error {
	d, err := os.Open(dir)
	if err != nil {
		return err
	}
	return errors.Join(d.Sync(), d.Close())
}
