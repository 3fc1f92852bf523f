package label

import (
	"errors"
	"strings"
	"testing"
)

func TestParse(t *testing.T) {
	for text, want := range map[string]Label{
		"ORDER A-1001":         {Order, "A-1001"},
		"\x02order A-1001\r\n": {Order, "A-1001"},
		"CAGE C-21":            {Cage, "C-21"},
		"Cage  c 21 ":          {Cage, "c 21"},
		"PIECE A-1001/12":      {Piece, "A-1001/12"},
		"CHECK ring-25":        {Check, "ring-25"},
		"BADGE 7Q2K-aaaa":      {Badge, "7Q2K-aaaa"},
		"do undo":              {Do, Undo},
		"DO LUBRICATED":        {Do, Lubricated},
		"ORDER Schläuche 7":    {Order, "Schläuche 7"},
	} {
		if got, err := Parse(text); err != nil || got != want {
			t.Errorf("%q: %+v, %v, want %+v", text, got, err, want)
		}
	}
	for _, kind := range Kinds() {
		id := "X-1"
		if kind == Do {
			id = Same
		}
		l := Label{kind, id}
		if got, err := Parse(l.Text()); err != nil || got != l {
			t.Errorf("%+v comes back as %+v, %v", l, got, err)
		}
	}
}

func TestParseRefuses(t *testing.T) {
	for text, want := range map[string]string{
		"":                                  `"" is no label of this shop: scan an order, a cage, a piece, a badge, a gauge ring or a command`,
		"4006381333931":                     `"4006381333931" is no label of this shop`,
		"CAGE":                              `the label says "CAGE" and not which: print it anew`,
		"ORDER  ":                           `the label says "ORDER" and not which`,
		"DO CRIMP":                          `"DO CRIMP" is no command: the sheet beside the press has SET, GOOD`,
		"CAGE C\x1d21":                      `is no label of this shop`,
		"CAGE \xff":                         `is no label of this shop`,
		"ORDER " + strings.Repeat("9", 200): `"ORDER 9999`,
	} {
		_, err := Parse(text)
		if err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%q: %v, want %s", text, err, want)
		}
	}
	for _, text := range []string{"BADGE 7Q2KAAAA\x1d9", "CAGE C-21badge 7Q2KAAAA\x00", "CAGE C-21badge 7Q2KAAAA", "DO badge 7Q2KAAAA"} {
		if _, err := Parse(text); err == nil || strings.Contains(err.Error(), "7Q2K") || !Secret(text) {
			t.Errorf("%q: %v tells the secret", text, err)
		}
	}
	if Secret("CAGE C-21") || Secret("BADGE") {
		t.Error("what is no badge is taken for one")
	}
	if _, err := Parse("4711"); !errors.As(err, new(NoLabelError)) {
		t.Errorf("%v is not told apart from a label of the shop", err)
	}
}

func FuzzParse(f *testing.F) {
	for _, s := range []string{"ORDER A-1", "DO UNDO", "\x00", "cage \xff"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		l, err := Parse(s)
		if err != nil {
			if l != (Label{}) {
				t.Fatalf("%q gives %+v and %v", s, l, err)
			}
			return
		}
		again, err := Parse(l.Text())
		if err != nil || again != l {
			t.Fatalf("%q gives %+v, which comes back as %+v, %v", s, l, again, err)
		}
	})
}
