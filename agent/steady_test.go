package main

import (
	"bytes"
	"context"
	"errors"
	"log/slog"
	"net"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"benchtally/agent/crimp"
	"benchtally/agent/record"
	"benchtally/agent/station"
	"benchtally/caliper"
)

// logDay is a whole day of a bench before a service manager, as its log has it.
func logDay(t *testing.T, day func(ctx context.Context, b *bench, log *gatedLog)) (lines []string) {
	t.Helper()
	synctest.Test(t, func(t *testing.T) {
		var out bytes.Buffer
		before := slog.Default()
		end := logTo(&out)
		defer slog.SetDefault(before)
		log := &gatedLog{gate: &gate{}}
		s, err := station.Open(log, station.Rules{Scale: crimp.Scale{Step: crimp.Thousandth, Highest: 999}, Places: 3})
		if err != nil {
			t.Fatal(err)
		}
		b := newBench(s, time.Now, func(records []record.Record, _ station.View) { logFaults(records) })
		ended := make(chan error, 1)
		go func() { ended <- b.run(t.Context()) }()
		day(t.Context(), b, log)
		log.bad.Store(false)
		time.Sleep(2 * storeRetry)
		b.end()
		if err := <-ended; err != nil {
			t.Error(err)
		}
		end()
		time.Sleep(steadyHour) // the last of its timers has gone off
		synctest.Wait()
		lines = strings.Split(strings.TrimSuffix(out.String(), "\n"), "\n")
		if out.Len() == 0 {
			lines = nil
		}
	})
	return lines
}

// TestLogOfABadDay: whatever fails again and again, a day's log is some thousand
// lines at most, tells of every time, and ends with how things stand.
func TestLogOfABadDay(t *testing.T) {
	const day = 24 * time.Hour
	// An hour's lines and the one that sums up, of each of two messages, and a few
	// more where an hour begins anew.
	const most = 2*(steadyLines+1)*24 + 50
	for _, c := range []struct {
		name       string
		most       int
		happen     func(ctx context.Context, b *bench, log *gatedLog)
		told, last string // the message that is counted, and how the log ends
		times      int
	}{
		{"a quiet day", 0, func(context.Context, *bench, *gatedLog) { time.Sleep(day) }, "", "", 0},
		{"a cable that flaps each second", most, func(ctx context.Context, b *bench, _ *gatedLog) {
			for n := range int(day / time.Second) {
				b.put(ctx, station.Fault{At: time.Now(), Source: record.Caliper, On: n%2 == 0, Reason: "the cable"})
				time.Sleep(time.Second)
			}
		}, "a fault begins", "a fault ends", int(day / (2 * time.Second))},
		{"a broker that comes and goes each second", most, func(context.Context, *bench, *gatedLog) {
			log := slog.With("broker", "tcp://broker:1883")
			for n := range int(day / time.Second) {
				if n%2 == 0 {
					log.Warn("broker away", "reason", "attempt "+strconv.Itoa(n))
				} else {
					log.Info("broker connected", "session", n)
				}
				time.Sleep(time.Second)
			}
		}, "broker away", "broker connected", int(day / (2 * time.Second))},
		{"a card that fails every other minute", most, func(ctx context.Context, b *bench, log *gatedLog) {
			for n := range int(day / time.Minute) {
				log.bad.Store(n%2 == 0)
				b.put(ctx, station.Action{At: time.Now(), Do: station.DoLoad, Cage: "C-21"})
				time.Sleep(2 * time.Second)
				log.bad.Store(false)
				time.Sleep(time.Minute - 2*time.Second)
			}
		}, "nothing can be kept", "records are kept again", int(day / (2 * time.Minute))},
		{"a card that fails for half an hour", 2, func(ctx context.Context, b *bench, log *gatedLog) {
			log.bad.Store(true)
			for range 30 { // a day of it takes minutes here
				b.put(ctx, station.Action{At: time.Now(), Do: station.DoLoad, Cage: "C-21"})
				time.Sleep(time.Minute)
			}
		}, "nothing can be kept", "records are kept again", 1},
		{"garbage from the caliper all day", most, func(ctx context.Context, b *bench, _ *gatedLog) {
			reader, err := caliper.NewReader(caliper.Settings{Format: "auto", Unit: crimp.Inches})
			if err != nil {
				t.Error(err)
				return
			}
			troubles := causes{}
			for n := range int(day / time.Second) {
				for _, e := range reader.Feed([]byte("\x00?"+strconv.Itoa(n*7919)+"~\r\n"), time.Now()) {
					b.put(ctx, troubles.input(e))
				}
				time.Sleep(time.Second)
			}
		}, "", "", 0},
	} {
		t.Run(c.name, func(t *testing.T) {
			lines := logDay(t, c.happen)
			bytes := 0
			for _, l := range lines {
				bytes += len(l) + 1
			}
			t.Logf("%d lines, %d bytes", len(lines), bytes)
			if len(lines) > c.most {
				t.Errorf("%d lines, at most %d are wanted; the last:\n%s", len(lines), c.most, lines[len(lines)-1])
			}
			if c.told == "" {
				return
			}
			if told := timesTold(t, lines, c.told); told != c.times {
				t.Errorf("%q is told of %d times, it came %d times", c.told, told, c.times)
			}
			if last := lines[len(lines)-1]; !strings.Contains(last, c.last) {
				t.Errorf("the log ends with %s", last)
			}
		})
	}
}

