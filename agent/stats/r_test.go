package stats

import (
	"bufio"
	"bytes"
	"context"
	"errors"
	"math"
	"os"
	"os/exec"
	"path"
	"strconv"
	"strings"
	"testing"
	"time"
)

// fromR runs a script of testdata/references/r from the root of the module and
// gives the lines that it prints, "name value". Without R on this machine, or a
// package of R that the script needs (exit status 77), the test is skipped, or
// fails where the variable CI is set; it is cut by -short.
func fromR(t *testing.T, script string, args ...string) map[string]float64 {
	t.Helper()
	if testing.Short() {
		t.Skip("R takes a second or two")
	}
	missing := func(what string) {
		t.Helper()
		if os.Getenv("CI") != "" {
			t.Fatal(what + " is not installed; it is needed where CI is set")
		}
		t.Skip(what + " is not installed")
	}
	program, err := exec.LookPath("Rscript")
	if err != nil {
		missing("Rscript")
	}
	ctx, cancel := context.WithTimeout(t.Context(), time.Minute)
	defer cancel()
	script = path.Join("testdata/references/r", script)
	r := exec.CommandContext(ctx, program, append([]string{"--vanilla", script}, args...)...)
	r.Dir = "../.."
	r.WaitDelay = time.Second
	var out, errs bytes.Buffer
	r.Stdout, r.Stderr = &out, &errs
	err = r.Run()
	if r.ProcessState != nil && r.ProcessState.ExitCode() == 77 {
		missing("a package of R that " + script + " needs")
	}
	if err != nil {
		t.Fatalf("%s: %v\n%s", script, errors.Join(err, ctx.Err()), errs.String())
	}
	values := map[string]float64{}
	for lines := bufio.NewScanner(&out); lines.Scan(); {
		name, written, ok := strings.Cut(lines.Text(), " ")
		value, err := strconv.ParseFloat(strings.TrimSpace(written), 64)
		if _, twice := values[name]; !ok || err != nil || math.IsNaN(value) || twice {
			t.Fatalf("%s prints %q, want a new name and a number", script, lines.Text())
		}
		values[name] = value
	}
	if len(values) == 0 {
		t.Fatalf("%s prints nothing\n%s", script, errs.String())
	}
	return values
}
