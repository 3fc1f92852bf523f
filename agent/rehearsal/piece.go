package rehearsal

import (
	"context"
	"time"

	"benchtally/agent/crimp"
	"benchtally/agent/record"
	"benchtally/agent/station"
)

// piece makes one piece of an order, with a mishap or none, up to what the
// screen says at last.
func (t *technician) piece(ctx context.Context, o *order, how mishap) error {
	f, err := t.crimp(ctx, o, how)
	if err != nil {
		return err
	}
	id := t.at()
	if err := t.measure(ctx, f, how); err != nil {
		return err
	}
	if err := t.follow(ctx, o, f, id); err != nil {
		return err
	}
	switch how {
	case dry:
		err = t.dry(ctx, o)
	case same:
		err = t.same(ctx, o, f, id)
	case undersize:
		t.slip = 0
		t.say("The dial had slipped; the technician turns it back to what the screen says.")
	case none, inched, twice, wrongUnit, burr, oversize, stuck, unplugged, home:
	}
	if err != nil {
		return err
	}
	return t.care(ctx)
}

// crimp puts a fitting on a hose end and closes the ring on it.
func (t *technician) crimp(ctx context.Context, o *order, how mishap) (*fitting, error) {
	if t.fate.IntN(4) == 0 {
		if err := t.press.Noise(ctx); err != nil {
			return nil, err
		}
	}
	if err := t.pause(ctx, o.handling); err != nil {
		return nil, err
	}
	if err := t.ready(ctx, o); err != nil {
		return nil, err
	}
	if how == undersize {
		t.slip = -9
	}
	f := t.metal.fitting()
	if how == oversize {
		t.say("This hose is off the end of a roll; its wall is thicker than it should be.")
		f.thick = tooMuch
	}
	return f, t.close(ctx, o, f, how)
}

// close closes the ring until the stroke has shown on the screen.
func (t *technician) close(ctx context.Context, o *order, f *fitting, how mishap) error {
	for range tries {
		v := t.bench.View()
		cage, before := v.Cage, strokes(v)
		t.metal.close(f, o.spec, dialled(v, o.spec)+t.slip)
		if err := t.drive(ctx, how); err != nil {
			return err
		}
		shown, err := t.see(ctx, func(v station.View) bool { return v.Cage != cage || strokes(v) > before })
		if err != nil {
			return err
		}
		if shown {
			t.cage, t.counted = cage, before+1
			return nil
		}
		t.say("The stroke does not show on the screen; the technician closes the ring once more.")
		how = none
	}
	return nil
}

// drive moves the ring.
func (t *technician) drive(ctx context.Context, how mishap) error {
	switch how {
	case inched:
		return t.press.Inch(ctx)
	case stuck:
		t.say("The limit switch sticks after the stroke; the technician looks for the reason.")
		err := t.press.Stick(ctx, stuckFor)
		t.say("The limit switch is free again.")
		return err
	case none, twice, wrongUnit, burr, dry, same, undersize, oversize, unplugged, home:
	}
	return t.press.Crimp(ctx, 1200*time.Millisecond+time.Duration(t.rnd.IntN(600))*time.Millisecond)
}

// at is the piece that the screen wants measured.
func (t *technician) at() string {
	if o := t.bench.View().Order; o != nil {
		return o.Piece
	}
	return ""
}

// measure sends what the screen still wants of the piece.
func (t *technician) measure(ctx context.Context, f *fitting, how mishap) error {
	for missed := 0; missed < tries; {
		if err := t.pause(ctx, 2*time.Second); err != nil {
			return err
		}
		o := t.bench.View().Order
		if o == nil || o.Missing == 0 {
			return nil
		}
		place := len(o.Readings)
		value := f.diameter(place)
		if place == 0 {
			if err := t.fumble(ctx, value, how); err != nil {
				return err
			}
		}
		var err error
		if place == 0 && how == twice {
			err = t.gauge.Send(ctx, value, value)
		} else {
			err = t.gauge.Send(ctx, value)
		}
		if err != nil {
			return err
		}
		shown, err := t.see(ctx, func(v station.View) bool {
			return v.Order == nil || v.Order.Piece != o.Piece || len(v.Order.Readings) > place
		})
		if err != nil {
			return err
		}
		if !shown {
			missed++
			t.say("The reading does not show on the screen; the technician measures once more.")
		}
		how = none
	}
	return nil
}

