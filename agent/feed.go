package main

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"time"

	"benchtally/agent/config"
	"benchtally/agent/record"
	"benchtally/agent/station"
	"benchtally/agent/tape"
)

// maxInput bounds one line of live inputs, in bytes.
const maxInput = 64 << 10

// feed takes tape lines from r instead of hardware. The time is now. A line that
// cannot be read becomes a refused record and the next one is taken. It returns
// at the end of the lines.
func feed(ctx context.Context, r io.Reader, c *config.Config, now func() time.Time, b *bench) error {
	in, err := newIntake(c, now(), true)
	if err != nil {
		return err
	}
	lines := make(chan arrived, 256)
	failed := make(chan error, 1)
	go func() {
		failed <- readLines(ctx, r, lines)
		close(lines)
	}()
	give := func(inputs []station.Input) {
		for _, i := range inputs {
			b.put(ctx, i)
		}
	}
	timer := time.NewTimer(time.Hour)
	defer timer.Stop()
	for {
		timer.Reset(in.wait(now()))
		select {
		case l, open := <-lines:
			switch {
			case !open:
				give(in.end(now()))
				return <-failed
			case l.err != nil:
				give(in.idle(now()))
				give([]station.Input{station.Refusal{At: now(), Source: record.Action, Reason: l.err.Error(), Raw: l.raw}})
			default:
				give(in.take(l.line, now()))
			}
		case <-timer.C:
			give(in.idle(now()))
		case <-ctx.Done():
			return nil
		}
	}
}

// arrived is one line of inputs, or why it cannot be read.
type arrived struct {
	line tape.Line
	raw  string
	err  error
}

// readLines reads until r ends. It is left behind, waiting for r, when ctx ends
// first: a read cannot be broken off.
func readLines(ctx context.Context, r io.Reader, out chan<- arrived) error {
	buffered := bufio.NewReaderSize(r, maxInput)
	for n := 1; ; n++ {
		text, err := buffered.ReadSlice('\n')
		long := errors.Is(err, bufio.ErrBufferFull)
		var l arrived
		if long {
			l = arrived{raw: string(text[:80]), err: fmt.Errorf("input line %d is longer than %d bytes", n, maxInput)}
			for errors.Is(err, bufio.ErrBufferFull) {
				_, err = buffered.ReadSlice('\n')
			}
		} else if trimmed := trim(text); len(trimmed) > 0 && !(n == 1 && tape.IsHeader(trimmed)) {
			if l.line, l.err = tape.Parse(trimmed); l.err != nil {
				l.raw, l.err = string(trimmed), fmt.Errorf("input line %d: %w", n, l.err)
			}
		}
		if long || l.raw != "" || l.line.Level != nil || l.line.Rest != nil || l.line.Retracted != nil || l.line.Bytes != nil || l.line.Action != nil {
			select {
			case out <- l:
			case <-ctx.Done():
				return nil
			}
		}
		if errors.Is(err, io.EOF) {
			return nil
		}
		if err != nil {
			return fmt.Errorf("read the inputs: %w", err)
		}
	}
}

func trim(b []byte) []byte {
	for len(b) > 0 && (b[len(b)-1] == '\n' || b[len(b)-1] == '\r' || b[len(b)-1] == ' ') {
		b = b[:len(b)-1]
	}
	return b
}
