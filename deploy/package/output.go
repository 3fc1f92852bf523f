package main

import (
	"bytes"
	"context"
	"fmt"
	"os"
	"os/exec"
	"strings"
)

// output runs a program in the folder dir, with env beyond the environment of
// this one, and returns what it prints. The error has what it complained of.
func output(ctx context.Context, dir string, env []string, name string, args ...string) (string, error) {
	var out, errs bytes.Buffer
	c := exec.CommandContext(ctx, name, args...)
	c.Dir, c.Env, c.Stdout, c.Stderr = dir, append(os.Environ(), env...), &out, &errs
	if err := c.Run(); err != nil {
		what := strings.TrimSpace(errs.String())
		if what == "" {
			what = err.Error()
		}
		return "", fmt.Errorf("%s %s: %s", name, args[0], what)
	}
	return out.String(), nil
}
