package rehearsal

import (
	"context"
	"time"

	"benchtally/agent/record"
	"benchtally/agent/station"
)

// mishap is what goes wrong with a piece.
type mishap string

const (
	none      mishap = "none"
	inched    mishap = "inched"     // the ring was closed little by little
	twice     mishap = "twice"      // the caliper's button sends a frame twice
	wrongUnit mishap = "wrong unit" // the caliper shows millimetres
	burr      mishap = "burr"       // a reading is wrong and taken back
	dry       mishap = "dry"        // the ring is closed with nothing in it, after the piece
	same      mishap = "same"       // the piece is crimped a second time
	undersize mishap = "undersize"  // the dial has slipped
	oversize  mishap = "oversize"   // the hose is too thick
	stuck     mishap = "stuck"      // the limit switch sticks
	unplugged mishap = "unplugged"  // the caliper's cable is pulled out
	home      mishap = "home"       // no piece is made: the shift is over
)

// luck is what happens to a piece on an ordinary day.
func (t *technician) luck() mishap {
	n := t.fate.IntN(100)
	for _, l := range []struct {
		how  mishap
		upTo int
	}{
		{inched, 3}, {twice, 5}, {wrongUnit, 6}, {burr, 8}, {dry, 10}, {same, 11}, {undersize, 12}, {oversize, 15}, {stuck, 16}, {unplugged, 17},
	} {
		if n < l.upTo {
			return l.how
		}
	}
	return none
}

// How long troubles last: long enough for the agent to notice, by its own times.
const (
	stuckFor    = 150 * time.Second // the switch; 2 minutes are too long
	cableOut    = 2 * time.Minute
	cableWall   = 3 * time.Second // on the wall, at least
	brokerOut   = 8 * time.Minute
	brokerWall  = 9 * time.Second // on the wall, at least: after 5 s it is a fault
	comingBack  = 10 * time.Minute
	comingWall  = 12 * time.Second // on the wall, at least: the port is looked for at growing distances
	waitingMost = 10               // pieces that are laid aside unmeasured
)

// laid is a piece that waits for its readings.
type laid struct {
	id string
	f  *fitting
}

// unplugged works on while the caliper's cable is out, and measures afterwards
// what was laid aside.
func (t *technician) unplugged(ctx context.Context, o *order) error {
	t.gauge.Unplug()
	t.say("Somebody trips over the caliper's cable and pulls it out; the technician crimps on and lays the pieces aside.")
	began := t.clock.Now()
	out := max(cableOut, t.clock.shop(cableWall))
	patient := out + max(comingBack, t.clock.shop(comingWall))
	in := false
	var waiting []laid
	for {
		since := t.clock.Now().Sub(began)
		if !in && since >= out {
			if err := t.gauge.Plug(); err != nil {
				return err
			}
			in = true
			t.say("The caliper's cable is plugged in again.")
		}
		if _, away := t.bench.View().Faults[record.Caliper]; in && !away || since > patient {
			break
		}
		if n, ok := t.pieces(o); len(waiting) >= waitingMost || ok && n >= o.quantity {
			if err := t.pause(ctx, 3*time.Second); err != nil {
				return err
			}
			continue
		}
		f, err := t.crimp(ctx, o, none)
		if err != nil {
			return err
		}
		waiting = append(waiting, laid{t.at(), f})
	}
	for _, w := range waiting {
		if err := t.act(ctx, station.Action{Do: station.DoMeasure, Piece: w.id}); err != nil {
			return err
		}
		if err := t.measure(ctx, w.f, none); err != nil {
			return err
		}
		if err := t.follow(ctx, o, w.f, w.id); err != nil {
			return err
		}
	}
	return t.care(ctx)
}

// outage switches the broker off now, on again after a while, and comes again
// after a longer one.
func (t *technician) outage() error {
	if err := t.plant.Stop(); err != nil {
		return err
	}
	t.say("The plant's broker goes down; the work goes on.")
	out := max(brokerOut, t.clock.shop(brokerWall))
	t.later(out, func() error {
		if err := t.plant.Start(); err != nil {
			return err
		}
		t.say("The plant's broker is up again.")
		return nil
	})
	t.later(out+110*time.Minute, t.outage)
	return nil
}
