// Package main measures the agent beside other programs that do the same work:
// decode a caliper line, keep it durably, publish it at QoS 1, have it out of the
// outbox once it is acknowledged. The script "run" beside it builds them all; the
// programs written for the comparison are in the folder "baseline".
package main

import (
	"flag"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"time"
)

// plan is how much is measured.
type plan struct {
	parts   []string
	rounds  int
	starts  int           // of each kind in a round
	rest    time.Duration // that a program is left alone
	paced   int           // inputs, one each pause
	pause   time.Duration
	burst   int // inputs as fast as they are taken
	backlog int
	outage  time.Duration
}

var (
	full  = plan{rounds: 3, starts: 7, rest: 10 * time.Second, paced: 3000, pause: 20 * time.Millisecond, burst: 20_000, backlog: 100_000, outage: 15 * time.Second}
	quick = plan{rounds: 1, starts: 2, rest: 2 * time.Second, paced: 100, pause: 20 * time.Millisecond, burst: 1000, backlog: 2000, outage: 3 * time.Second}
)

// programs are what is measured, in the order of the table.
func programs(tools, python, scripts string) []program {
	floor, script := filepath.Join(tools, "floor"), filepath.Join(scripts, "script.py")
	agent := func(name string, window int) program {
		return program{name: name, agent: true, command: func(dir, base string, port int) ([]string, error) {
			config := filepath.Join(dir, "bench.toml")
			return []string{filepath.Join(tools, "benchtally"), "run", "--config", config, "--inputs", "-"}, configure(dir, base, port, window)
		}}
	}
	other := func(name string, command ...string) program {
		return program{name: name, command: func(dir, base string, port int) ([]string, error) {
			filled := slices.Clone(command)
			for i, word := range filled {
				filled[i] = strings.NewReplacer("BASE", base, "PORT", strconv.Itoa(port), "FILE", filepath.Join(dir, "kept")).Replace(word)
			}
			return filled, nil
		}}
	}
	return []program{
		other("D", floor, "BASE", "PORT", "FILE", "16"),
		other("D, 1 in flight", floor, "BASE", "PORT", "FILE", "1"),
		other("A1", python, script, "BASE", "PORT", "FILE", "1"),
		other("A100", python, script, "BASE", "PORT", "FILE", "100"),
		agent("benchtally", 1),
		agent("benchtally, 16 in flight", 16),
	}
}

// configure writes the agent's configuration: as it is by default, with the broker.
func configure(dir, base string, port, window int) error {
	above, name := filepath.Dir(base), filepath.Base(base)
	config := fmt.Sprintf(`[press]
name = %q
topic = %q
[switch]
line = "GPIO17"
[caliper]
port = "/dev/caliper0"
[mqtt]
broker = "tcp://127.0.0.1:%d"
window = %d
[page]
listen = "127.0.0.1:0"
[[specs]]
file = "specs.csv"
`, name, above, port, window)
	if err := os.WriteFile(filepath.Join(dir, "bench.toml"), []byte(config), 0o600); err != nil {
		return err
	}
	specs := "spec,cage,diameter,plus,minus,setting\ninvented,C-21,1.204in,0.010in,0.010in,120\n"
	return os.WriteFile(filepath.Join(dir, "specs.csv"), []byte(specs), 0o600)
}

func main() {
	if err := run(os.Args[1:], os.Stdout, os.Stderr); err != nil {
		fmt.Fprintln(os.Stderr, "measure:", err)
		os.Exit(1)
	}
}

func run(args []string, stdout, stderr io.Writer) error {
	flags := flag.NewFlagSet("measure", flag.ContinueOnError)
	tools := flags.String("tools", "", "folder with benchtally and floor")
	scripts := flags.String("scripts", "", "folder with script.py")
	python := flags.String("python", "python3", "interpreter with the usual MQTT client")
	mosquitto := flags.String("mosquitto", "mosquitto", "broker")
	work := flags.String("work", "", "folder on the storage that is meant")
	short := flags.Bool("quick", false, "small numbers, to see that it works")
	only := flags.String("only", "", "names of programs to measure, parted by semicolons; none: all")
	parts := flags.String("parts", "start;pace;drain;live;outage", "what to measure, parted by semicolons")
	rounds := flags.Int("rounds", 0, "how often; 0: three times, or once if quick")
	scale := flags.Float64("scale", 1, "share of inputs, backlog and outage, for less time")
	if err := flags.Parse(args); err != nil {
		return err
	}
	p := full
	if *short {
		p = quick
	}
	if *rounds > 0 {
		p.rounds = *rounds
	}
	if *scale <= 0 || *scale > 1 {
		return fmt.Errorf("--scale %v: want a share, up to 1", *scale)
	}
	p.paced, p.burst = int(float64(p.paced)**scale), int(float64(p.burst)**scale)
	p.backlog, p.outage = int(float64(p.backlog)**scale), time.Duration(float64(p.outage)**scale)
	p.parts = strings.Split(*parts, ";")
	all := programs(*tools, *python, *scripts)
	if *only != "" {
		names := strings.Split(*only, ";")
		all = slices.DeleteFunc(all, func(p program) bool { return !slices.Contains(names, p.name) })
		if len(all) != len(names) {
			return fmt.Errorf("not all of %q are programs", names)
		}
	}
	began, load := time.Now(), loadAverage()
	s := sheet{}
	for round := range p.rounds {
		c := course{plan: p, mosquitto: *mosquitto, dir: filepath.Join(*work, strconv.Itoa(round)), note: func(format string, args ...any) {
			_, _ = fmt.Fprintf(stderr, "%s round %d: %s\n", time.Now().Format(time.TimeOnly), round+1, fmt.Sprintf(format, args...))
		}}
		// Each begins once in a while, so that none is always behind the same.
		turn := slices.Concat(all[round%len(all):], all[:round%len(all)])
		if err := c.round(turn, s); err != nil {
			return fmt.Errorf("round %d: %w", round+1, err)
		}
		if err := os.RemoveAll(c.dir); err != nil {
			return err
		}
	}
	_, err := fmt.Fprintf(stdout, "Measured on %s, %s, %s; load average %s before and %s behind; %s.\n\n%s",
		began.Format(time.DateOnly), machine(), fileSystem(*work), load, loadAverage(), p, s.table(all))
	return err
}

func (p plan) String() string {
	return fmt.Sprintf("medians of %d rounds in turns, each with %d starts of a kind, %d inputs at %.0f a second, %d as fast as they are taken, a backlog of %d and an outage of %v",
		p.rounds, p.starts, p.paced, 1/p.pause.Seconds(), p.burst, p.backlog, p.outage)
}
