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
// gives the lines that it prints, "name value". Without R on this machine the
// test is skipped, or fails where the variable CI is set.
func fromR(t *testing.T, script string, args ...string) map[string]float64 {
	t.Helper()
	program, err := exec.LookPath("Rscript")
	if err != nil {
		if os.Getenv("CI") != "" {
			t.Fatal("Rscript is not installed; it is needed where CI is set")
		}
		t.Skip("Rscript is not installed")
	}
	ctx, cancel := context.WithTimeout(t.Context(), time.Minute)
	defer cancel()
	script = path.Join("testdata/references/r", script)
	r := exec.CommandContext(ctx, program, append([]string{"--vanilla", script}, args...)...)
	r.Dir = "../.."
	r.WaitDelay = time.Second
	var out, errs bytes.Buffer
	r.Stdout, r.Stderr = &out, &errs
	if err := r.Run(); err != nil {
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
