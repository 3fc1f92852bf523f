package station

import "benchtally/agent/record"

// Memory is a Log for replays and tests: it keeps what a Station may ask back,
// and nothing beyond the life of the process.
type Memory struct {
	Keep bool // keep all records, not only those since the latest snapshot

	records []record.Record
	state   []byte
	seq     uint64
	orders  map[string][]byte
}

// Append keeps a batch.
func (m *Memory) Append(b Batch) error {
	m.records = append(m.records, b.Records...)
	if b.State == nil {
		return nil
	}
	m.state, m.seq = b.State, m.records[len(m.records)-1].Seq
	if m.orders == nil {
		m.orders = map[string][]byte{}
	}
	for id, o := range b.Orders {
		m.orders[id] = o
	}
	if !m.Keep {
		m.records = m.records[:0]
	}
	return nil
}

// State is the latest snapshot.
func (m *Memory) State() ([]byte, uint64, error) { return m.state, m.seq, nil }

// After folds the records kept after seq.
func (m *Memory) After(seq uint64, fold func(record.Record) error) error {
	for _, r := range m.records {
		if r.Seq <= seq {
			continue
		}
		if err := fold(r); err != nil {
			return err
		}
	}
	return nil
}

// Order is a kept order.
func (m *Memory) Order(id string) ([]byte, error) { return m.orders[id], nil }
