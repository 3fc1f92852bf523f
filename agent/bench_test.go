package main

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"testing"
	"time"

	"benchtally/agent/config"
	"benchtally/agent/crimp"
	"benchtally/agent/station"
	"benchtally/agent/tape"
	"benchtally/store"
)

// pieces is a tape of n pieces within limits: a stroke and three readings each.
func pieces(n int) []byte {
	var b bytes.Buffer
	b.WriteString(`{"tape":1,"at":"2026-03-02T06:00:00Z"}` + "\n")
	fmt.Fprintf(&b, "{\"t\":0,\"do\":\"start\",\"order\":\"A-1\",\"spec\":\"hs-08\",\"quantity\":%d,\"setting\":120}\n", n)
	t := 1.0
	for i := range n {
		fmt.Fprintf(&b, "{\"t\":%.3f,\"level\":0}\n{\"t\":%.3f,\"level\":1}\n", t, t+0.8)
		for place := range 3 {
			fmt.Fprintf(&b, "{\"t\":%.3f,\"text\":\"+1.%04d\\r\\n\"}\n", t+3+2*float64(place), 1980+(i*7+place*11)%40)
		}
		t += 12
	}
	return b.Bytes()
}

// BenchmarkReplay is a whole tape through the whole pipeline, per input line.
func BenchmarkReplay(b *testing.B) {
	for _, kept := range []bool{false, true} {
		b.Run(fmt.Sprintf("store=%t", kept), func(b *testing.B) {
			dir, cfg := shop(b, "")
			name := filepath.Join(dir, "tape.jsonl")
			lines := b.N + 10
			write(b, name, string(pieces(lines/5)))
			args := []string{"replay", name, "--config", cfg}
			if kept {
				args = append(args, "--store", filepath.Join(dir, "bench.db"))
			}
			b.ResetTimer()
			if code := run(env{context.Background(), nil, io.Discard, os.Stderr}, args); code != exitDone {
				b.Fatal(code)
			}
			b.ReportMetric(float64(b.N)/b.Elapsed().Seconds(), "lines/s")
		})
	}
}

// BenchmarkParse is one tape line.
func BenchmarkParse(b *testing.B) {
	for name, line := range map[string]string{
		"level": `{"t":1000.123,"level":0}`, "text": `{"t":1000.123,"text":"+1.2040\r\n"}`,
		"action": `{"t":1000.123,"do":"set","setting":85}`,
	} {
		b.Run(name, func(b *testing.B) {
			text := []byte(line)
			b.ReportAllocs()
			for b.Loop() {
				if _, err := tape.Parse(text); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

// BenchmarkInputToDurable is a reading's way from the bench to the disk and back
// to who waits for it.
func BenchmarkInputToDurable(b *testing.B) {
	dir, name := shop(b, "")
	cfg, err := config.Load(name)
	if err != nil {
		b.Fatal(err)
	}
	kept, err := store.Open(filepath.Join(dir, "bench.db"), store.Options{})
	if err != nil {
		b.Fatal(err)
	}
	defer func() { _ = kept.Close() }()
	s, err := station.Open(&keeper{Store: kept}, stationRules(cfg))
	if err != nil {
		b.Fatal(err)
	}
	at := time.Date(2026, 3, 2, 6, 0, 0, 0, time.UTC)
	for i := 0; b.Loop(); i++ {
		at = at.Add(time.Second)
		value := crimp.Length(1980+i%40) * crimp.Inch / 10_000
		if _, err := s.Do(station.Reading{At: at, Value: value, Raw: "+1.2000"}); err != nil {
			b.Fatal(err)
		}
	}
}

// BenchmarkStart opens a store with so many records and folds its station.
func BenchmarkStart(b *testing.B) {
	for _, n := range []int{10_000, 100_000, 1_000_000} {
		b.Run(fmt.Sprintf("records=%d", n), func(b *testing.B) {
			if n > 100_000 && testing.Short() {
				b.Skip("a million records take a while to make")
			}
			dir, name := shop(b, "")
			tape, path := filepath.Join(dir, "tape.jsonl"), filepath.Join(dir, "bench.db")
			write(b, tape, string(pieces(n/6)))
			if code := run(env{context.Background(), nil, io.Discard, os.Stderr}, []string{"replay", tape, "--config", name, "--store", path}); code != exitDone {
				b.Fatal(code)
			}
			cfg, err := config.Load(name)
			if err != nil {
				b.Fatal(err)
			}
			for b.Loop() {
				kept, err := store.Open(path, store.Options{})
				if err != nil {
					b.Fatal(err)
				}
				if _, err := station.Open(&keeper{Store: kept}, stationRules(cfg)); err != nil {
					b.Fatal(err)
				}
				if err := kept.Close(); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
