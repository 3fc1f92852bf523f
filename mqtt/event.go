package mqtt

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"time"
	"unicode/utf8"

	"benchtally/agent/record"
)

// AppendEvent appends the event as a CloudEvent 1.0 in structured JSON and
// returns the extended buffer with the topic that it belongs to. The bytes
// depend on base and e alone, so every repeat is the same; the record goes in
// as it is, its kind and time are taken from it.
//
// It refuses a record that is not one JSON object in UTF-8 with seq, at and
// kind, whose seq is not that of the event, and an id that is not of printable
// ASCII; b is then returned as it was. base must be valid.
func AppendEvent(b []byte, base string, e record.Event) ([]byte, string, error) {
	at, kind, err := heading(e)
	if err != nil {
		return b, "", fmt.Errorf("event %d: %w", e.Seq, err)
	}
	b = append(b, `{"specversion":"1.0","id":"`...)
	b = append(b, e.ID...)
	b = append(b, `","source":"/`...)
	b = append(b, base...)
	b = append(b, `","type":"benchtally.`...)
	b = append(b, kind...)
	b = append(b, `.v1","time":"`...)
	b = append(b, at...)
	b = append(b, `","datacontenttype":"application/json","sequence":"`...)
	b = appendSequence(b, e.Seq)
	b = append(b, `","data":`...)
	b = append(b, e.Record...)
	b = append(b, '}')
	return b, base + "/event/" + string(kind), nil
}

// appendSequence appends seq as 20 digits, as many as the largest has, so that
// the strings sort as the numbers do (CloudEvents extension "sequence": the
// value must be lexicographically orderable).
func appendSequence(b []byte, seq uint64) []byte {
	var digits [20]byte
	for i := len(digits) - 1; i >= 0; i-- {
		digits[i] = byte('0' + seq%10)
		seq /= 10
	}
	return append(b, digits[:]...)
}

// heading checks an event and finds the time and the kind of its record.
func heading(e record.Event) (at, kind []byte, err error) {
	if !printable(e.ID) {
		return nil, nil, fmt.Errorf("its id %.60q is not of letters, digits and signs of ASCII", e.ID)
	}
	if !json.Valid(e.Record) || !utf8.Valid(e.Record) {
		return nil, nil, errors.New("its record is not JSON in UTF-8")
	}
	seq, at, kind, ok := canonical(e.Record)
	if !ok {
		if seq, at, kind, err = search(e.Record); err != nil {
			return nil, nil, err
		}
	}
	if seq != e.Seq {
		return nil, nil, fmt.Errorf("its record has the sequence %d", seq)
	}
	var t time.Time
	if err := t.UnmarshalText(at); err != nil {
		return nil, nil, fmt.Errorf("its record's time %.40q is not RFC 3339", at)
	}
	if !plain(kind) {
		return nil, nil, fmt.Errorf("its record's kind %.40q may hold only a-z, 0-9 and -", kind)
	}
	return at, kind, nil
}

// canonical reads the beginning that our records have. It reports false where
// the record is written otherwise, which is not yet a fault.
func canonical(rec []byte) (seq uint64, at, kind []byte, ok bool) {
	rest, ok := bytes.CutPrefix(rec, []byte(`{"seq":`))
	if !ok {
		return 0, nil, nil, false
	}
	i := 0
	for ; i < len(rest) && i < 19 && rest[i] >= '0' && rest[i] <= '9'; i++ { // 19 digits cannot overflow
		seq = seq*10 + uint64(rest[i]-'0')
	}
	if rest, ok = bytes.CutPrefix(rest[i:], []byte(`,"at":"`)); !ok {
		return 0, nil, nil, false
	}
	if at, rest, ok = bytes.Cut(rest, []byte(`"`)); !ok {
		return 0, nil, nil, false
	}
	if rest, ok = bytes.CutPrefix(rest, []byte(`,"kind":"`)); !ok {
		return 0, nil, nil, false
	}
	kind, _, ok = bytes.Cut(rest, []byte(`"`))
	return seq, at, kind, ok
}

// search finds seq, at and kind wherever they stand in the record.
func search(rec []byte) (seq uint64, at, kind []byte, err error) {
	var r struct {
		Seq  *uint64 `json:"seq"`
		At   *string `json:"at"`
		Kind *string `json:"kind"`
	}
	if err := json.Unmarshal(rec, &r); err != nil {
		return 0, nil, nil, errors.New("its record is not an object with seq, at and kind")
	}
	if r.Seq == nil || r.At == nil || r.Kind == nil {
		return 0, nil, nil, errors.New("its record lacks seq, at or kind")
	}
	return *r.Seq, []byte(*r.At), []byte(*r.Kind), nil
}

// printable reports whether s can stand in a JSON string as it is and in a
// CloudEvents string at all, which takes no control characters.
func printable(s string) bool {
	for i := range len(s) {
		if c := s[i]; c <= ' ' || c > '~' || c == '"' || c == '\\' {
			return false
		}
	}
	return s != ""
}
