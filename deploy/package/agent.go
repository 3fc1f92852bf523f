package main

import (
	"context"
	"embed"
	"errors"
	"fmt"
	"os"
	"path/filepath"

	"benchtally/deploy"
)

//go:embed benchtally kiosk
var sources embed.FS

const description = `Benchtally runs on a small computer beside a hose crimping press. It counts
strokes from a limit switch, takes the readings of a digital caliper, judges
each crimp against its specification, advises the setting for the next one,
keeps records that survive a power cut, publishes them to an MQTT broker and
shows a page for the panel at the press.

It advises only: it has inputs and no output. The hose and fitting maker's
current crimp specification, local codes and trained people decide.

After the installation: sudo benchtally init /etc/benchtally`

// agentPackage builds the agent for one of Debian's architectures and gathers its
// package, with the bill of materials that is in it.
func agentPackage(ctx context.Context, root string, r release, arch string) (d deb, bill []byte, err error) {
	work, err := os.MkdirTemp("", "package-")
	if err != nil {
		return deb{}, nil, err
	}
	defer func() { err = errors.Join(err, os.RemoveAll(work)) }()
	path := filepath.Join(work, "benchtally")
	if err := build(ctx, root, r.version, arch, path); err != nil {
		return deb{}, nil, err
	}
	binary, err := os.ReadFile(path) //nolint:gosec // just built
	if err != nil {
		return deb{}, nil, err
	}
	modules, err := modulesOf(ctx, root, arch, path)
	if err != nil {
		return deb{}, nil, err
	}
	parts, err := licensedOf(modules)
	if err != nil {
		return deb{}, nil, err
	}
	if bill, err = materials(r, arch, binary, parts); err != nil {
		return deb{}, nil, err
	}
	history, err := os.ReadFile(filepath.Join(root, "CHANGELOG.md"))
	if err != nil {
		return deb{}, nil, err
	}
	const doc = "usr/share/doc/benchtally/"
	d = deb{
		name: "benchtally", arch: arch, section: "misc",
		summary: "agent that counts, measures and advises at a hose crimping press", description: description,
		fields: []string{
			"Depends: init-system-helpers (>= 1.54~), systemd (>= 247), udev",
			"Recommends: ca-certificates, systemd-timesyncd | time-daemon, tzdata",
			"Suggests: benchtally-kiosk",
		},
		files: []file{
			{"usr/bin/benchtally", 0o755, binary},
			packed("usr/share/man/man1/benchtally.1", content("benchtally/benchtally.1")),
			text("usr/lib/tmpfiles.d/benchtally.conf", content("benchtally/tmpfiles.conf")),
			text("usr/share/lintian/overrides/benchtally", content("benchtally/lintian-overrides")),
			text(doc+"benchtally.cdx.json", bill),
			text(doc+"copyright", []byte(copyrightOf(parts))),
			packed(doc+"changelog", history),
			packed(doc+"changelog.Debian", changes("benchtally", r)),
		},
		scripts: scriptsOf("benchtally"),
	}
	for name, to := range map[string]string{
		"benchtally.service":  "usr/lib/systemd/system/benchtally.service",
		"sysusers.conf":       "usr/lib/sysusers.d/benchtally.conf",
		"modules-load.conf":   "usr/lib/modules-load.d/benchtally.conf",
		"60-benchtally.rules": "usr/lib/udev/rules.d/60-benchtally.rules",
		"README.txt":          doc + "README.txt",
	} {
		data, err := deploy.Packaged(name)
		if err != nil {
			return deb{}, nil, err
		}
		d.files = append(d.files, text(to, data))
	}
	return d, bill, nil
}

// content is a file of the folder benchtally or kiosk, which are in this program.
func content(name string) []byte {
	data, err := sources.ReadFile(name)
	if err != nil {
		panic("package: " + err.Error())
	}
	return data
}

// scriptNames are all that there may be.
var scriptNames = []string{"preinst", "postinst", "prerm", "postrm"}

// scriptsOf are what dpkg runs when it installs or removes the package.
func scriptsOf(folder string) map[string]string {
	scripts := map[string]string{}
	for _, name := range scriptNames {
		if text, err := sources.ReadFile(folder + "/" + name); err == nil {
			scripts[name] = string(text)
		}
	}
	return scripts
}

// changes is Debian's own list of changes: what is new in the program is in the
// other one.
func changes(name string, r release) []byte {
	return fmt.Appendf(nil, "%s (%s) stable; urgency=medium\n\n  * Version %s: /usr/share/doc/benchtally/changelog.gz tells what is new.\n\n -- %s  %s\n",
		name, r.debian(), r.version, maintainer, r.date.Format("Mon, 02 Jan 2006 15:04:05 -0700"))
}
