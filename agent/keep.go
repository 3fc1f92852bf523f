package main

import (
	"errors"
	"fmt"
	"io/fs"
	"math"
	"os"

	"benchtally/agent/record"
	"benchtally/agent/station"
	"benchtally/store"
)

// keeper is the store as the station's log.
type keeper struct {
	*store.Store
	note []byte // goes with the next batch; nil: none
}

// Append keeps a batch.
func (k *keeper) Append(b station.Batch) error {
	return k.Store.Append(store.Batch{Records: b.Records, State: b.State, Orders: b.Orders, Note: k.note})
}

// After folds the records kept after seq, as within gives them.
func (k *keeper) After(seq uint64, fold func(record.Record) error) error {
	return k.within(station.Extent{From: seq + 1, To: math.MaxUint64}, fold)
}

// within calls each with the records kept from one seq to another, both included.
// It stops at one that is damaged, and passes over those that a rescue did not find.
func (k *keeper) within(e station.Extent, each func(record.Record) error) error {
	for r, err := range k.Records(max(e.From, 1) - 1) {
		if r.Seq > e.To {
			break
		}
		if errors.Is(err, store.ErrLost) {
			continue // it was told when the store was rescued
		}
		if err != nil {
			return err
		}
		if err := each(r); err != nil {
			return err
		}
	}
	return nil
}

// openKept opens a store that must be there already.
func openKept(path string, o store.Options) (*store.Store, error) {
	if _, err := os.Stat(path); errors.Is(err, fs.ErrNotExist) {
		return nil, fmt.Errorf("there is no store %s yet: the agent makes it when it first runs", path)
	}
	return store.Open(path, o)
}

// fileSize is the size of a file in bytes, 0 where there is none.
func fileSize(path string) int64 {
	info, err := os.Stat(path)
	if err != nil {
		return 0
	}
	return info.Size()
}
