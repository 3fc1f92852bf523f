package main

import (
	"bytes"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"syscall"
	"time"

	"benchtally/agent/config"
	"benchtally/deploy"
)

// initCommand writes the files of an installation. What its flags say, and what it
// finds, is written into the configuration.
type initCommand struct {
	Dir string `arg:"" help:"Folder for the files; it is made if needed."`

	Find   bool          `help:"Find the switch's input and the caliper: asks for a stroke and for a push of the caliper's button."`
	Change bool          `help:"Write into a bench.toml that is there already; the one before is kept beside it."`
	Wait   time.Duration `default:"1m" placeholder:"DURATION" help:"With --find: how long to wait for the stroke and for the button; ${default}."`
	Among  []string      `placeholder:"LINE,…" help:"With --find: input lines to look at, where the usual ones will not do."`

	Name   *string `placeholder:"NAME" help:"Name of the press."`
	Topic  *string `placeholder:"TOPIC" help:"Site and area, such as riverside/hose-shop."`
	Broker *string `placeholder:"URL" help:"Broker of the plant, such as ssl://HOST:8883."`

	Line      string `placeholder:"LINE" help:"Input of the switch, such as GPIO17."`
	Rest      string `placeholder:"LINE" help:"Input of the second contact of a changeover switch."`
	Retracted string `placeholder:"LINE" help:"Input of a full-retract switch."`
	Active    string `placeholder:"LEVEL" help:"Level of the inputs while the contact is made: low or high."`

	Port     string `placeholder:"PORT" help:"Port of the caliper."`
	Baud     int    `placeholder:"N" help:"Its baud rate."`
	DataBits int    `placeholder:"N" help:"7 or 8."`
	Parity   string `placeholder:"P" help:"none, even, odd, mark or space."`
	StopBits int    `placeholder:"N" help:"1 or 2."`
	Format   string `placeholder:"NAME" help:"Format of the caliper's frames."`
	Unit     string `placeholder:"UNIT" help:"Unit of frames that carry none: in or mm."`
	Trigger  string `placeholder:"WHAT" help:"What sends a reading: send (the button), stream or request."`
}

// Run writes what is missing and overwrites nothing, unless it is told to change the
// configuration. Nothing is written before all that was given or found is checked.
func (c *initCommand) Run(e env) error {
	if c.Wait <= 0 {
		return invalid{fmt.Errorf("--wait %s: want a time, such as 1m", c.Wait)}
	}
	path := filepath.Join(c.Dir, deploy.ConfigName)
	if c.Find {
		if err := newWalk(e, c).all(); err != nil {
			return err
		}
	}
	values := c.values()
	if len(values) > 0 {
		if _, err := trial(path, values); err != nil {
			return err
		}
	}
	written, kept, err := deploy.Init(c.Dir, values...)
	for _, name := range written {
		_, _ = fmt.Fprintln(e.stdout, "written", name) // the files are what counts
	}
	there := false
	for _, name := range kept {
		there = there || name == path
		_, _ = fmt.Fprintln(e.stdout, "kept   ", name)
	}
	if err != nil {
		return err
	}
	if there && len(values) > 0 {
		if err := c.into(e, path, values); err != nil {
			return err
		}
	}
	if len(values) == 0 {
		_, err = fmt.Fprintf(e.stdout, "\nNext: edit %s, then run\n  benchtally check %[1]s\nOr let it find the switch and the caliper:\n  benchtally init --find --change %s\n", path, c.Dir)
		return err
	}
	_, _ = fmt.Fprintln(e.stdout)
	if err := (&checkCommand{File: path}).Run(e); err != nil {
		return err
	}
	_, err = fmt.Fprintf(e.stdout, `
Next:
  1. Replace the invented rows of %s by the maker's figures, and have a
     second person compare.
  2. benchtally check %s
  3. sudo systemctl restart benchtally, then sudo benchtally status
     Is the service not there yet? %s says how it gets there.
`, filepath.Join(c.Dir, "specs.csv"), path, filepath.Join(c.Dir, "README.txt"))
	return err
}

