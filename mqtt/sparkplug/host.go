package sparkplug

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"time"
)

// maxState is how many bytes of a host's state are read; our own, a state has
// about 45.
const maxState = 4096

// HostState is what a host says of itself in its STATE.
type HostState struct {
	Online bool
	At     time.Time // UTC, to the millisecond
}

// ParseHostState reads the payload of a STATE message, a JSON object such as
// {"online":true,"timestamp":1767225600000}. Both keys have to be there once, as
// they are written here; online is true or false, timestamp a whole number of
// milliseconds since 1970, at most the year 9999's last. Other keys are passed
// over. At most 4,096 bytes are read.
func ParseHostState(b []byte) (HostState, error) {
	s, err := parseHostState(b)
	if err != nil {
		return HostState{}, fmt.Errorf("state of a host: %w", err)
	}
	return s, nil
}

func parseHostState(b []byte) (HostState, error) {
	if len(b) > maxState {
		return HostState{}, fmt.Errorf("%d bytes, at most %d are read", len(b), maxState)
	}
	d := json.NewDecoder(bytes.NewReader(b))
	if t, err := d.Token(); err != nil {
		return HostState{}, notJSON(err)
	} else if t != json.Delim('{') {
		return HostState{}, errors.New("it is not a JSON object")
	}
	var s HostState
	seen := map[string]bool{}
	for d.More() {
		key, err := d.Token()
		if err != nil {
			return HostState{}, notJSON(err)
		}
		var value json.RawMessage
		if err := d.Decode(&value); err != nil {
			return HostState{}, notJSON(err)
		}
		name, _ := key.(string) // a key is nothing else, or the token was an error
		switch name {
		case "online":
			s.Online = string(value) == "true"
			if !s.Online && string(value) != "false" {
				return HostState{}, fmt.Errorf("online is %.40q, want true or false", value)
			}
		case "timestamp":
			var ms uint64
			if err := json.Unmarshal(value, &ms); err != nil || string(value) == "null" || ms > maxMillisecond {
				return HostState{}, fmt.Errorf("timestamp is %.40q, want whole milliseconds since 1970, at most %d", value, maxMillisecond)
			}
			s.At = time.UnixMilli(int64(ms)).UTC()
		default:
			continue
		}
		if seen[name] {
			return HostState{}, fmt.Errorf("%s is there twice", name)
		}
		seen[name] = true
	}
	if _, err := d.Token(); err != nil { // the closing brace
		return HostState{}, notJSON(err)
	}
	if _, err := d.Token(); !errors.Is(err, io.EOF) {
		return HostState{}, errors.New("something follows the JSON object")
	}
	for _, name := range []string{"online", "timestamp"} {
		if !seen[name] {
			return HostState{}, fmt.Errorf("%s is missing", name)
		}
	}
	return s, nil
}

// notJSON says so; an end too early is not the end of a stream.
func notJSON(err error) error {
	if errors.Is(err, io.EOF) {
		err = io.ErrUnexpectedEOF
	}
	return fmt.Errorf("it is not JSON: %w", err)
}
