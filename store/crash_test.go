package store

import (
	"bufio"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"os/exec"
	"strconv"
	"strings"
	"testing"
	"time"
)

// crashVariable holds the path at which the test binary is to append until killed.
const crashVariable = "BENCHTALLY_STORE_CRASH"

func TestMain(m *testing.M) {
	if path := os.Getenv(crashVariable); path != "" {
		if err := appendUntilKilled(path, os.Stdout); err != nil {
			fmt.Fprintln(os.Stderr, err)
			os.Exit(1)
		}
	}
	os.Exit(m.Run())
}

// appendUntilKilled appends to the store, now and then with a state, a note and a
// moved cursor, prunes, and writes each seq to w as soon as it is acknowledged.
func appendUntilKilled(path string, w io.Writer) error {
	s, err := Open(path, Options{})
	if err != nil {
		return err
	}
	random := rand.New(rand.NewPCG(s.Last(), 7))
	for range 200 {
		b := Batch{Records: shift(s.Last(), 1+random.Uint64N(9))}
		last := seqKey(s.Last() + uint64(len(b.Records)))
		b.Note = last
		if random.IntN(8) == 0 {
			b.State = last
			b.Orders = map[string][]byte{"A-1": last}
		}
		if err := s.Append(b); err != nil {
			return err
		}
		if _, err := fmt.Fprintln(w, s.Last()); err != nil {
			return err
		}
		if err := s.Sent(s.Last() - random.Uint64N(4)); err != nil {
			return err
		}
		if random.IntN(20) == 0 {
			if _, err := s.Prune(shiftRecord(s.Last()).At.Add(-time.Hour), 300); err != nil {
				return err
			}
		}
	}
	time.Sleep(time.Minute) // enough for one life; the end is near
	return errors.New("nobody killed this process")
}

// A process killed at any moment loses nothing that it acknowledged.
func TestKilledWhileAppending(t *testing.T) {
	path := place(t)
	random := rand.New(rand.NewPCG(3, 4))
	ids := map[uint64]string{}
	for round := range 50 {
		acknowledged := killed(t, path, time.Duration(1+random.IntN(25))*time.Millisecond)
		mustBeWhole(t, path)

		s := open(t, path, Options{})
		if s.Last() < acknowledged {
			t.Fatalf("round %d: record %d was acknowledged, the last one kept is %d", round, acknowledged, s.Last())
		}
		first := s.first(t)
		mustHold(t, s, first, s.Last())
		if note, err := s.Note(); err != nil || s.Last() > 0 && binary.BigEndian.Uint64(note) != s.Last() {
			t.Fatalf("round %d: note %x, %v; want %d", round, note, err, s.Last())
		}
		state, seq, err := s.State()
		order, oerr := s.Order("A-1")
		if err := errors.Join(err, oerr); err != nil || seq > 0 && (binary.BigEndian.Uint64(state) != seq || string(order) != string(state)) {
			t.Fatalf("round %d: state %x up to %d, order %x, %v", round, state, seq, order, err)
		}
		if s.SentSeq() > s.Last() {
			t.Fatalf("round %d: sent %d of %d", round, s.SentSeq(), s.Last())
		}
		// An event's id is the same in every run that reads it.
		events, err := s.Unsent(0, 1000)
		if err != nil {
			t.Fatal(err)
		}
		for _, e := range events {
			if was, ok := ids[e.Seq]; ok && was != e.ID {
				t.Fatalf("round %d: record %d was %s, now %s", round, e.Seq, was, e.ID)
			}
			ids[e.Seq] = e.ID
		}
		closed(t, s)
	}
	if n := len(ids); n < 50 {
		t.Errorf("only %d events seen: too few rounds got to append", n)
	}
}

// first is the oldest record kept.
func (s *Store) first(t *testing.T) uint64 {
	t.Helper()
	for r, err := range s.Records(0) {
		if err != nil {
			t.Fatal(err)
		}
		return r.Seq
	}
	return 1
}

// killed starts a process that appends, kills it after a while, and returns the
// last seq that it acknowledged.
func killed(t *testing.T, path string, after time.Duration) uint64 {
	t.Helper()
	cmd := exec.Command(os.Args[0])
	cmd.Env = append(os.Environ(), crashVariable+"="+path)
	var stderr strings.Builder
	cmd.Stderr = &stderr
	out, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	var last uint64
	lines := bufio.NewScanner(out)
	for lines.Scan() {
		seq, err := strconv.ParseUint(lines.Text(), 10, 64)
		if err != nil {
			break // a line cut by the kill
		}
		if last == 0 { // it is on its way: the clock runs from here
			kill := time.AfterFunc(after, func() { _ = cmd.Process.Kill() }) // it may have ended by itself
			defer kill.Stop()
		}
		last = seq
	}
	err = cmd.Wait()
	var exit *exec.ExitError
	if !errors.As(err, &exit) || exit.Exited() {
		t.Fatalf("the process ended by itself: %v: %s", err, stderr.String())
	}
	return last
}
