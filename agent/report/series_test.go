package report

import (
	"slices"
	"strconv"
	"testing"

	"benchtally/agent/crimp"
	"benchtally/agent/station"
)

// Before a first crimp it is the advice for the next piece that was to be dialled,
// before another crimp that for crimping this piece again, once; of another order
// none, and none that was given after a piece of another cage.
func TestSeriesKnowsWhatWasAdvised(t *testing.T) {
	j := func(seq uint64, piece string, n int) station.Judged {
		return station.Judged{Seq: seq, Order: piece[:1], Piece: piece, Spec: hs08, Crimp: n, Readings: []crimp.Length{hs08.Diameter + 3}}
	}
	s := SeriesOf(
		[]station.Judged{j(5, "A/1", 1), j(20, "A/1", 2), j(25, "A/1", 3), j(30, "A/2", 1), j(35, "A/2", 2), j(40, "B/1", 1)},
		[]Advice{
			{Seq: 2, Order: "A", Setting: 1}, {Seq: 10, Order: "A", Piece: "A/1", Again: true, Setting: 2},
			{Seq: 11, Order: "A", Piece: "A/1", Setting: 3}, {Seq: 12, Order: "A", Piece: "A/3", Setting: 9}, {Seq: 50, Order: "B", Setting: 4},
		})
	var got []int
	for _, c := range s.Crimps {
		if c.Advice == nil {
			got = append(got, -1)
		} else {
			got = append(got, c.Advice.Setting)
		}
	}
	if want := []int{1, 2, -1, 3, -1, -1}; !slices.Equal(got, want) {
		t.Errorf("advised %v, want %v", got, want)
	}
	if s.Next == nil || s.Next.Setting != 4 {
		t.Errorf("next %v, want setting 4", s.Next)
	}
	if s.Crimps[0].Deviation != 3 || s.Crimps[0].N != 1 {
		t.Errorf("first crimp %+v", s.Crimps[0])
	}
}

func TestLastKeepsPiecesWhole(t *testing.T) {
	s := SeriesOf(judged(20), nil) // of the pieces 5 and 15 there are two crimps
	last := s.last(6)
	if len(last) != 7 || last[0].Piece != "A-1001/15" || last[1].Piece != "A-1001/15" {
		t.Errorf("%d crimps, from %s", len(last), last[0].Piece)
	}
	if got := len(s.last(1000)); got != 22 {
		t.Errorf("%d crimps, want 22", got)
	}
}

func TestRanges(t *testing.T) {
	for want, numbers := range map[string][]int{
		"": nil, "3": {3}, "3, 4": {3, 4}, "1–3, 7, 9–12": {1, 2, 3, 7, 9, 10, 11, 12}, "1, 3, 5": {1, 3, 5},
	} {
		if got := ranges(numbers, strconv.Itoa); got != want {
			t.Errorf("%v: %q, want %q", numbers, got, want)
		}
	}
}
