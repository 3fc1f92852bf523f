package station

import (
	"fmt"
	"math/rand/v2"
	"reflect"
	"testing"

	"benchtally/agent/record"
)

// TestExtentsHoldAllOfAnOrder: wherever an order stands, all records that name it lie
// within its extents, and its dossier from the pages named is that from all records.
func TestExtentsHoldAllOfAnOrder(t *testing.T) {
	for seed := range uint64(12) {
		random := rand.New(rand.NewPCG(seed, 9))
		b := newBench(t, withJobs, func(r *Rules) { r.SnapEvery = 16 })
		b.log.Keep = true
		b.act(Action{Do: DoOperator, Operator: "kj"})
		for range 400 {
			switch n := random.IntN(12); {
			case n < 2:
				id := fmt.Sprintf("A-%d", random.IntN(8))
				b.act(Action{Do: DoStart, Order: id, Spec: "hs-08"})
			case n < 3:
				b.act(Action{Do: DoFinish})
			case n < 4:
				b.act(Action{Do: DoStandard, Standard: "ring-25"})
				b.read([]string{"0.9845", "0.9860"}[random.IntN(2)])
			case n < 5:
				b.read([]string{"0.0000", "0.0020"}[random.IntN(2)])
			case n < 6:
				b.act(Action{Do: []Do{DoUndo, DoSame, DoDry}[random.IntN(3)]})
			case n < 9:
				b.stroke()
			default:
				b.read("1.2000", "1.2000", "1.2000")
			}
		}
		later := 0
		for n := range 9 {
			order := fmt.Sprintf("A-%d", n)
			at, err := ExtentsOf(b.log, order)
			if err != nil {
				t.Fatal(err)
			}
			err = b.log.After(0, func(r record.Record) error {
				inside := false
				for _, e := range at {
					inside = inside || r.Seq >= e.From && r.Seq <= e.To
				}
				if r.Order == order && !inside {
					t.Errorf("record %d of order %s lies outside of %v", r.Seq, order, at)
				}
				return nil
			})
			if err != nil {
				t.Fatal(err)
			}
			p, err := PagesOf(b.log, order)
			if err != nil {
				t.Fatal(err)
			}
			if p.Latest == (Extent{}) {
				continue
			}
			c, err := NewClerk(b.s.rules, order)
			if err != nil {
				t.Fatal(err)
			}
			again := false
			for _, step := range []func(record.Record){
				func(r record.Record) {
					if r.Seq >= p.Order.From && r.Seq <= p.Order.To {
						if err := c.Add(r); err != nil {
							t.Fatal(err)
						}
					}
				},
				func(r record.Record) {
					for _, seq := range p.Checks {
						if r.Seq == seq {
							c.Later(r)
						}
					}
				},
				func(r record.Record) {
					if r.Seq >= p.Latest.From && r.Seq <= p.Latest.To {
						c.Later(r)
						again = again || r.Order == order
					}
				},
			} {
				if err := b.log.After(0, func(r record.Record) error { step(r); return nil }); err != nil {
					t.Fatal(err)
				}
			}
			if again {
				continue
			}
			got, known := c.Dossier()
			if !known {
				t.Fatalf("nothing is known of order %s", order)
			}
			if want := b.dossier(order, p.Order.From-1); !reflect.DeepEqual(got, want) {
				t.Errorf("seed %d, order %s from %v:\n%+v\nwant\n%+v", seed, order, p, got, want)
			}
			later += len(p.Checks)
		}
		if seed == 0 && later == 0 {
			t.Error("no check of the caliper was behind an order: nothing was tested")
		}
	}
}

// An order that nobody ever started has no extent but what is not folded yet, and one
// kept by an older program is everywhere.
func TestExtentsOfOthers(t *testing.T) {
	b := newBench(t, withJobs, func(r *Rules) { r.SnapEvery = 4 })
	b.begin()
	for range 3 {
		b.stroke().read("1.2000", "1.2000", "1.2000")
	}
	_, folded, err := b.log.State()
	if err != nil || folded == 0 {
		t.Fatal(folded, err)
	}
	if at, err := ExtentsOf(b.log, "B-1"); err != nil || len(at) != 1 || at[0].From != folded+1 {
		t.Errorf("%v, %v", at, err)
	}
	b.log.orders["B-2"] = []byte(`{"id":"B-2","n":3,"pieces":[]}`)
	if at, err := ExtentsOf(b.log, "B-2"); err != nil || len(at) != 1 || at[0] != everything {
		t.Errorf("%v, %v", at, err)
	}
	b.log.orders["B-3"] = []byte(`{`)
	if _, err := ExtentsOf(b.log, "B-3"); err == nil {
		t.Error("half an order gives no error")
	}
}
