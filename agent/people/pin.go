package people

import (
	"crypto/pbkdf2"
	"crypto/rand"
	"crypto/sha256"
	"crypto/subtle"
	"encoding/base64"
	"errors"
	"fmt"
	"strconv"
	"strings"
)

// A PIN is kept as "pbkdf2-sha256$ITERATIONS$SALT$KEY", salt and key in base64
// without padding (RFC 8018, PBKDF2 with HMAC-SHA-256). A hash that takes much
// memory would not save four digits either, and the agent lives beside it.
const (
	pinScheme = "pbkdf2-sha256"
	// iterations take about a quarter of a second on the smallest machine meant,
	// four Cortex-A53 at 1 GHz without instructions for SHA: 26 ms on an x86 core
	// kept from using its own, times 8 to 10 (estimated; no such machine was at hand).
	iterations      = 50_000
	leastIterations = 10_000
	mostIterations  = 500_000 // what a file may ask of this machine: some seconds
	saltSize        = 16      // bytes; RFC 8018, 4.1 wants 8 or more
)

// Digits that a PIN may have.
const (
	leastPIN = 4
	mostPIN  = 12
)

// CheckPIN says why a text is no PIN that may be set; nil: it may.
func CheckPIN(pin string) error {
	if len(pin) < leastPIN || len(pin) > mostPIN || strings.Trim(pin, "0123456789") != "" {
		return fmt.Errorf("a PIN has %d to %d digits and nothing else", leastPIN, mostPIN)
	}
	// The step from digit to digit; on the keys 0 comes behind 9.
	step := (pin[1] - pin[0] + 10) % 10
	for i := 2; i < len(pin); i++ {
		if (pin[i]-pin[i-1]+10)%10 != step {
			return nil
		}
	}
	switch step {
	case 0:
		return errors.New("a PIN of one digit alone is guessed first: take another")
	case 1, 9:
		return errors.New("a PIN that counts up or down is guessed first: take another")
	}
	return nil
}

// pinHash is a PIN as it is kept; the zero pinHash fits no PIN.
type pinHash struct {
	iterations int
	salt, key  string // bytes
}

// newPIN hashes a PIN with a salt of its own.
func newPIN(pin string) pinHash {
	var salt [saltSize]byte
	_, _ = rand.Read(salt[:]) // never fails
	h := pinHash{iterations: iterations, salt: string(salt[:])}
	h.key = h.of(pin)
	return h
}

// decoy is what a PIN is held against where there is none, for the time it takes.
var decoy = pinHash{iterations: iterations, salt: strings.Repeat("\x00", saltSize)}

// of is the key that a PIN gives with this salt.
func (h pinHash) of(pin string) string {
	key, err := pbkdf2.Key(sha256.New, pin, []byte(h.salt), h.iterations, sha256.Size)
	if err != nil {
		panic(err) // only for lengths that no pinHash has
	}
	return string(key)
}

func (h pinHash) is(pin string) bool {
	if h.key == "" {
		decoy.of(pin)
		return false
	}
	return subtle.ConstantTimeCompare([]byte(h.of(pin)), []byte(h.key)) == 1
}

func (h pinHash) String() string {
	if h.key == "" {
		return ""
	}
	return fmt.Sprintf("%s$%d$%s$%s", pinScheme, h.iterations, b64.EncodeToString([]byte(h.salt)), b64.EncodeToString([]byte(h.key)))
}

// b64 has one text for each row of bytes.
var b64 = base64.RawStdEncoding.Strict()

// parsePIN reads what String wrote. Its errors hold nothing of the text, which
// may be a PIN that somebody wrote there.
func parsePIN(text string) (pinHash, error) {
	if text == "" {
		return pinHash{}, nil
	}
	parts := strings.Split(text, "$")
	if len(parts) != 4 || parts[0] != pinScheme {
		return pinHash{}, errors.New("is not the hash of a PIN")
	}
	n, err := strconv.Atoi(parts[1])
	if err != nil || n < leastIterations || n > mostIterations || strconv.Itoa(n) != parts[1] {
		return pinHash{}, fmt.Errorf("is the hash of a PIN with a wrong number of iterations, which are %d to %d", leastIterations, mostIterations)
	}
	salt, err1 := b64.DecodeString(parts[2])
	key, err2 := b64.DecodeString(parts[3])
	if err1 != nil || err2 != nil || len(salt) != saltSize || len(key) != sha256.Size {
		return pinHash{}, errors.New("is the hash of a PIN, damaged")
	}
	return pinHash{iterations: n, salt: string(salt), key: string(key)}, nil
}
