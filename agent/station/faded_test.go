package station

import (
	"encoding/json"
	"fmt"
	"reflect"
	"testing"
)

// TestFadedOrderGoesOnCounting: an order that is taken up after very many records is
// the same whether or not less of it was kept meanwhile, and goes on counting pieces
// and assemblies where it stopped.
func TestFadedOrderGoesOnCounting(t *testing.T) {
	for _, order := range []string{"A-1", "J-1"} {
		state := func(condense bool) state {
			b := newBench(t, withJobs, func(r *Rules) { r.SnapEvery = 1 })
			b.act(Action{Do: DoOperator, Operator: "kj"})
			start := Action{Do: DoStart, Order: order}
			if order == "A-1" {
				start.Spec = "hs-08"
			}
			b.act(start)
			for range 5 {
				b.stroke().read("1.2000", "1.2000", "1.2000")
			}
			b.act(Action{Do: DoFinish})
			b.s.state.Seq += fadedSurely // as if so many records had come
			b.s.snapped = b.s.state.Seq
			b.act(Action{Do: DoOperator, Operator: "ms"})
			if condense {
				kept, err := b.log.Order(order)
				if err != nil {
					t.Fatal(err)
				}
				less := Faded(kept, b.s.Seq())
				if less == nil || len(less) > 1200 {
					t.Fatalf("%d bytes are kept of %d: %s", len(less), len(kept), less)
				}
				if order == "A-1" && len(less) > 200 {
					t.Errorf("%d bytes are kept: %s", len(less), less)
				}
				if again := Faded(less, b.s.Seq()+fadedSurely); again != nil && string(again) != string(less) {
					t.Errorf("less than the least: %s", again)
				}
				b.log.orders[order] = less
			}
			b.act(start)
			if n := b.s.state.Order.N; n != 5 {
				t.Errorf("order %s goes on with %d pieces, want 5", order, n)
			}
			b.stroke()
			if p := b.s.state.Order.latest(); p.N != 6 || order == "J-1" && p.Assembly == 1 {
				t.Errorf("piece %d of assembly %d", p.N, p.Assembly)
			}
			b.read("1.2000", "1.2000", "1.2000")
			if got := b.s.state.Order.Tally; fmt.Sprint(got) != "map[pass:6]" {
				t.Errorf("outcomes %v", got)
			}
			return b.s.state
		}
		whole, less := state(false), state(true)
		a, _ := json.Marshal(&whole)
		b, _ := json.Marshal(&less)
		if string(a) != string(b) || !reflect.DeepEqual(whole.Order, less.Order) {
			t.Errorf("order %s:\n%s\nwant\n%s", order, b, a)
		}
	}
}

// Nothing fades that may still be folded again as it was.
func TestNothingFadesEarly(t *testing.T) {
	o := order{ID: "A-1", N: 1, Last: 100, Pieces: []*piece{{N: 1, Shots: []*shot{{Seq: 90}}}}}
	kept, err := json.Marshal(&o)
	if err != nil {
		t.Fatal(err)
	}
	if Faded(kept, 100+fadedSurely-1) != nil || Faded(kept, 100+fadedSurely) == nil {
		t.Error("an order fades at another record")
	}
	if Faded([]byte("{"), 1<<40) != nil {
		t.Error("half an order fades")
	}
	o.fade(100 + faded - 1)
	if len(o.Pieces) != 1 {
		t.Error("an order fades early")
	}
	if o.fade(100 + faded); o.Pieces != nil || o.N != 1 {
		t.Errorf("%+v", o)
	}
}
