package store

import (
	"encoding/binary"
	"errors"
	"hash/crc32"
)

// A value in any bucket is
//
//	version (1 byte) | payload | CRC-32C of key, version and payload (4 bytes, big endian)
//
// so a value read back is whole and belongs to its key.
const (
	valueVersion  = 1
	valueOverhead = 5
)

var castagnoli = crc32.MakeTable(crc32.Castagnoli)

// errChecksum is what is wrong with a value whose bytes changed.
var errChecksum = errors.New("checksum does not match")

// begin starts a value in b; finish completes the value begun at the start of b.
func begin(b []byte) []byte { return append(b, valueVersion) }

func finish(key, b []byte) []byte {
	return binary.BigEndian.AppendUint32(b, checksum(key, b))
}

// seal makes a value of a payload.
func seal(key, payload []byte) []byte {
	b := begin(make([]byte, 0, len(payload)+valueOverhead))
	return finish(key, append(b, payload...))
}

// unseal gives the payload of a value. It points into the value.
func unseal(key, value []byte) ([]byte, error) {
	n := len(value) - 4
	if n < 1 {
		return nil, errors.New("value is too short")
	}
	if checksum(key, value[:n]) != binary.BigEndian.Uint32(value[n:]) {
		return nil, errChecksum
	}
	if value[0] != valueVersion {
		return nil, ErrNewer
	}
	return value[1:n], nil
}

func checksum(key, b []byte) uint32 {
	return crc32.Update(crc32.Checksum(key, castagnoli), castagnoli, b)
}

// seqKey is the key of a record: bytes that sort as the numbers do.
func seqKey(seq uint64) []byte { return binary.BigEndian.AppendUint64(nil, seq) }

// keySeq is the reverse of seqKey; false when the key is none.
func keySeq(key []byte) (uint64, bool) {
	if len(key) != 8 {
		return 0, false
	}
	return binary.BigEndian.Uint64(key), true
}
