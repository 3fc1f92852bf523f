package people

import (
	"crypto/rand"
	"crypto/sha256"
	"encoding/base64"
	"time"
)

// tokenBytes of randomness are in a session's token.
const tokenBytes = 32

// session is one sign-in. It holds only as long as the operator's PIN and badge
// are those that it began with.
type session struct {
	entry entry
	began time.Time
	used  time.Time // when its operator did something last
}

// ticket is what is kept of a session's token: its hash.
type ticket [sha256.Size]byte

func newToken() string {
	var b [tokenBytes]byte
	_, _ = rand.Read(b[:]) // never fails
	return base64.RawURLEncoding.EncodeToString(b[:])
}

func ticketOf(token string) ticket { return sha256.Sum256([]byte(token)) }

// sessions are those who have signed in.
type sessions struct {
	idle, longest time.Duration
	most          int
	open          map[ticket]*session
}

// begin opens one. When there are too many, the one goes that was used least lately.
func (s sessions) begin(e entry, now time.Time) (token string) {
	for t, old := range s.open {
		if s.over(old, now) {
			delete(s.open, t)
		}
	}
	if len(s.open) >= s.most {
		var last ticket
		for t, old := range s.open {
			if l := s.open[last]; l == nil || old.used.Before(l.used) {
				last = t
			}
		}
		delete(s.open, last)
	}
	token = newToken()
	s.open[ticketOf(token)] = &session{entry: e, began: now, used: now}
	return token
}

// of is the session of a token; nil: there is none, or it has ended.
func (s sessions) of(token string, now time.Time) *session {
	t := ticketOf(token)
	one := s.open[t]
	if one != nil && s.over(one, now) {
		delete(s.open, t)
		return nil
	}
	return one
}

func (s sessions) end(token string) { delete(s.open, ticketOf(token)) }

func (s sessions) over(one *session, now time.Time) bool {
	return now.Sub(one.used) >= s.idle || now.Sub(one.began) >= s.longest
}
