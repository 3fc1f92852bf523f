package main

import (
	"encoding/binary"
	"hash/crc32"
	"testing"
	"time"

	"go.etcd.io/bbolt"
)

// makeNewer raises the format of a store, as a newer program would.
func makeNewer(t *testing.T, path string) {
	t.Helper()
	db, err := bbolt.Open(path, 0o600, &bbolt.Options{Timeout: time.Second})
	if err != nil {
		t.Fatal(err)
	}
	key, value := []byte("format"), []byte{1, 0, 0, 0, 99}
	table := crc32.MakeTable(crc32.Castagnoli)
	sum := crc32.Update(crc32.Checksum(key, table), table, value)
	if err := db.Update(func(tx *bbolt.Tx) error {
		return tx.Bucket([]byte("meta")).Put(key, binary.BigEndian.AppendUint32(value, sum))
	}); err != nil {
		t.Fatal(err)
	}
	if err := db.Close(); err != nil {
		t.Fatal(err)
	}
}
