package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"net/url"
	"os"
	"path/filepath"
	"runtime"
	"runtime/debug"
	"strconv"
	"strings"
	"time"

	"golang.org/x/sys/unix"

	"benchtally/agent/config"
	"benchtally/agent/record"
	"benchtally/store"
)

// supportCommand gathers what somebody needs who is asked for help.
type supportCommand struct {
	Dest       string `arg:"" optional:"" placeholder:"DEST.tar.gz" help:"File to write, which must not exist; - is standard output. Without it benchtally-support-TIME.tar.gz in this folder."`
	Config     string `default:"${config}" placeholder:"FILE" help:"Configuration; ${default}."`
	Records    uint64 `default:"500" placeholder:"N" help:"How many of the latest records go along; ${default}."`
	Log        string `placeholder:"FILE" help:"Put this log in as well; - is standard input: journalctl -u benchtally -n 2000 | benchtally support --log -"`
	WithPeople bool   `help:"Leave operators and what they wrote as they are. Without it they become person-1, person-2 and so on."`
}

// Help is what the command's help says in front of the flags.
func (*supportCommand) Help() string {
	return `The file is for whoever helps from elsewhere. It works while the agent runs, hangs or does not start, and with a damaged store: what cannot be had is named in missing.txt.

In it: the configuration without comments and without anything secret, status, metrics, what check and verify say, the latest records, where the agent's goroutines stand, ports and lines, versions, and which files there are. Not in it: passwords, keys, certificates, PINs and badges, the operators file, the store itself. Orders, specifications and lots are in it, as records have them. Look through it before you hand it on: it is plain text.`
}

const supportFolder = "benchtally-support"

// mostRecords bounds --records; more are a backup's business.
const mostRecords = 20_000

// Run writes the bundle. That parts are missing is no fault: it is what the bundle
// is for.
func (c *supportCommand) Run(e env) (err error) {
	if c.Records > mostRecords {
		return invalid{fmt.Errorf("--records %d: at most %d; \"benchtally backup\" copies all", c.Records, mostRecords)}
	}
	at := time.Now()
	if c.Dest == "" {
		c.Dest = "benchtally-support-" + at.UTC().Format("20060102T150405Z") + ".tar.gz"
	}
	if c.Dest != "-" {
		if _, err := os.Lstat(c.Dest); err == nil {
			return invalid{fmt.Errorf("%s exists already; nothing is overwritten", c.Dest)}
		}
	}
	s := &support{e: e, c: c, at: at, people: &strangers{keep: c.WithPeople}}
	s.cfg, s.faults = loadConfig(c.Config)
	made, missing := gatherAll(e.ctx, s.parts())
	for i := range made {
		made[i].data = s.people.clean(made[i].data)
	}
	if c.Dest == "-" {
		return writeBundle(e.stdout, supportFolder, made, at)
	}
	if err := writeSupport(c.Dest, made, at); err != nil {
		return err
	}
	note := "nothing is missing"
	if missing > 0 {
		note = plural(missing, "part") + " could not be had, missing.txt says why"
	}
	_, err = fmt.Fprintf(e.stdout, "%s: %s, %s\n", c.Dest, bytesText(fileSize(c.Dest)), note)
	return err
}

