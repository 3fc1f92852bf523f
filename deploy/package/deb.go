package main

import (
	"bytes"
	"compress/gzip"
	"context"
	"crypto/md5" //nolint:gosec // dpkg's own format: finds slips, proves nothing
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
)

// deb is one package before it is written.
type deb struct {
	name, arch  string
	section     string
	fields      []string // of the control file, beyond the usual ones: "Depends: systemd"
	summary     string   // one line
	description string   // lines of some 70 letters; an empty one parts paragraphs
	files       []file
	scripts     map[string]string // preinst, postinst, prerm, postrm
}

// file is one file of a package.
type file struct {
	path string // from the root, without the first slash
	mode fs.FileMode
	data []byte
}

// text is a file that everybody may read.
func text(path string, data []byte) file { return file{path, 0o644, data} }

// packed is a text, compressed as Debian has it: at most, and without name and time.
func packed(path string, data []byte) file {
	var b bytes.Buffer
	z, err := gzip.NewWriterLevel(&b, gzip.BestCompression)
	if err == nil {
		_, err = z.Write(data)
	}
	if err = errors.Join(err, z.Close()); err != nil {
		panic("package: " + err.Error()) // memory does not fail
	}
	return text(path+".gz", b.Bytes())
}

// configFiles are the files below /etc: dpkg leaves alone what a person changed in them.
func (d deb) configFiles() (paths []string) {
	for _, f := range d.files {
		if strings.HasPrefix(f.path, "etc/") {
			paths = append(paths, "/"+f.path)
		}
	}
	return paths
}

// control is the control file.
func (d deb) control(r release) string {
	size := 0
	for _, f := range d.files {
		size += (len(f.data) + 1023) / 1024
	}
	lines := []string{
		"Package: " + d.name,
		"Version: " + r.debian(),
		"Architecture: " + d.arch,
		"Maintainer: " + maintainer,
		fmt.Sprintf("Installed-Size: %d", size),
	}
	lines = append(lines, d.fields...)
	lines = append(lines, "Section: "+d.section, "Priority: optional", "Description: "+d.summary)
	for _, l := range strings.Split(strings.TrimSpace(d.description), "\n") {
		if l == "" {
			l = "."
		}
		lines = append(lines, " "+l)
	}
	return strings.Join(lines, "\n") + "\n"
}

// members are the files of the package's other part, which dpkg keeps to itself.
func (d deb) members(r release) []file {
	var sums strings.Builder
	for _, f := range d.files {
		_, _ = fmt.Fprintf(&sums, "%x  %s\n", md5.Sum(f.data), f.path) //nolint:gosec // see above
	}
	members := []file{text("DEBIAN/control", []byte(d.control(r))), text("DEBIAN/md5sums", []byte(sums.String()))}
	if names := d.configFiles(); names != nil {
		members = append(members, text("DEBIAN/conffiles", []byte(strings.Join(names, "\n")+"\n")))
	}
	for _, name := range scriptNames {
		if script, ok := d.scripts[name]; ok {
			members = append(members, file{"DEBIAN/" + name, 0o755, []byte(script)})
		}
	}
	return members
}

// write writes the package into the folder out and returns its path.
func (d deb) write(ctx context.Context, out string, r release) (path string, err error) {
	slices.SortFunc(d.files, func(a, b file) int { return strings.Compare(a.path, b.path) })
	tree, err := os.MkdirTemp("", "package-")
	if err != nil {
		return "", err
	}
	defer func() { err = errors.Join(err, os.RemoveAll(tree)) }()
	for _, f := range slices.Concat(d.files, d.members(r)) {
		if err := place(tree, f); err != nil {
			return "", err
		}
	}
	if err := settle(tree, r); err != nil {
		return "", err
	}
	path = filepath.Join(out, fmt.Sprintf("%s_%s_%s.deb", d.name, r.debian(), d.arch))
	// One thread: what several make depends on how many there are.
	_, err = output(ctx, "", []string{fmt.Sprintf("SOURCE_DATE_EPOCH=%d", r.date.Unix())},
		"dpkg-deb", "--root-owner-group", "-Zxz", fmt.Sprintf("-z%d", r.effort), "--threads-max=1", "--build", tree, path)
	return path, err
}

func place(tree string, f file) error {
	path := filepath.Join(tree, f.path)
	if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
		return err
	}
	if err := os.WriteFile(path, f.data, 0o600); err != nil {
		return err
	}
	return os.Chmod(path, f.mode) // whatever the umask is
}

// settle gives all in the tree the same date, and folders their mode.
func settle(tree string, r release) error {
	return filepath.WalkDir(tree, func(path string, e fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		if e.IsDir() {
			if err := os.Chmod(path, 0o755); err != nil { //nolint:gosec // folders that everybody may enter
				return err
			}
		}
		return os.Chtimes(path, r.date, r.date)
	})
}