// timesTold is how often a message came, as the log tells.
func timesTold(t *testing.T, lines []string, message string) (n int) {
	t.Helper()
	times := regexp.MustCompile(` times=(\d+) within=1h0m0s$`)
	for _, l := range lines {
		if !strings.Contains(l, `msg="`+message) {
			continue
		}
		n++
		if m := times.FindStringSubmatch(l); m != nil {
			more, err := strconv.Atoi(m[1])
			if err != nil {
				t.Fatal(err)
			}
			n += more - 1
		}
	}
	return n
}

// TestSteadyLetsOtherThingsThrough: what comes too often holds nothing else back,
// not even of the same message about another device.
func TestSteadyLetsOtherThingsThrough(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var out bytes.Buffer
		s := newSteady(slog.NewTextHandler(&out, nil))
		log := slog.New(s).With("press", "north-bench").WithGroup("g")
		for range 100 {
			log.Warn("a fault begins", "source", "caliper")
		}
		log.Warn("a fault begins", "source", "switch")
		log.Error("a store fails", "err", errors.New("input/output error"))
		log.Debug("nobody asked")
		if n := strings.Count(out.String(), "\n"); n != steadyLines+2 {
			t.Errorf("%d lines:\n%s", n, out.String())
		}
		s.flush()
		if want := "press=north-bench g.source=caliper g.times=80 g.within=1h0m0s\n"; !strings.HasSuffix(out.String(), want) {
			t.Errorf("ends with %s", out.String()[max(0, out.Len()-200):])
		}
		time.Sleep(2 * steadyHour)
		out.Reset()
		log.Warn("a fault begins", "source", "caliper")
		if n := strings.Count(out.String(), "\n"); n != 1 {
			t.Errorf("two hours later: %s", out.String())
		}
	})
}

// TestFailingStartIsNotHurried: under a service manager a start that fails says why
// at once and ends later; a wrong configuration ends at once, and so does one that
// is told to stop.
func TestFailingStartIsNotHurried(t *testing.T) {
	path := filepath.Join(t.TempDir(), "notify")
	manager, err := net.ListenUnixgram("unixgram", &net.UnixAddr{Name: path, Net: "unixgram"})
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = manager.Close() }()
	t.Setenv("NOTIFY_SOCKET", path)
	restartLater(t.Context(), invalid{errors.New("line 5 is wrong")})
	ctx, stop := context.WithCancel(t.Context())
	done := make(chan struct{})
	go func() { defer close(done); restartLater(ctx, errors.New("bench.db is damaged:\nkeep it")) }()
	b := make([]byte, 256)
	n, err := manager.Read(b)
	if got := string(b[:n]); err != nil || got != "STATUS=cannot start, and is tried again each minute: bench.db is damaged: keep it" {
		t.Errorf("told %q, %v", got, err)
	}
	select {
	case <-done:
		t.Error("it did not wait")
	default:
	}
	stop()
	<-done
}
