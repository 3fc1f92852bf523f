// Command package makes the Debian packages of Benchtally: the agent for arm64,
// armhf and amd64, and the page in kiosk mode, which goes with any of them.
//
//	go run ./deploy/package --version 0.3.0 --out DIR
//
// Needed are Go, git where no version or no SOURCE_DATE_EPOCH is given, and
// dpkg-deb of Debian 12 or newer. The same commit gives the same bytes in any
// folder, on any day, with the same release of Go and of dpkg.
//
// The packages are written by dpkg-deb, not by a library: it defines the format,
// every Debian has it, and the libraries that write packages bring some forty
// modules along.
package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/signal"
	"path/filepath"
	"strings"
	"time"

	"github.com/alecthomas/kong"
)

// options are the command line.
type options struct {
	Version string   `placeholder:"V" help:"Version, such as 0.3.0; otherwise that of the git tag."`
	Arch    []string `default:"arm64,armhf,amd64" enum:"arm64,armhf,amd64" help:"Debian's names of the processors; ${default}."`
	Effort  int      `default:"6" placeholder:"N" help:"How hard to compress, 0 to 9; little is quick and makes large packages; ${default}."`
	Out     string   `required:"" placeholder:"DIR" help:"Folder for the packages; it is made if needed."`
}

func main() {
	var o options
	kong.Parse(&o, kong.Name("package"), kong.Description("Makes the Debian packages of Benchtally."), kong.UsageOnError())
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt)
	err := run(ctx, o, ".", os.Stdout)
	stop()
	if err != nil {
		_, _ = fmt.Fprintln(os.Stderr, "package:", err)
		os.Exit(1)
	}
}

// run makes the packages of the module that the folder dir lies in, and tells
// each file written.
func run(ctx context.Context, o options, dir string, told io.Writer) error {
	root, err := moduleRoot(ctx, dir)
	if err != nil {
		return err
	}
	r := release{version: o.Version, effort: o.Effort}
	if r.version == "" {
		if r.version, err = taggedVersion(ctx, root); err != nil {
			return err
		}
	}
	if err := checkVersion(r.version); err != nil {
		return err
	}
	if r.date, err = releaseDate(ctx, root); err != nil {
		return err
	}
	if err := os.MkdirAll(o.Out, 0o755); err != nil {
		return fmt.Errorf("make the folder for the packages: %w", err)
	}
	for _, arch := range o.Arch {
		p, bill, err := agentPackage(ctx, root, r, arch)
		if err != nil {
			return fmt.Errorf("%s: %w", arch, err)
		}
		path, err := p.write(ctx, o.Out, r)
		if err != nil {
			return fmt.Errorf("%s: %w", arch, err)
		}
		list := strings.TrimSuffix(path, ".deb") + ".cdx.json"
		if err := os.WriteFile(list, bill, 0o644); err != nil { //nolint:gosec // for everybody
			return fmt.Errorf("write the bill of materials: %w", err)
		}
		if _, err := fmt.Fprintf(told, "%s\n%s\n", path, list); err != nil {
			return err
		}
	}
	path, err := kioskPackage(r).write(ctx, o.Out, r)
	if err != nil {
		return fmt.Errorf("kiosk: %w", err)
	}
	_, err = fmt.Fprintln(told, path)
	return err
}

// release is what all packages of one run share.
type release struct {
	version string    // of the program
	date    time.Time // of everything in the packages, UTC, whole seconds
	effort  int       // of xz
}

// moduleRoot is the folder of go.mod.
func moduleRoot(ctx context.Context, dir string) (string, error) {
	out, err := output(ctx, dir, nil, "go", "env", "GOMOD")
	if err != nil {
		return "", err
	}
	mod := strings.TrimSpace(out)
	if filepath.Base(mod) != "go.mod" {
		return "", errors.New("no go.mod here or above: run it in the source tree")
	}
	return filepath.Dir(mod), nil
}
