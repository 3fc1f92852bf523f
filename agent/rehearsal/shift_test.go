package rehearsal

import (
	"errors"
	"testing"
	"time"

	"benchtally/agent/crimp"
	"benchtally/agent/record"
)

func TestEverythingHappensInTheMorning(t *testing.T) {
	for _, tt := range []struct {
		name  string
		speed float64
		slow  time.Duration
		by    time.Duration
	}{
		{"a minute a second", 60, 0, 17 * time.Minute},
		{"a minute a second on a slow card", 60, 25 * time.Millisecond, 22 * time.Minute},
		{"in real time", 1, 10 * time.Millisecond, 17 * time.Minute},
		{"as fast as it goes", Fastest, 10 * time.Millisecond, 35 * time.Minute},
	} {
		t.Run(tt.name, func(t *testing.T) {
			k, err := shift(t, tt.speed, 40*time.Minute, func(k *desk) { k.slow = tt.slow })
			if err != nil {
				t.Fatal(err)
			}
			got := happened(k.kept)
			for _, want := range []string{
				"zero", "load", "retract", "start", "set", "finish", "measure",
				"stroke", "stroke again", "reading", "undo", "dry", "same",
				"verdict pass", "verdict recrimp", "verdict scrap", "verdict unsure",
				"correction next", "correction recrimp", "care lubricate due", "care lubricate done",
				"fault switch on", "fault switch off", "fault caliper on", "fault caliper off", "fault broker on", "fault broker off",
				"refused caliper", "refused caliper unit",
			} {
				at, ok := got[want]
				if !ok || at > tt.by {
					t.Errorf("%s at %s (%t), want it within %s", want, at.Round(time.Second), ok, tt.by)
				}
			}
			t.Logf("all by %s", got["care lubricate done"])
			if _, ok := got["refused action"]; ok {
				t.Error("an action was refused")
			}
		})
	}
}

func TestFirstPieceIsThirtyFiveTooLarge(t *testing.T) {
	k, err := shift(t, 60, 3*time.Minute, nil)
	if err != nil {
		t.Fatal(err)
	}
	for _, r := range k.kept {
		if r.Kind != record.Correction {
			continue
		}
		if r.For != record.ForRecrimp || r.Piece != "A-1001/1" || *r.Setting < 82 || *r.Setting > 88 {
			t.Errorf("the first advice is %s %s, setting %d; want one for crimping A-1001/1 again near 085", r.For, r.Piece, *r.Setting)
		}
		return
	}
	t.Error("no advice")
}

func TestWholeShift(t *testing.T) {
	k, err := shift(t, 60, 10*time.Hour, nil)
	if err != nil {
		t.Fatal(err)
	}
	outcomes := map[crimp.Outcome]int{}
	orders, crimps := map[string]bool{}, 0
	var last time.Time
	for _, r := range k.kept {
		last = r.At
		switch r.Kind {
		case record.Verdict:
			if r.Mean != nil {
				outcomes[r.Outcome]++
			}
		case record.Start:
			orders[r.Order] = true
		case record.Stroke:
			crimps++
		case record.Refused:
			if r.Source == record.Action {
				t.Errorf("refused: %s %s", r.Reason, r.Raw)
			}
		case record.Fault, record.Finish, record.Set, record.Load, record.Retract, record.Measure, record.Reading,
			record.Correction, record.Care, record.Zero, record.Undo, record.Dry, record.Same, record.Operator, record.Turn,
			record.Lot, record.Check, record.Proof, record.Scrap, record.Standard:
		}
	}
	t.Logf("%d records, %d strokes, %d orders, %v", len(k.kept), crimps, len(orders), outcomes)
	n := outcomes[crimp.Pass] + outcomes[crimp.Recrimp] + outcomes[crimp.Scrap]
	if rate := float64(outcomes[crimp.Pass]) / float64(n); rate < 0.88 || rate > 0.99 {
		t.Errorf("%v: a rate of %.3f within limits, want 0.88 to 0.99", outcomes, rate)
	}
	if crimps < 300 || crimps > 900 || len(orders) < 20 {
		t.Errorf("%d strokes in %d orders: not what a shift is like", crimps, len(orders))
	}
	if end := last.Sub(morning); end < 8*time.Hour-2*time.Minute || end > 8*time.Hour+30*time.Minute {
		t.Errorf("it ended after %s", end)
	}
	v := k.View()
	if v.Order != nil || len(v.Faults) != 0 {
		t.Errorf("it ended with order %v and faults %v", v.Order, v.Faults)
	}
	if said := k.said[len(k.said)-1]; said != "The shift is over." {
		t.Errorf("the last word was %q", said)
	}
}

func TestShiftEndsWithTrouble(t *testing.T) {
	gone := errors.New("the agent is stopping")
	for _, tt := range []struct {
		name    string
		prepare func(*desk)
		want    error
	}{
		{"the agent stops", func(k *desk) {
			n := 0
			k.actErr = func() error {
				if n++; n == 10 {
					return gone
				}
				return nil
			}
		}, gone},
		{"no port can be made", func(k *desk) { k.plugErr = gone }, gone},
		{"it is over before", nil, nil},
	} {
		t.Run(tt.name, func(t *testing.T) {
			if _, err := shift(t, 60, 20*time.Minute, tt.prepare); !errors.Is(err, tt.want) {
				t.Errorf("error %v, want %v", err, tt.want)
			}
		})
	}
}
