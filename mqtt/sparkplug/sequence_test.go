package sparkplug

import "testing"

// tck-id-payloads-sequence-num-incrementing: 0 in NBIRTH, one more each, 0
// behind 255.
func TestSequence(t *testing.T) {
	var s Sequence
	for i := range 600 {
		if got, want := int(s.Next()), i%256; got != want {
			t.Fatalf("message %d: seq %d, want %d", i, got, want)
		}
	}
	s.Restart()
	if first, second := s.Next(), s.Next(); first != 0 || second != 1 {
		t.Errorf("after a restart: %d, %d, want 0, 1", first, second)
	}
}
