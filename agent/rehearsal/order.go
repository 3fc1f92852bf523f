package rehearsal

import (
	"context"
	"fmt"
	"time"

	"benchtally/agent/crimp"
	"benchtally/agent/station"
)

// order is an order of the shop: so many equal pieces.
type order struct {
	id       string
	spec     crimp.Spec
	quantity int
	handling time.Duration // to bring a hose end into the ring, at a brisk pace
}

// order is the next order, of a spec.
func (t *technician) order(id string, quantity int, handling time.Duration) *order {
	t.orders++
	return &order{id: fmt.Sprintf("A-%d", 1000+t.orders), spec: spec(id), quantity: quantity, handling: handling}
}

// pieces is how many of the order have been crimped, as the screen shows it; false:
// another order is in work.
func (t *technician) pieces(o *order) (int, bool) {
	v := t.bench.View().Order
	if v == nil || v.ID != o.id {
		return 0, false
	}
	return v.Pieces, true
}

// ready takes the order into work if it is not, with its cage loaded.
func (t *technician) ready(ctx context.Context, o *order) error {
	if err := t.disown(ctx); err != nil {
		return err
	}
	v := t.bench.View()
	if v.Order != nil && v.Order.ID == o.id && v.Cage == o.spec.Cage {
		return nil
	}
	if v.Cage != o.spec.Cage {
		if err := t.finish(ctx); err != nil {
			return err
		}
		if err := t.load(ctx, o.spec.Cage); err != nil {
			return err
		}
	}
	if err := t.pause(ctx, 4*time.Second); err != nil {
		return err
	}
	if err := t.act(ctx, station.Action{
		Do: station.DoStart, Order: o.id, Spec: o.spec.ID, Quantity: o.quantity,
		Setting: t.setting(o.spec), Operator: operator,
	}); err != nil {
		return err
	}
	if a := t.bench.View().Opening; a != nil && *a.Change != 0 {
		return t.dial(ctx, *a.Setting)
	}
	return nil
}

// load changes the die cage.
func (t *technician) load(ctx context.Context, cage string) error {
	if err := t.press.Retract(ctx, time.Duration(8*t.pace*float64(time.Second))); err != nil {
		return err
	}
	t.metal.load(cage)
	return t.act(ctx, station.Action{Do: station.DoLoad, Cage: cage})
}

// finish ends the order in work, if there is one.
func (t *technician) finish(ctx context.Context) error {
	if t.bench.View().Order == nil {
		return nil
	}
	if err := t.pause(ctx, 3*time.Second); err != nil {
		return err
	}
	return t.act(ctx, station.Action{Do: station.DoFinish})
}

// run makes pieces of an order, one with each mishap.
func (t *technician) run(ctx context.Context, o *order, mishaps ...mishap) error {
	for _, how := range mishaps {
		var err error
		switch how {
		case home:
			return nil
		case unplugged:
			err = t.unplugged(ctx, o)
		case none, inched, twice, wrongUnit, burr, dry, same, undersize, oversize, stuck:
			err = t.piece(ctx, o, how)
		}
		if err != nil {
			return err
		}
	}
	return nil
}

// complete makes what an order still lacks, until luck sends the technician
// home, and finishes it.
func (t *technician) complete(ctx context.Context, o *order, luck func() mishap) error {
	for range o.quantity {
		if n, _ := t.pieces(o); n >= o.quantity {
			break
		}
		how := luck()
		if how == home {
			break
		}
		if err := t.run(ctx, o, how); err != nil {
			return err
		}
	}
	return t.finish(ctx)
}
