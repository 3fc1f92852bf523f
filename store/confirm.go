package store

import "fmt"

// confirm has the card confirm the commit that it did not: the root page, which is
// in force for whoever reads now, is written once more and synced. What it leads to
// was confirmed before it was written. After that no cut leads back behind the commit, so
// that bbolt's pages may be written again. The caller holds writing.
func (s *Store) confirm() error {
	info, err := s.file.Stat()
	if err != nil {
		return err
	}
	m, _, err := readMetas(s.file, info.Size())
	if err != nil {
		return err
	}
	page, at := make([]byte, pageSize), int64(m.txid%2)*pageSize // bbolt's rule for where a root page goes
	if _, err := s.file.ReadAt(page, at); err != nil {
		return err
	}
	if got, err := readMeta(page); err != nil || got.txid != m.txid {
		return fmt.Errorf("root page %d is not the one in force", m.txid%2)
	}
	if _, err := s.file.WriteAt(page, at); err != nil {
		return err
	}
	return syncData(s.file)
}

// Retry settles the journal if that could not be done before, so that a card that is
// well again is known to be before the next commits come.
func (s *Store) Retry() {
	s.writing.Lock()
	defer s.writing.Unlock()
	if _, why := s.Trouble(); why == nil || s.usable() != nil {
		return
	}
	_ = s.settle(s.waiting, s.kept) // Trouble tells
}
