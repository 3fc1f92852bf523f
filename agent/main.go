// Command benchtally counts the strokes of a hose crimping press, takes the
// readings of the caliper beside it, judges each crimp, advises the setting and
// keeps and publishes all of it. It advises only: it reads inputs and has no
// output that could reach the press.
package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/signal"
	"syscall"

	"github.com/alecthomas/kong"

	"benchtally/agent/config"
	"benchtally/agent/tape"
)

// version is set by the build: -ldflags "-X main.version=…".
var version = "0.1.0"

// Exit codes.
const (
	exitDone  = 0
	exitFault = 1 // a fault while working
	exitUsage = 2 // wrong usage or invalid input
)

const about = `Benchtally counts the strokes of a hose crimping press, takes the caliper's readings,
judges each crimp and advises the setting. It advises only: the hose and fitting maker's
current crimp specification, local codes and trained people decide.`

// env is what a command may use of the outside.
type env struct {
	ctx    context.Context
	stdin  io.Reader
	stdout io.Writer
	stderr io.Writer
}

// commands are all commands with their flags.
type commands struct {
	Run        runCommand        `cmd:"" help:"Run the agent at the press."`
	Demo       demoCommand       `cmd:"" help:"Run the agent on a simulated press and caliper, with a broker and the page."`
	Replay     replayCommand     `cmd:"" help:"Run a tape of inputs through the agent, as fast as it goes."`
	Check      checkCommand      `cmd:"" help:"Check a configuration and the specs that it names."`
	Init       initCommand       `cmd:"" help:"Write a commented configuration, a specs file and the installation files."`
	Status     statusCommand     `cmd:"" help:"Show how the running agent, or its store, stands."`
	Log        logCommand        `cmd:"" help:"Show the records."`
	Ports      portsCommand      `cmd:"" help:"List the serial ports and input lines found here."`
	Listen     listenCommand     `cmd:"" help:"Name the caliper format seen on a port and show each reading."`
	Verify     verifyCommand     `cmd:"" help:"Check a store whole."`
	Backup     backupCommand     `cmd:"" help:"Write a consistent copy of the store, also while the agent runs."`
	Restore    restoreCommand    `cmd:"" help:"Put a backup in the place of the store; the agent must be stopped."`
	Rescue     rescueCommand     `cmd:"" help:"Make a new store of what is left in a damaged one."`
	Support    supportCommand    `cmd:"" help:"Gather what somebody needs who helps from elsewhere, without anything secret."`
	Resend     resendCommand     `cmd:"" help:"Publish kept events again."`
	Forget     forgetCommand     `cmd:"" help:"Clear what the press has left at its broker, when it is moved or taken out of service."`
	Topics     topicsCommand     `cmd:"" help:"Describe what the press publishes: topics, messages, schemas."`
	Do         doCommand         `cmd:"" help:"Do at the running agent what an operator does at the page."`
	Operator   operatorCommand   `cmd:"" help:"Say who may sign in at the page: operators, their PINs and badges."`
	Paper      paperCommand      `cmd:"" help:"Write the certificate, labels, job card or table of an order, the labels of the shop, or the hand-over of a shift."`
	Judge      judgeCommand      `cmd:"" help:"Judge one crimp without hardware."`
	Budget     budgetCommand     `cmd:"" help:"Show the uncertainty budget and guard band of each specification."`
	Chart      chartCommand      `cmd:"" help:"Chart a series of measured values: single values, weighted average or cumulative sums."`
	Capability capabilityCommand `cmd:"" help:"Say how measured values lie between their limits."`
	Gauge      gaugeCommand      `cmd:"" help:"Judge a caliper, and those who read it, by a study."`
	Trend      trendCommand      `cmd:"" help:"Fit a line to points and say where it meets a limit."`

	Version kong.VersionFlag `help:"Show the version."`
}

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	code := run(env{ctx, os.Stdin, os.Stdout, os.Stderr}, os.Args[1:])
	stop()
	os.Exit(code)
}

// exited carries an exit that the command line's parser asks for.
type exited int

// run parses the command line, does what it asks and returns the exit code.
func run(e env, args []string) (code int) {
	defer func() {
		if v := recover(); v != nil {
			asked, ok := v.(exited)
			if !ok {
				panic(v)
			}
			code = int(asked)
		}
	}()
	var c commands
	parser := kong.Must(&c,
		kong.Name("benchtally"), kong.Description(about), kong.UsageOnError(),
		kong.ConfigureHelp(kong.HelpOptions{Compact: true}),
		kong.Writers(e.stdout, e.stderr), kong.Vars{"version": version, "config": defaultConfig()},
		kong.Exit(func(code int) { panic(exited(code)) }),
		kong.Bind(e))
	chosen, err := parser.Parse(args)
	if err != nil {
		_, _ = fmt.Fprintf(e.stderr, "benchtally: %s\nRun \"benchtally --help\", or a command with --help, for what there is.\n", err)
		return exitUsage
	}
	if err := chosen.Run(e); err != nil {
		_, _ = fmt.Fprintf(e.stderr, "benchtally: %s\n", err)
		return exitCode(err)
	}
	return exitDone
}

// invalid is an input that cannot be worked with: exit code 2.
type invalid struct{ error }

func (i invalid) Unwrap() error { return i.error }

func exitCode(err error) int {
	var faults config.Faults
	var bad invalid
	var line *tape.Error
	switch {
	case errors.As(err, &faults), errors.As(err, &bad), errors.As(err, &line):
		return exitUsage
	default:
		return exitFault
	}
}
