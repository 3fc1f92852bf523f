package main

import (
	"context"

	"golang.org/x/sync/errgroup"

	"benchtally/agent/label"
	"benchtally/agent/panel"
	"benchtally/agent/record"
	"benchtally/agent/station"
	"benchtally/sensors/scanner"
)

// watchScanner brings the labels that are read by a scanner on a port of its own.
func (a *agent) watchScanner() func(context.Context) error {
	part := a.source("scanner", portLimit)
	return func(ctx context.Context) error {
		defer part.end()
		events := make(chan scanner.Event, 16)
		var watch errgroup.Group
		watch.Go(func() error {
			defer close(events)
			return scanner.Run(ctx, scannerPort(a.cfg), part.through(a.now), events)
		})
		for e := range events {
			a.fromScanner(ctx, e)
		}
		return watch.Wait()
	}
}

// fromScanner does what a scanner's event asks for. There is nobody to answer but
// the board.
func (a *agent) fromScanner(ctx context.Context, e scanner.Event) {
	switch e.Kind {
	case scanner.Code:
		got, err := a.scan(ctx, e.Text, "")
		if err != nil {
			got = panel.Scanned{Refused: err.Error()}
		}
		a.health.board.Tell(got)
	case scanner.Refused:
		if label.Secret(e.Raw) {
			e.Raw = ""
		}
		a.bench.put(ctx, station.Refusal{At: e.At, Source: record.Scanner, Reason: e.Reason, Raw: e.Raw})
		a.health.board.Tell(panel.Scanned{Refused: e.Reason})
	case scanner.Fault, scanner.Clear:
		a.bench.put(ctx, station.Fault{At: e.At, Source: record.Scanner, On: e.Kind == scanner.Fault, Reason: e.Reason})
	}
}