// fumble measures a place wrongly, as a mishap has it, and puts that right.
func (t *technician) fumble(ctx context.Context, value crimp.Length, how mishap) error {
	before := t.bench.View().Seq
	taken := func(v station.View) bool { return v.Seq > before }
	switch how {
	case wrongUnit:
		t.say("The caliper was switched to millimetres by accident.")
		t.gauge.Unit(crimp.Millimetres)
		if err := t.gauge.Send(ctx, value); err != nil {
			return err
		}
		if _, err := t.see(ctx, taken); err != nil {
			return err
		}
		err := t.pause(ctx, 2*time.Second)
		t.gauge.Unit(crimp.Inches)
		return err
	case burr:
		t.say("The jaws sat on a burr; the technician takes that reading back.")
		if err := t.gauge.Send(ctx, value+12*crimp.Thousandth); err != nil {
			return err
		}
		if shown, err := t.see(ctx, taken); err != nil || !shown {
			return err
		}
		if err := t.pause(ctx, 2*time.Second); err != nil {
			return err
		}
		return t.act(ctx, station.Action{Do: station.DoUndo})
	case none, inched, twice, dry, same, undersize, oversize, stuck, unplugged, home:
	}
	return nil
}

// follow does what the screen says: it crimps the piece again while that is the
// verdict, and dials what is advised for the next piece.
func (t *technician) follow(ctx context.Context, o *order, f *fitting, piece string) error {
	v := t.bench.View()
	if v.Verdict == nil || v.Verdict.Piece != piece {
		return nil
	}
	next := v.Next
	for range tries {
		if v.Order == nil || v.Order.Again != piece || v.Recrimp == nil {
			break
		}
		if err := t.dial(ctx, *v.Recrimp.Setting); err != nil {
			return err
		}
		if err := t.pause(ctx, o.handling); err != nil {
			return err
		}
		if err := t.close(ctx, o, f, none); err != nil {
			return err
		}
		if err := t.measure(ctx, f, none); err != nil {
			return err
		}
		v = t.bench.View()
	}
	if next == nil || next.Setting == nil {
		return nil
	}
	t.learned[o.spec.Cage] = *next.Setting - o.spec.Setting
	if *next.Setting == dialled(v, o.spec) {
		return nil
	}
	return t.dial(ctx, *next.Setting)
}

// dry closes the ring with nothing in it and tells so.
func (t *technician) dry(ctx context.Context, o *order) error {
	if err := t.close(ctx, o, nil, none); err != nil {
		return err
	}
	if err := t.pause(ctx, 2*time.Second); err != nil {
		return err
	}
	return t.act(ctx, station.Action{Do: station.DoDry})
}

// same closes the ring a second time on the piece that is in it, tells so and
// measures it again.
func (t *technician) same(ctx context.Context, o *order, f *fitting, piece string) error {
	if err := t.close(ctx, o, f, none); err != nil {
		return err
	}
	if err := t.pause(ctx, 2*time.Second); err != nil {
		return err
	}
	if err := t.act(ctx, station.Action{Do: station.DoSame}); err != nil {
		return err
	}
	if err := t.measure(ctx, f, none); err != nil {
		return err
	}
	return t.follow(ctx, o, f, piece)
}

// disown calls strokes dry that the screen shows and the technician did not make.
func (t *technician) disown(ctx context.Context) error {
	v := t.bench.View()
	for n := strokes(v); v.Cage == t.cage && t.counted < n; t.counted++ {
		t.say("The screen shows a stroke that was none; the technician takes it off.")
		if err := t.act(ctx, station.Action{Do: station.DoDry}); err != nil {
			return err
		}
	}
	t.cage, t.counted = v.Cage, strokes(v)
	return nil
}

// setting is what the technician dials for a spec: the sheet's setting, with
// what its cage was seen to need.
func (t *technician) setting(s crimp.Spec) *int {
	return record.Ptr(min(max(s.Setting+t.learned[s.Cage], 0), 999))
}
