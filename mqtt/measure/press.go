package main

import (
	"bufio"
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"sync"
	"syscall"
	"time"
)

// program is one of those that are compared.
type program struct {
	name    string
	agent   bool
	command func(dir, base string, port int) ([]string, error)
}

// patience is how long anything may take.
const patience = 10 * time.Minute

// press is a program at work, with all that is seen of it from outside.
type press struct {
	program program
	base    string
	command *exec.Cmd
	stdin   io.WriteCloser
	began   time.Time
	reading sync.WaitGroup

	mu      sync.Mutex
	changed *sync.Cond
	inputs  []time.Time          // when each was handed in
	kept    []kept               // of each, in order
	seen    map[uint64]time.Time // first arrival of an event at the subscriber, by seq
	latest  time.Time            // such arrival
	online  time.Time            // when the status came
	work    map[int]time.Time    // when the work state came first with a setting
	ended   error                // it has ended by itself
}

// kept is a record that was told to be durable.
type kept struct {
	seq uint64
	at  time.Time
}

// newPress starts a program in a folder, which it makes or goes on with.
func newPress(p program, dir, base string, port int, hello ...string) (*press, error) {
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return nil, err
	}
	words, err := p.command(dir, base, port)
	if err != nil {
		return nil, err
	}
	log, err := os.OpenFile(filepath.Join(dir, "log"), os.O_CREATE|os.O_APPEND|os.O_WRONLY, 0o600)
	if err != nil {
		return nil, err
	}
	defer log.Close() //nolint:errcheck // the program's own
	r := &press{program: p, base: base, seen: map[uint64]time.Time{}, work: map[int]time.Time{}}
	r.changed = sync.NewCond(&r.mu)
	r.command = exec.Command(words[0], words[1:]...)
	r.command.Dir, r.command.Stderr = dir, log
	if r.stdin, err = r.command.StdinPipe(); err != nil {
		return nil, err
	}
	stdout, err := r.command.StdoutPipe()
	if err != nil {
		return nil, err
	}
	return r, r.start(stdout, hello)
}

func (r *press) start(stdout io.Reader, hello []string) error {
	r.began = time.Now()
	if err := r.command.Start(); err != nil {
		return err
	}
	r.reading.Go(func() { r.read(stdout) })
	for _, line := range hello {
		if err := r.give(line); err != nil {
			return err
		}
	}
	return nil
}

// read takes what the program prints.
func (r *press) read(stdout io.Reader) {
	in := bufio.NewReaderSize(stdout, 1<<20)
	for {
		line, err := in.ReadSlice('\n')
		now := time.Now()
		r.mu.Lock()
		if err != nil {
			r.ended = fmt.Errorf("%s has ended: see %s", r.program.name, filepath.Join(r.command.Dir, "log"))
		} else if bytes.Contains(line, []byte(`"kind":"reading"`)) {
			var seq uint64
			if _, err := fmt.Sscanf(string(line), `{"seq":%d,`, &seq); err == nil {
				r.kept = append(r.kept, kept{seq, now})
			}
		}
		r.changed.Broadcast()
		r.mu.Unlock()
		if err != nil {
			return
		}
	}
}

// hear takes what came to the subscriber, if it is of this press.
func (r *press) hear(topic, payload []byte, at time.Time) {
	rest, ok := bytes.CutPrefix(topic, []byte(r.base+"/"))
	if !ok {
		return
	}
	r.mu.Lock()
	defer r.mu.Unlock()
	switch {
	case bytes.Equal(rest, []byte("event/reading")):
		seq, ok := sequence(payload)
		if _, again := r.seen[seq]; !ok || again {
			return
		}
		r.seen[seq], r.latest = at, at
	case bytes.Equal(rest, []byte("status")):
		r.online = at
	case bytes.Equal(rest, []byte("state/work")):
		var state struct{ Setting *int }
		if json.Unmarshal(payload, &state) != nil || state.Setting == nil {
			return
		}
		if _, again := r.work[*state.Setting]; !again {
			r.work[*state.Setting] = at
		}
	default:
		return
	}
	r.changed.Broadcast()
}

// frame is the tape line of the nth input. Neighbours differ, for the same reading
// twice in a moment may be taken for one.
func frame(n int) string { return fmt.Sprintf(`{"t":0,"text":"+1.%04d\r\n"}`, n%8000) }

// input hands in readings, the next ones.
func (r *press) input(n int) error {
	r.mu.Lock()
	next := len(r.inputs)
	r.mu.Unlock()
	if n == 1 {
		return r.give(frame(next))
	}
	lines := bufio.NewWriterSize(r.stdin, 1<<16)
	now := time.Now()
	r.mu.Lock()
	for range n {
		r.inputs = append(r.inputs, now)
	}
	r.mu.Unlock()
	for i := range n {
		if _, err := lines.WriteString(frame(next+i) + "\n"); err != nil {
			return err
		}
	}
	return lines.Flush()
}

// give hands in the line of a reading.
func (r *press) give(line string) error {
	r.mu.Lock()
	r.inputs = append(r.inputs, time.Now())
	r.mu.Unlock()
	return r.act(line)
}

// act hands in the line of something else.
func (r *press) act(line string) error {
	_, err := io.WriteString(r.stdin, line+"\n")
	return err
}

// until waits for something that lies under the lock.
func (r *press) until(what string, is func() bool) error {
	late := time.AfterFunc(patience, func() {
		r.mu.Lock()
		r.ended = errors.New("it takes too long")
		r.mu.Unlock()
		r.changed.Broadcast()
	})
	defer late.Stop()
	r.mu.Lock()
	defer r.mu.Unlock()
	for !is() {
		if r.ended != nil {
			return fmt.Errorf("%s: wait for %s (%d handed in, %d kept, %d published): %w", r.program.name, what, len(r.inputs), len(r.kept), len(r.seen), r.ended)
		}
		r.changed.Wait()
	}
	return nil
}

func (r *press) untilKept() error {
	return r.until("the last record", func() bool { return len(r.kept) == len(r.inputs) })
}

func (r *press) untilSeen(n int) error {
	return r.until("events", func() bool { return len(r.seen) >= n })
}

// delays are the times from handing in to keeping and to arriving of the inputs from
// one on, in milliseconds.
func (r *press) delays(from int) (durable, seen []float64) {
	r.mu.Lock()
	defer r.mu.Unlock()
	for i := from; i < len(r.inputs); i++ {
		durable = append(durable, ms(r.kept[i].at.Sub(r.inputs[i])))
		seen = append(seen, ms(r.seen[r.kept[i].seq].Sub(r.inputs[i])))
	}
	return durable, seen
}

// arrivals are the first and the last arrival of the events of some inputs.
func (r *press) arrivals(from, to int) (first, last time.Time) {
	r.mu.Lock()
	defer r.mu.Unlock()
	return r.seen[r.kept[from].seq], r.seen[r.kept[to-1].seq]
}

// stop ends the program.
func (r *press) stop() error {
	_ = r.command.Process.Signal(syscall.SIGTERM) // it may have ended
	ended := make(chan struct{})
	late := time.AfterFunc(30*time.Second, func() { _ = r.command.Process.Kill() })
	go func() {
		r.reading.Wait()
		_ = r.command.Wait() // killed or not, it is done
		close(ended)
	}()
	<-ended
	if !late.Stop() {
		return fmt.Errorf("%s does not end", r.program.name)
	}
	return nil
}

func ms(d time.Duration) float64 { return float64(d) / float64(time.Millisecond) }