// writeSupport writes the bundle into a new file, for its owner alone, whole or not
// at all.
func writeSupport(dest string, made []madePart, at time.Time) (err error) {
	file, err := os.OpenFile(dest, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if errors.Is(err, fs.ErrExist) {
		return invalid{fmt.Errorf("%s exists already; nothing is overwritten", dest)}
	}
	if err != nil {
		return err
	}
	err = errors.Join(writeBundle(file, supportFolder, made, at), file.Sync(), file.Close())
	if err != nil {
		return errors.Join(fmt.Errorf("write %s: %w", dest, err), os.Remove(dest))
	}
	return nil
}

// support is one bundle in the making.
type support struct {
	e      env
	c      *supportCommand
	at     time.Time
	cfg    *config.Config // nil: it has faults
	faults error
	people *strangers
}

// parts are all parts, in the order in which they lie in the archive. The records
// come before all that may name people whom they make known.
func (s *support) parts() []bundlePart {
	parts := []bundlePart{
		{name: "README.txt", make: s.readme},
		{name: "config.toml", make: s.config},
		{name: "check.txt", make: s.check},
		{name: "goroutines.txt", make: s.asked("/goroutines")},
		{name: "records.jsonl", make: s.records},
		{name: "status.json", make: s.status},
		{name: "status.txt", make: s.statusText},
		{name: "metrics.txt", make: s.asked("/metrics")},
		{name: "verify.json", wait: 2 * time.Minute, make: s.verify},
		{name: "ports.txt", make: s.ports},
		{name: "files.txt", make: s.files},
		{name: "versions.txt", make: s.versions},
		{name: "clock.txt", make: s.clock},
	}
	if s.c.Log != "" {
		parts = append(parts, bundlePart{name: "log.txt", make: s.log})
	}
	return parts
}

func (s *support) readme(context.Context) ([]byte, error) {
	people := "Operators are person-1, person-2 and so on; what they wrote in their own words is left out."
	if s.c.WithPeople {
		people = "Operators are named as the records name them."
	}
	log := "The log is not in it: journalctl -u benchtally -n 2000 | sudo benchtally support --log -"
	if s.c.Log != "" {
		log = "The log is in it, as it was handed over."
	}
	return fmt.Appendf(nil, `Support bundle of Benchtally %s, made %s.

%s
Passwords, keys, certificates, PINs, badges and the operators file were not read.
The configuration is without comments, and without values that may be secret.
Orders, specifications, lots and setting are in it, as the records have them.
%s
missing.txt says what could not be had, and why.
`, version, s.at.UTC().Format(time.RFC3339), people, log), nil
}

func (s *support) config(context.Context) ([]byte, error) {
	text, err := config.Shown(s.c.Config)
	return []byte(text), err
}

func (s *support) check(context.Context) ([]byte, error) {
	var out strings.Builder
	var faults config.Faults
	switch {
	case errors.As(s.faults, &faults):
		for _, f := range faults {
			fmt.Fprintln(&out, config.ShownFault(f).Error())
		}
	case s.faults != nil:
		return nil, s.faults
	default:
		fmt.Fprintln(&out, "The configuration has no fault.")
		for _, w := range s.cfg.Warnings() {
			fmt.Fprintln(&out, w)
		}
	}
	return []byte(out.String()), nil
}

// errNoConfig is why a part is missing that needs the configuration.
var errNoConfig = errors.New("the configuration has faults, see check.txt, so it is not known where the store lies")

func (s *support) records(ctx context.Context) ([]byte, error) {
	if s.cfg == nil {
		return nil, errNoConfig
	}
	e := s.e
	e.ctx = ctx
	var out []byte
	err := readLog(e, s.cfg, url.Values{"last": {strconv.FormatUint(s.c.Records, 10)}}, func(r record.Record, _ time.Time) error {
		r = s.people.record(r)
		out = append(r.AppendJSON(out), '\n')
		return nil
	})
	return out, err
}

// asked is what the running agent answers.
func (s *support) asked(path string) func(context.Context) ([]byte, error) {
	return func(ctx context.Context) ([]byte, error) {
		if s.cfg == nil {
			return nil, errNoConfig
		}
		body, err := askAgent(ctx, s.cfg.Store.Path, "GET", path, nil, nil)
		if err != nil {
			return nil, err
		}
		b, err := io.ReadAll(io.LimitReader(body, mostPart+1))
		return b, errors.Join(err, body.Close())
	}
}

func (s *support) ask(ctx context.Context) (status, error) {
	if s.cfg == nil {
		return status{}, errNoConfig
	}
	e := s.e
	e.ctx = ctx
	st, err := askStatus(e, s.cfg)
	st.Work.Operator = s.people.meet(st.Work.Operator)
	return st, err
}

func (s *support) status(ctx context.Context) ([]byte, error) {
	st, err := s.ask(ctx)
	if err != nil {
		return nil, err
	}
	return json.MarshalIndent(st, "", "  ")
}

func (s *support) statusText(ctx context.Context) ([]byte, error) {
	st, err := s.ask(ctx)
	if err != nil {
		return nil, err
	}
	var out bytes.Buffer
	err = st.write(&out)
	return out.Bytes(), err
}

// mostVerified is how large a store may be that is copied to be checked while the
// agent has it: the copy takes as much room again.
const mostVerified = 256 << 20

func (s *support) verify(ctx context.Context) ([]byte, error) {
	if s.cfg == nil {
		return nil, errNoConfig
	}
	path := s.cfg.Store.Path
	report, err := store.Verify(path)
	if errors.Is(err, store.ErrLocked) {
		if fileSize(path) > mostVerified {
			return nil, fmt.Errorf("the store has %s, too much to be copied here: \"benchtally verify %s\" checks it", bytesText(fileSize(path)), path)
		}
		e := s.e
		e.ctx = ctx
		report, err = verifyCopy(e, path, err)
	}
	if err != nil {
		return nil, err
	}
	return json.MarshalIndent(report, "", "  ")
}

func (s *support) ports(context.Context) ([]byte, error) {
	var out bytes.Buffer
	err := (&portsCommand{}).Run(env{ctx: s.e.ctx, stdout: &out, stderr: io.Discard})
	return out.Bytes(), err
}

// files lists what lies beside the configuration and the store: names, sizes, who
// may read them, and nothing of what is in them.
func (s *support) files(context.Context) ([]byte, error) {
	var out bytes.Buffer
	var faults []error
	folders := []string{filepath.Dir(s.c.Config)}
	if s.cfg != nil {
		if dir := filepath.Dir(s.cfg.Store.Path); dir != folders[0] {
			folders = append(folders, dir)
		}
	}
	for _, dir := range folders {
		entries, err := os.ReadDir(dir)
		if err != nil {
			faults = append(faults, err)
			continue
		}
		fmt.Fprintf(&out, "%s\n", dir)
		for _, entry := range entries[:min(len(entries), 200)] {
			info, err := entry.Info()
			if err != nil {
				continue // gone in the meantime
			}
			owner := ""
			var st unix.Stat_t
			if unix.Lstat(filepath.Join(dir, entry.Name()), &st) == nil {
				owner = fmt.Sprintf("%d:%d", st.Uid, st.Gid)
			}
			fmt.Fprintf(&out, "  %s  %-11s %10d  %s  %s\n", info.Mode(), owner, info.Size(), info.ModTime().UTC().Format(time.RFC3339), entry.Name())
		}
		if free, all, err := roomAt(filepath.Join(dir, "file")); err == nil {
			fmt.Fprintf(&out, "  %s of %s free\n", bytesText(free), bytesText(all))
		}
	}
	return out.Bytes(), errors.Join(faults...)
}

func (s *support) versions(context.Context) ([]byte, error) {
	var out bytes.Buffer
	m := machine{"/"}.state()
	fmt.Fprintf(&out, "benchtally %s, %s, %s/%s\nkernel %s\ncomputer %s\n", version, runtime.Version(), runtime.GOOS, runtime.GOARCH, m.Kernel, m.text())
	if info, ok := debug.ReadBuildInfo(); ok {
		for _, d := range info.Deps {
			fmt.Fprintf(&out, "%s %s\n", d.Path, d.Version)
		}
	}
	return out.Bytes(), nil
}

func (s *support) clock(context.Context) ([]byte, error) {
	var t unix.Timex
	state, err := unix.Adjtimex(&t)
	if err != nil {
		return nil, err
	}
	zone, _ := s.at.Zone()
	return fmt.Appendf(nil, "%s, zone %s\nkernel: state %d, status 0x%04x, largest error %d us, offset %d\n",
		s.at.UTC().Format(time.RFC3339Nano), zone, state, t.Status, t.Maxerror, t.Offset), nil
}

func (s *support) log(context.Context) ([]byte, error) {
	in := s.e.stdin
	if s.c.Log != "-" {
		f, err := os.Open(s.c.Log)
		if err != nil {
			return nil, err
		}
		defer func() { _ = f.Close() }() // it was only read
		in = f
	}
	return io.ReadAll(io.LimitReader(in, mostPart+1))
}
