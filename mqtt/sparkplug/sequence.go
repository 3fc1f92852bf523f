package sparkplug

// Sequence counts the messages of a node: 0 for NBIRTH, then one more for every
// NDATA, DBIRTH, DDATA and DDEATH of any device, and 0 behind 255
// (tck-id-payloads-sequence-num-incrementing). The zero Sequence begins at 0. It
// is not safe for use by several goroutines: the order of numbers has to be the
// order on the wire.
type Sequence struct{ next uint8 }

// Restart makes 0 the next number, for NBIRTH.
func (s *Sequence) Restart() { s.next = 0 }

// Next is the number of the message that is sent now.
func (s *Sequence) Next() uint8 {
	n := s.next
	s.next++ // 255 is followed by 0
	return n
}
