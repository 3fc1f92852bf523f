//go:build linux

package machine

import (
	"encoding/json"
	"fmt"
	"strings"
)

// A standing is what `status --json` says of counts.
type standing struct {
	Seq, Sent uint64
	Running   bool
	Work      struct {
		Order                        string
		Pieces, Readings             int
		Pass, Recrimp, Scrap, Unsure int
	}
	Cage struct {
		Cage      string
		Lubricate int `json:"lubricate_strokes"`
		Teardown  int `json:"teardown_strokes"`
	}
	Links []struct {
		Name, Text string
		OK         bool
	}
}

// A line is what a record says of counts.
type line struct {
	Seq                      uint64
	Kind, Cage, Order, Piece string
	Work, State, Outcome     string
	raw                      string
}

// parseLog reads what `log --json` printed.
func parseLog(text string) (all []line, err error) {
	for raw := range strings.Lines(text) {
		var l line
		if err := json.Unmarshal([]byte(raw), &l); err != nil {
			return nil, fmt.Errorf("%s: %w", raw, err)
		}
		l.raw = canonical([]byte(raw))
		all = append(all, l)
	}
	return all, nil
}

// A fold is the counts of records, counted here once more and in the plainest way.
type fold struct {
	cage, order string
	lubricate   map[string]int // strokes of a cage since then
	teardown    map[string]int
	pieces      map[string]map[string]bool // of each order
	outcomes    map[string]string          // of each piece, the latest
}

func foldOf(all []line) fold {
	f := fold{lubricate: map[string]int{}, teardown: map[string]int{}, pieces: map[string]map[string]bool{}, outcomes: map[string]string{}}
	for _, l := range all {
		switch l.Kind {
		case "load":
			f.cage = l.Cage
		case "start":
			if f.order = l.Order; f.cage == "" {
				f.cage = l.Cage
			}
		case "finish":
			f.order = ""
		case "stroke":
			if l.Cage != "" { // else none was loaded
				f.lubricate[l.Cage]++
				f.teardown[l.Cage]++
			}
			if l.Piece != "" {
				if f.pieces[l.Order] == nil {
					f.pieces[l.Order] = map[string]bool{}
				}
				f.pieces[l.Order][l.Piece] = true
			}
		case "care":
			if l.State == "done" {
				switch l.Work {
				case "lubricate":
					f.lubricate[l.Cage] = 0
				case "teardown":
					f.teardown[l.Cage] = 0
				}
			}
		case "verdict":
			f.outcomes[l.Piece] = l.Outcome
		}
	}
	return f
}

// tally counts the outcomes of an order's pieces.
func (f fold) tally(order string) map[string]int {
	n := map[string]int{}
	for piece := range f.pieces[order] {
		if o := f.outcomes[piece]; o != "" {
			n[o]++
		}
	}
	return n
}

// differs says in what a standing does not agree with the records.
func (f fold) differs(s standing) (bad []string) {
	compare := func(what string, says, counted any) {
		if says != counted {
			bad = append(bad, fmt.Sprintf("%s: status says %v, the records %v", what, says, counted))
		}
	}
	compare("cage", s.Cage.Cage, f.cage)
	compare("strokes since lubrication", s.Cage.Lubricate, f.lubricate[f.cage])
	compare("strokes since tear-down", s.Cage.Teardown, f.teardown[f.cage])
	compare("order", s.Work.Order, f.order)
	if f.order != "" {
		n := f.tally(f.order)
		compare("pieces", s.Work.Pieces, len(f.pieces[f.order]))
		compare("pass", s.Work.Pass, n["pass"])
		compare("recrimp", s.Work.Recrimp, n["recrimp"])
		compare("scrap", s.Work.Scrap, n["scrap"])
		compare("unsure", s.Work.Unsure, n["unsure"])
	}
	return bad
}
