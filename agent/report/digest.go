package report

import (
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"

	"benchtally/agent/station"
)

// Digest is the SHA-256 of what the records say of an order, in hexadecimal: of
// the dossier as JSON, as encoding/json writes it, times in UTC. Made again from
// the same records by the same version it is the same; a paper carries it, so
// that it can be compared with its records.
func Digest(d *station.Dossier) (string, error) {
	canonical, err := json.Marshal(d)
	if err != nil {
		return "", fmt.Errorf("digest of order %s: %w", d.Order, err)
	}
	sum := sha256.Sum256(canonical)
	return hex.EncodeToString(sum[:]), nil
}

// Seal is what the QR code of a record says: of which order, in which store, of
// which records, and the digest.
func Seal(d *station.Dossier, store, digest string) string {
	return fmt.Sprintf("RECORD %s STORE %s SEQ %d-%d SHA256 %s", d.Order, store, d.From, d.To, digest)
}
