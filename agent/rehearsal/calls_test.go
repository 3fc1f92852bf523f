package rehearsal

import (
	"testing"
	"time"

	"benchtally/agent/crimp"
	"benchtally/agent/record"
)

// A steady plant should call its operator no more than once in ten minutes (EEMUA
// publication 191, second-hand).
const callsAnHour = 6

// disturbed is how long the shift's beginning is, in which whatever can happen
// does: no steady work.
const disturbed = time.Hour

// calls says whether a record brings a call to the board that wants more than the
// next stroke or reading: a crimp out of its limits or unsure, a device that is
// away, care that fell due, jaws that do not close at zero.
func calls(r record.Record) bool {
	switch r.Kind {
	case record.Verdict:
		return r.Outcome != crimp.Pass && r.Mean != nil // a crimp left without its readings is not in hand any more
	case record.Fault:
		return r.State == record.On && r.Source != record.Broker // the work goes on without it
	case record.Care, record.Standard:
		return r.State == record.Due
	case record.Zero:
		return !*r.OK
	case record.Start, record.Set, record.Load, record.Retract, record.Finish, record.Stroke, record.Reading, record.Correction,
		record.Undo, record.Dry, record.Same, record.Measure, record.Operator, record.Turn, record.Lot, record.Check,
		record.Proof, record.Scrap, record.Refused:
	}
	return false
}

// TestCallsStayFew: in steady work the board does not cry so often that nobody
// listens.
func TestCallsStayFew(t *testing.T) {
	k, err := shift(t, 60, 10*time.Hour, nil)
	if err != nil {
		t.Fatal(err)
	}
	byKind, n := map[string]int{}, 0
	var hours [9]int
	for _, r := range k.kept {
		since := r.At.Sub(morning)
		if !calls(r) || since < disturbed || since >= 8*time.Hour {
			continue
		}
		n++
		byKind[string(r.Kind)+" "+string(r.Outcome)+string(r.Source)+string(r.Work)]++
		hours[int(since/time.Hour)]++
	}
	rate := float64(n) / (8*time.Hour - disturbed).Hours()
	t.Logf("%.1f calls an hour: %v, in each hour %v", rate, byKind, hours[1:8])
	if rate > callsAnHour {
		t.Errorf("%.1f calls an hour, want no more than %d: %v", rate, callsAnHour, byKind)
	}
	if byKind["verdict recrimp"] == 0 || byKind["care lubricate"] == 0 {
		t.Errorf("%v: nothing happened, so the rate shows nothing", byKind)
	}
}
