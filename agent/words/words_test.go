package words

import (
	"slices"
	"sync"
	"testing"
)

func TestSay(t *testing.T) {
	en, es, de := In("en"), In("es"), In("de")
	for _, c := range []struct {
		got, want string
	}{
		{en.Say("Measure place %d of %d", 2, 3), "Measure place 2 of 3"},
		{es.Say("Measure place %d of %d", 2, 3), "Mida el punto 2 de 3"},
		{de.Say("Set %s, then stroke", "085"), "085 stellen, dann pressen"},
		{de.Say("Within limits"), "In den Grenzen"},
		{de.Say("Cage %s", "Scrap"), "Käfig Scrap"},
		{de.Say("a phrase that nobody wrote %d", 7), "a phrase that nobody wrote 7"},
		{de.Say("100 %% of it"), "100 % of it"},
		{en.Say("Set [dial]"), "Set"},
		{In("fr").Say("Back"), "Back"},
		{Tongue{}.Say("Back"), "Back"},
		// Of one, and of many.
		{en.Say("%d first crimps", 1), "1 first crimp"},
		{en.Say("%d first crimps", 2), "2 first crimps"},
		{es.Say("%d first crimps", 1), "1 primer prensado"},
		{de.Say("%d first crimps", uint64(1)), "1 Erstpressung"},
		{de.Say("%d first crimps", 11), "11 Erstpressungen"},
	} {
		if c.got != c.want {
			t.Errorf("got %q, want %q", c.got, c.want)
		}
	}
}

func TestLanguages(t *testing.T) {
	if got := Languages(); !slices.Equal(got, []string{"en", "es", "de"}) || Name("es") != "Español" || Name("fr") != "" {
		t.Errorf("languages %v, %q, %q", got, Name("es"), Name("fr"))
	}
	if In("de").Code() != "de" || In("xx").Code() != "en" || (Tongue{}).Code() != "en" {
		t.Error("a tongue does not know its code")
	}
}

// Many pages are drawn at once.
func TestAtOnce(t *testing.T) {
	var all sync.WaitGroup
	for range 8 {
		all.Go(func() {
			for i := range 2 * mostSeen {
				english := "order X" + string(rune('a'+i%26)) + " is in work"
				if got := In("es").Sentence(english); got != "el pedido X"+string(rune('a'+i%26))+" está en curso" {
					t.Errorf("%q becomes %q", english, got)
				}
				if got := In("de").Say("Back"); got != "Zurück" {
					t.Errorf("got %q", got)
				}
			}
		})
	}
	all.Wait()
}