// values are what is to be written into the configuration.
func (c *initCommand) values() (values []deploy.Value) {
	text := func(key, value string) {
		if value != "" {
			values = append(values, deploy.Value{Key: key, Text: strconv.Quote(value)})
		}
	}
	number := func(key string, value int) {
		if value != 0 {
			values = append(values, deploy.Value{Key: key, Text: strconv.Itoa(value)})
		}
	}
	given := func(key string, value *string) {
		if value != nil {
			values = append(values, deploy.Value{Key: key, Text: strconv.Quote(*value)})
		}
	}
	given("press.name", c.Name)
	given("press.topic", c.Topic)
	text("switch.line", c.Line)
	text("switch.active", c.Active)
	text("switch.rest", c.Rest)
	text("switch.retracted", c.Retracted)
	text("caliper.port", c.Port)
	text("caliper.format", c.Format)
	text("caliper.unit", c.Unit)
	text("caliper.trigger", c.Trigger)
	number("caliper.baud", c.Baud)
	number("caliper.data_bits", c.DataBits)
	text("caliper.parity", c.Parity)
	number("caliper.stop_bits", c.StopBits)
	given("mqtt.broker", c.Broker)
	return values
}

// trial is the configuration with values written into the example, read and checked
// as if it lay at path.
func trial(path string, values []deploy.Value) (cfg *config.Config, err error) {
	dir, err := os.MkdirTemp("", "benchtally-init-")
	if err != nil {
		return nil, err
	}
	defer func() { err = errors.Join(err, os.RemoveAll(dir)) }()
	if _, _, err := deploy.Init(dir, values...); err != nil {
		return nil, err
	}
	cfg, err = loadConfig(filepath.Join(dir, deploy.ConfigName))
	return cfg, renamed(err, filepath.Join(dir, deploy.ConfigName), path)
}

// renamed tells faults of what lies at from as those of what will lie at to.
func renamed(err error, from, to string) error {
	var faults config.Faults
	if !errors.As(err, &faults) {
		return err
	}
	moved := slices.Clone(faults)
	for i, f := range moved {
		if rest, ok := strings.CutPrefix(f.File, from); ok {
			moved[i].File = to + rest
		}
	}
	return moved
}

// into writes values into a configuration that is there already, if that is wanted,
// and else shows them.
func (c *initCommand) into(e env, path string, values []deploy.Value) error {
	before, err := os.ReadFile(path)
	if err != nil {
		return err
	}
	after, err := deploy.Set(before, values...)
	if err != nil {
		return invalid{fmt.Errorf("%s: %w", path, err)}
	}
	switch {
	case bytes.Equal(before, after):
		return nil
	case !c.Change:
		_, _ = fmt.Fprintf(e.stdout, "\n%s was there already and stays as it is. What it would get, with --change:\n", path)
		for _, v := range values {
			_, _ = fmt.Fprintf(e.stdout, "  %s = %s\n", v.Key, v.Text)
		}
		return nil
	}
	kept, err := exchange(path, before, after)
	if err != nil {
		return err
	}
	_, _ = fmt.Fprintf(e.stdout, "changed %s\nkept    %s, as it was before\n", path, kept)
	return nil
}

// exchange puts a checked configuration into the place of another in one step, with
// its owner and rights, and keeps that under a name of its own.
func exchange(path string, before, after []byte) (kept string, err error) {
	info, err := os.Stat(path)
	if err != nil {
		return "", err
	}
	fresh := path + ".new" // beside it: it names files from its folder on
	defer func() {
		if gone := os.Remove(fresh); gone != nil && !errors.Is(gone, fs.ErrNotExist) {
			err = errors.Join(err, gone)
		}
	}()
	if err := writeAs(fresh, after, info); err != nil {
		return "", err
	}
	if _, err := loadConfig(fresh); err != nil {
		return "", renamed(err, fresh, path)
	}
	for i := 1; ; i++ {
		kept = fmt.Sprintf("%s.before-%d", path, i)
		err := writeAs(kept, before, info)
		if err == nil {
			break
		}
		if !errors.Is(err, fs.ErrExist) {
			return "", err
		}
	}
	if err := os.Rename(fresh, path); err != nil {
		return "", err
	}
	dir, err := os.Open(filepath.Dir(path))
	if err != nil {
		return kept, err
	}
	return kept, errors.Join(dir.Sync(), dir.Close())
}

// writeAs writes a file that must not be there, with the owner and the rights of
// another, and brings it to disk.
func writeAs(path string, data []byte, like fs.FileInfo) (err error) {
	f, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, f.Close()) }()
	if st, ok := like.Sys().(*syscall.Stat_t); ok && os.Geteuid() == 0 {
		if err := f.Chown(int(st.Uid), int(st.Gid)); err != nil {
			return err
		}
	}
	if err := f.Chmod(like.Mode().Perm()); err != nil {
		return err
	}
	if _, err := f.Write(data); err != nil {
		return err
	}
	return f.Sync()
}
