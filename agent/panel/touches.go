package panel

import (
	"context"
	"crypto/rand"
	"crypto/sha256"
	"slices"
	"sync"
	"time"

	"benchtally/agent/words"
)

// keptTouches is how many touches are remembered: far more than anyone makes
// before the answer to one of them comes.
const keptTouches = 128

// touches remembers the latest touches by the key of their form, so that a form
// sent twice acts once and an answer can be shown after a redirect. The zero
// value is ready.
type touches struct {
	mu    sync.Mutex
	byKey map[string]*kept
	keys  []string // of byKey, oldest first
}

// kept is one form that was sent.
type kept struct {
	form   [sha256.Size]byte // what it said
	done   chan struct{}     // closed when it is answered
	answer answer            // once done is closed
}

// answer is what became of a touch: it was done, refused, or failed.
type answer struct {
	Done    bool   `json:"done"`
	Refused string `json:"refused,omitempty"` // why it makes no sense
	Fault   string `json:"fault,omitempty"`   // why nothing of it was kept
	Said    string `json:"said,omitempty"`    // the same for a person, in the language of the page
	To      string `json:"to,omitempty"`      // view to go on with

	offer *offer    // how it is taken back; nil: it is not
	at    time.Time // when it was answered
}

// once acts, unless the same form was sent with the same key and was done, or is
// about to be: then it gives that answer. What was refused or failed is tried anew.
func (t *touches) once(ctx context.Context, key, form string, act func() answer) answer {
	sum := sha256.Sum256([]byte(form))
	t.mu.Lock()
	if before := t.byKey[key]; before != nil && before.form == sum {
		select {
		case <-before.done:
			if before.answer.Done {
				t.mu.Unlock()
				return before.answer
			}
		default:
			t.mu.Unlock()
			select {
			case <-before.done:
				return before.answer
			case <-ctx.Done():
				return answer{Fault: "it is not answered yet"}
			}
		}
	}
	now := &kept{form: sum, done: make(chan struct{}), answer: answer{Fault: "the program failed"}}
	t.remember(key, now)
	t.mu.Unlock()
	defer close(now.done)
	now.answer = act()
	now.answer.at = time.Now()
	return now.answer
}

// remember keeps a touch and forgets the oldest where there are too many.
func (t *touches) remember(key string, now *kept) {
	if t.byKey == nil {
		t.byKey = map[string]*kept{}
	}
	if t.byKey[key] != nil {
		t.keys = slices.DeleteFunc(t.keys, func(k string) bool { return k == key })
	}
	if len(t.keys) >= keptTouches {
		delete(t.byKey, t.keys[0])
		t.keys = slices.Delete(t.keys, 0, 1)
	}
	t.byKey[key] = now
	t.keys = append(t.keys, key)
}

// tell keeps an answer to what was no action, and gives the key to it.
func (t *touches) tell(a answer) string {
	key := rand.Text()
	now := &kept{done: make(chan struct{}), answer: a}
	now.answer.at = time.Now()
	close(now.done)
	t.mu.Lock()
	defer t.mu.Unlock()
	t.remember(key, now)
	return key
}

// get is the answer to the touch with a key; false: there is none.
func (t *touches) get(key string) (answer, bool) {
	t.mu.Lock()
	before := t.byKey[key]
	t.mu.Unlock()
	if before == nil {
		return answer{}, false
	}
	select {
	case <-before.done:
		return before.answer, true
	default:
		return answer{}, false
	}
}

// text is the answer for a person; "": there is nothing to say.
func (a answer) text(t words.Tongue) string {
	switch {
	case a.Done:
		return ""
	case a.Refused != "":
		return t.Say("Not taken: %s", t.Sentence(a.Refused))
	case a.Fault != "":
		return t.Say("Not kept: %s. Try again.", t.Sentence(a.Fault))
	}
	return ""
}
