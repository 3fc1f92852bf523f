package mqtt

import (
	"errors"
	"fmt"
	"strings"

	"benchtally/agent/record"
)

// Topic is a topic of one press, seen from the press's base.
type Topic string

// The retained topics. Status is the publisher's own, it is the will as well;
// the others carry what Retain is given.
const (
	Status Topic = "status"
	Info   Topic = "info"
	Work   Topic = "state/work"
	Cage   Topic = "state/cage"
	Last   Topic = "state/last"
	Health Topic = "state/health"
)

// retained are the topics that Retain serves, in the order of their publishing
// after a connection is made.
var retained = [...]Topic{Info, Work, Cage, Last, Health}

// EventTopic is the topic of the events of one kind. It is never retained.
func EventTopic(k record.Kind) Topic { return "event/" + Topic(k) }

// Under is the whole topic, below the press's base.
func (t Topic) Under(base string) string { return base + "/" + string(t) }

// Limits of a base; our own, well within MQTT's 65,535 bytes for a topic.
const (
	maxLevels = 8
	maxBase   = 128
)

// ValidBase checks the base of a press's topics, such as
// "riverside/hose-shop/north-bench": 1 to 8 levels parted by "/", each of one
// or more of a-z, 0-9 and "-", at most 128 bytes in all. That is narrower than
// MQTT, so that every broker, file name and access list can take it as it is.
// The error names all that is wrong.
func ValidBase(base string) error {
	var faults []error
	levels := strings.Split(base, "/")
	if len(base) > maxBase {
		faults = append(faults, fmt.Errorf("it is %d bytes long, at most %d are allowed", len(base), maxBase))
	}
	if len(levels) > maxLevels {
		faults = append(faults, fmt.Errorf("it has %d levels, at most %d are allowed", len(levels), maxLevels))
	}
	for i, level := range levels {
		if level == "" {
			faults = append(faults, fmt.Errorf("level %d is empty", i+1))
		} else if !plain(level) {
			faults = append(faults, fmt.Errorf("level %d, %.40q, may hold only a-z, 0-9 and -", i+1, level))
		}
		if len(faults) > maxLevels {
			break // enough to see what kind of text this is
		}
	}
	if len(faults) > 0 {
		return fmt.Errorf("topic base %.160q: %w", base, joined(faults))
	}
	return nil
}

// plain reports whether s is one or more of a-z, 0-9 and "-".
func plain[T string | []byte](s T) bool {
	for i := range len(s) {
		if c := s[i]; (c < 'a' || c > 'z') && (c < '0' || c > '9') && c != '-' {
			return false
		}
	}
	return len(s) > 0
}

// joined is all faults as one sentence.
func joined(faults []error) error {
	text := make([]string, len(faults))
	for i, f := range faults {
		text[i] = f.Error()
	}
	return errors.New(strings.Join(text, "; "))
}
