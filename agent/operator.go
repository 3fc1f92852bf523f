package main

import (
	"bufio"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"strings"
	"text/tabwriter"

	"golang.org/x/term"

	"benchtally/agent/people"
)

// operatorCommand keeps the operators file: who may sign in at the page.
type operatorCommand struct {
	Config string `default:"${config}" placeholder:"FILE" help:"Configuration that names the operators file; ${default}."`

	List   operatorList   `cmd:"" help:"List the operators."`
	Add    operatorAdd    `cmd:"" help:"Add an operator, with a PIN."`
	PIN    operatorPIN    `cmd:"" name:"pin" help:"Give an operator a new PIN; the old one no longer works."`
	Badge  operatorBadge  `cmd:"" help:"Make an operator a new badge and print its label's text, once; the old one no longer works."`
	Remove operatorRemove `cmd:"" help:"Take an operator out; who is signed in is signed out."`
}

// file is the operators file.
func (c *operatorCommand) file() (string, error) {
	cfg, err := loadConfig(c.Config)
	if err != nil {
		return "", err
	}
	if cfg.Page.Operators == "" {
		return "", invalid{fmt.Errorf(`%s names no operators file: write operators = "operators.csv" under [page]`, c.Config)}
	}
	return cfg.Page.Operators, nil
}

// change changes the operators file. What change refuses is invalid input.
func (c *operatorCommand) change(change func(*people.Roll) error) error {
	path, err := c.file()
	if err != nil {
		return err
	}
	err = people.Change(path, func(r *people.Roll) error {
		if err := change(r); err != nil {
			return invalid{err}
		}
		return nil
	})
	return rollError(err)
}

// rollError makes faults of the operators file invalid input.
func rollError(err error) error {
	var faults people.Faults
	if errors.As(err, &faults) {
		return invalid{err}
	}
	return err
}

// said tells what was done.
func said(e env, format string, args ...any) error {
	_, err := fmt.Fprintf(e.stdout, format+"; a running agent knows it within seconds\n", args...)
	return err
}

type operatorList struct {
	JSON bool `name:"json" help:"Print as JSON."`
}

// listed is one operator in the list.
type listed struct {
	people.Person
	PIN   bool `json:"pin"`
	Badge bool `json:"badge"`
}

// Run prints who is in the file, and by what each may sign in.
func (c *operatorList) Run(e env, of *operatorCommand) error {
	path, err := of.file()
	if err != nil {
		return err
	}
	roll, err := people.Read(path)
	if err != nil {
		return rollError(err)
	}
	list := []listed{}
	for _, p := range roll.People() {
		pin, badge := roll.Means(p.ID)
		list = append(list, listed{p, pin, badge})
	}
	if c.JSON {
		return json.NewEncoder(e.stdout).Encode(list)
	}
	table := tabwriter.NewWriter(e.stdout, 0, 0, 2, ' ', 0)
	_, _ = fmt.Fprintln(table, "operator\tname\tlead\tPIN\tbadge") // Flush tells what went wrong
	for _, o := range list {
		_, _ = fmt.Fprintf(table, "%s\t%s\t%s\t%s\t%s\n", o.ID, o.Name, ticked(o.Lead), ticked(o.PIN), ticked(o.Badge))
	}
	return table.Flush()
}

func ticked(has bool) string {
	if has {
		return "yes"
	}
	return "-"
}

type operatorAdd struct {
	ID   string `arg:"" help:"Short sign that the records carry, such as kj."`
	Name string `help:"Name as people say it."`
	Lead bool   `help:"May do what is for the lead alone."`
}

// Run asks for the PIN once it is sure that the operator can be added.
func (c *operatorAdd) Run(e env, of *operatorCommand) error {
	with := "with a PIN"
	err := of.change(func(r *people.Roll) error {
		if err := r.Add(people.Person{ID: c.ID, Name: c.Name, Lead: c.Lead}); err != nil {
			return err
		}
		pin, err := askPIN(e, fmt.Sprintf("PIN for %s (nothing for none)", c.ID))
		if err != nil {
			return err
		}
		if pin == "" {
			with = "without a PIN"
			return nil
		}
		return r.SetPIN(c.ID, pin)
	})
	if err != nil {
		return err
	}
	return said(e, "%s is added, %s", c.ID, with)
}

type operatorPIN struct {
	ID string `arg:"" help:"Sign of the operator."`
}

// Run asks for the new PIN.
func (c *operatorPIN) Run(e env, of *operatorCommand) error {
	err := of.change(func(r *people.Roll) error {
		if _, err := r.Find(c.ID); err != nil {
			return err
		}
		pin, err := askPIN(e, "new PIN for "+c.ID)
		if err != nil {
			return err
		}
		return r.SetPIN(c.ID, pin)
	})
	if err != nil {
		return err
	}
	return said(e, "%s has a new PIN", c.ID)
}

type operatorBadge struct {
	ID string `arg:"" help:"Sign of the operator."`
}

// Run prints the label's text alone, so that it can be handed to a printer.
func (c *operatorBadge) Run(e env, of *operatorCommand) error {
	var token string
	err := of.change(func(r *people.Roll) (err error) {
		token, err = r.SetBadge(c.ID)
		return err
	})
	if err != nil {
		return err
	}
	_, _ = fmt.Fprintf(e.stderr, "The label of %s, as QR code or Code 128. It is kept nowhere; whoever has it signs in as %s.\n", c.ID, c.ID) // a hint, no result
	_, err = fmt.Fprintln(e.stdout, "BADGE "+token)
	return err
}

type operatorRemove struct {
	ID string `arg:"" help:"Sign of the operator."`
}

// Run takes the operator out; records keep the sign.
func (c *operatorRemove) Run(e env, of *operatorCommand) error {
	if err := of.change(func(r *people.Roll) error { return r.Remove(c.ID) }); err != nil {
		return err
	}
	return said(e, "%s is out", c.ID)
}

// askPIN asks for a PIN twice at a terminal, unseen; otherwise it is one line of
// standard input. It never stands on the command line, which others can see.
func askPIN(e env, what string) (string, error) {
	file, ok := e.stdin.(*os.File)
	if !ok || !term.IsTerminal(int(file.Fd())) {
		line, err := bufio.NewReader(io.LimitReader(e.stdin, 1<<10)).ReadString('\n')
		if err != nil && !errors.Is(err, io.EOF) {
			return "", fmt.Errorf("read the PIN: %w", err)
		}
		return strings.TrimRight(line, "\r\n"), nil
	}
	before, err := term.MakeRaw(int(file.Fd()))
	if err != nil {
		return "", fmt.Errorf("read the PIN: %w", err)
	}
	pin, err := askTwice(term.NewTerminal(struct {
		io.Reader
		io.Writer
	}{file, e.stderr}, ""), what)
	return pin, errors.Join(err, term.Restore(int(file.Fd()), before))
}

// askTwice asks at a terminal that no longer shows what is typed, nor ends the
// program by Ctrl-C.
func askTwice(t *term.Terminal, what string) (string, error) {
	ask := func(prompt string) (string, error) {
		typed, err := t.ReadPassword(prompt + ": ")
		if errors.Is(err, io.EOF) {
			err = errors.New("interrupted; nothing is changed")
		}
		return typed, err
	}
	pin, err := ask(what)
	if err != nil || pin == "" {
		return "", err
	}
	if err := people.CheckPIN(pin); err != nil {
		return "", err
	}
	again, err := ask("once more")
	if err == nil && again != pin {
		err = errors.New("the two PINs differ; nothing is changed")
	}
	return pin, err
}
