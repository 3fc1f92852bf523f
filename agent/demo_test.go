package main

import (
	"strings"
	"testing"
	"time"

	"benchtally/agent/config"
	"benchtally/agent/crimp"
	"benchtally/agent/record"
	"benchtally/agent/rehearsal"
)

// TestDemoCountsPiecesOnce: a piece that is passed over and measured later, or
// measured twice, is counted by what was said of it last.
func TestDemoCountsPiecesOnce(t *testing.T) {
	plant, err := rehearsal.StartBroker("127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer func() {
		if err := plant.Close(); err != nil {
			t.Error(err)
		}
	}()
	var out strings.Builder
	told := newTeller(&out, false, time.Now)
	for _, v := range []struct {
		piece   string
		crimp   int
		outcome crimp.Outcome
	}{
		{"A/1", 1, crimp.Recrimp}, {"A/1", 2, crimp.Pass}, {"A/2", 1, crimp.Unsure}, {"A/3", 1, crimp.Unsure},
		{"A/2", 1, crimp.Pass}, {"A/2", 2, crimp.Pass}, {"A/4", 1, crimp.Scrap},
	} {
		told.records([]record.Record{{Kind: record.Verdict, Piece: v.piece, Crimp: v.crimp, Outcome: v.outcome}})
	}
	told.conclude(&config.Config{}, plant)
	if want := "2 pieces within limits, 2 crimped again, 1 scrapped, 1 not judged\n"; !strings.Contains(out.String(), want) {
		t.Errorf("told %q, want %q", out.String(), want)
	}
}
