package people

import (
	"crypto/rand"
	"crypto/sha256"
	"crypto/subtle"
	"encoding/hex"
	"errors"
	"strings"
)

// A badge is kept as "sha256$" and the hash of its token in hex. The token is
// random and long, so it needs neither salt nor a slow hash.
const badgeScheme = "sha256$"

// badgeHash is a badge as it is kept; the zero badgeHash fits no token.
type badgeHash struct{ sum string } // bytes

// newBadge makes a token of at least 128 random bits, in letters and digits that
// any scanner reads, and what is kept of it.
func newBadge() (token string, h badgeHash) {
	token = rand.Text()
	return token, hashBadge(token)
}

// hashBadge hashes what was read from a badge; scanners that write small letters
// or blanks around it are forgiven.
func hashBadge(token string) badgeHash {
	sum := sha256.Sum256([]byte(strings.ToUpper(strings.TrimSpace(token))))
	return badgeHash{string(sum[:])}
}

func (h badgeHash) is(other badgeHash) bool {
	return subtle.ConstantTimeCompare([]byte(h.sum), []byte(other.sum)) == 1
}

func (h badgeHash) String() string {
	if h.sum == "" {
		return ""
	}
	return badgeScheme + hex.EncodeToString([]byte(h.sum))
}

// parseBadge reads what String wrote.
func parseBadge(text string) (badgeHash, error) {
	if text == "" {
		return badgeHash{}, nil
	}
	sum, err := hex.DecodeString(strings.TrimPrefix(text, badgeScheme))
	if h := (badgeHash{string(sum)}); err == nil && len(sum) == sha256.Size && h.String() == text {
		return h, nil
	}
	return badgeHash{}, errors.New("is not the hash of a badge")
}
