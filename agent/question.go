package main

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"strings"

	"golang.org/x/sys/unix"
)

// questions asks a person, one line for each answer. When the answers end, as in a
// script, each question is answered by its default.
type questions struct {
	in      *bufio.Reader
	out     io.Writer
	from    io.Reader
	ended   bool
	pending chan typed // of a line that is being read; nil: none is
}

type typed struct {
	line string
	err  error
}

func newQuestions(e env) *questions {
	return &questions{in: bufio.NewReader(io.LimitReader(e.stdin, 1<<16)), out: e.stderr, from: e.stdin}
}

func (q *questions) say(format string, args ...any) {
	_, _ = fmt.Fprintf(q.out, format+"\n", args...) // nobody misses what nobody reads
}

// ask gives the answer without blanks around it, fallback if it is empty. Only ctx
// ends it with an error.
func (q *questions) ask(ctx context.Context, fallback, format string, args ...any) (string, error) {
	_, _ = fmt.Fprintf(q.out, format+" ", args...)
	if q.ended {
		_, _ = fmt.Fprintln(q.out)
		return fallback, ctx.Err()
	}
	if q.pending == nil {
		// Reading cannot be broken off. After Ctrl-C the program ends with this
		// goroutine still in it.
		q.pending = make(chan typed, 1)
		go func(to chan<- typed) {
			line, err := q.in.ReadString('\n')
			to <- typed{line, err}
		}(q.pending)
	}
	select {
	case a := <-q.pending:
		q.pending = nil
		q.ended = a.err != nil
		if a.err != nil && !errors.Is(a.err, io.EOF) {
			q.say("\nNo more answers: %s", a.err)
		}
		if text := strings.TrimSpace(a.line); text != "" {
			return text, ctx.Err()
		}
		return fallback, ctx.Err()
	case <-ctx.Done():
		_, _ = fmt.Fprintln(q.out)
		return "", ctx.Err()
	}
}

// agreed is the answer to a question that is answered by yes or no.
func (q *questions) agreed(ctx context.Context, fallback bool, format string, args ...any) (bool, error) {
	hint, word := "[y/N]", "n"
	if fallback {
		hint, word = "[Y/n]", "y"
	}
	text, err := q.ask(ctx, word, format+" "+hint, args...)
	return strings.HasPrefix(strings.ToLower(text), "y"), err
}

// forget throws away what was typed so far: a caliper that types like a keyboard has
// typed its reading here as well.
func (q *questions) forget() {
	file, ok := q.from.(*os.File)
	if !ok || q.in.Buffered() > 0 {
		return
	}
	conn, err := file.SyscallConn()
	if err != nil {
		return
	}
	_ = conn.Control(func(fd uintptr) {
		_ = unix.IoctlSetInt(int(fd), unix.TCFLSH, unix.TCIFLUSH) // what is no terminal has nothing to forget
	})
}
