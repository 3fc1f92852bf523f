//go:build linux

package main

import (
	"bytes"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"sync"
	"syscall"

	"benchtally/deploy/machine/hand"
)

// run runs a command to its end.
func run(args []string) (a hand.Answer, err error) {
	if len(args) == 0 {
		return a, errors.New("run nothing")
	}
	var out, errs bytes.Buffer
	cmd := exec.Command(args[0], args[1:]...)
	cmd.Stdout, cmd.Stderr = &out, &errs
	err = cmd.Run()
	a.Out, a.Err = out.String(), errs.String()
	return ended(a, err)
}

// ended tells a program's exit code; that it was not 0 is no error here.
func ended(a hand.Answer, err error) (hand.Answer, error) {
	var exit *exec.ExitError
	if errors.As(err, &exit) {
		a.Code, err = exit.ExitCode(), nil
	}
	return a, err
}

// started are the programs that work, by their names.
var started struct {
	mu sync.Mutex
	of map[string]*exec.Cmd
}

// start lets a program work; what it says goes to the machine's console.
func start(name string, args []string) error {
	if len(args) == 0 {
		return errors.New("start nothing")
	}
	cmd := exec.Command(args[0], args[1:]...)
	cmd.Stdout, cmd.Stderr = os.Stdout, os.Stderr
	if err := cmd.Start(); err != nil {
		return err
	}
	started.mu.Lock()
	defer started.mu.Unlock()
	if started.of == nil {
		started.of = map[string]*exec.Cmd{}
	}
	started.of[name] = cmd
	return nil
}

func known(name string) (*exec.Cmd, error) {
	started.mu.Lock()
	defer started.mu.Unlock()
	if cmd := started.of[name]; cmd != nil {
		return cmd, nil
	}
	return nil, fmt.Errorf("nothing was started as %q", name)
}

func signal(name string, number int) error {
	cmd, err := known(name)
	if err != nil {
		return err
	}
	return cmd.Process.Signal(syscall.Signal(number))
}

func wait(name string) (a hand.Answer, err error) {
	cmd, err := known(name)
	if err != nil {
		return a, err
	}
	return ended(a, cmd.Wait())
}
