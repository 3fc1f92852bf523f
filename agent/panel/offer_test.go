package panel

import (
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"benchtally/agent/station"
)

// What is done at once can be taken back for ten seconds, on the page that says so.
func TestOffer(t *testing.T) {
	for _, c := range []struct {
		name, form string
		want       []string
	}{
		{"an end", "do=scrap&piece=A-1001%2F1&reason=cracked+ferrule&key=k1", []string{"Piece 1 is scrap now", "Not scrap after all", `name="piece" value="A-1001/1"`, `name="off" value="yes"`}},
		{"an assembly", "do=scrap&assembly=1&reason=cracked+ferrule&key=k1", []string{"Assembly 1 is scrap now", `name="assembly" value="1"`}},
		{"an order", "do=finish&order=A-1001&key=k1", []string{"Order A-1001 is finished or set aside", "Go on with it", `name="do" value="start"`, `name="order" value="A-1001"`}},
	} {
		t.Run(c.name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				d := newDesk()
				d.Publish(newShop(t, withCards).card("A-1001").good().snapshot())
				w := post(d, c.form)
				to := w.Header().Get("Location")
				if to != "/?answer=k1" {
					t.Fatalf("got %d to %q", w.Code, to)
				}
				page := get(t, d, to).Body.String()
				for _, want := range c.want {
					if !strings.Contains(page, want) {
						t.Errorf("no %q in\n%s", want, page)
					}
				}
				time.Sleep(offerFor)
				if page := get(t, d, to).Body.String(); strings.Contains(page, c.want[0]) {
					t.Error("it is still offered after ten seconds")
				}
			})
		})
	}
}

// A refusal offers nothing.
func TestNoOfferForARefusal(t *testing.T) {
	d := newDesk()
	d.Publish(newShop(t).start(6).stroke().snapshot())
	d.refused = "it is scrap already"
	post(d, "do=scrap&piece=A-1001%2F1&reason=x&key=k1")
	if page := get(t, d, "/?answer=k1").Body.String(); strings.Contains(page, "Not scrap after all") || !strings.Contains(page, "Not taken: it is scrap already") {
		t.Errorf("got\n%s", page)
	}
	if len(d.acted) != 1 || d.acted[0].Do != station.DoScrap {
		t.Errorf("got %+v", d.acted)
	}
}
