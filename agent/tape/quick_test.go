package tape

import (
	"reflect"
	"testing"
)

// FuzzQuick: what the quick way reads, the whole way reads the same.
func FuzzQuick(f *testing.F) {
	for _, s := range []string{
		`{"t":1.5,"level":0}`, `{"t":0,"level":1}`, `{"t":5.2,"text":"+1.2040\r\n"}`, `{"t":5.2,"text":""}`,
		`{"t":01,"level":0}`, `{"t":1.,"level":0}`, `{"t":1e3,"level":0}`, `{"t":1,"level":2}`, `{"t":1,"text":"a\"b"}`,
		`{"t":1,"text":"a\\"}`, `{"t":1,"text":"a"},"level":1}`, `{"t":1,"text":"ü"}`, `{"t":1,"level":0} `, `{"t":99999999999999999999,"level":0}`,
		`{"t":1,"text":"}`, `{"t":1,"text":"\r\n"}`,
	} {
		f.Add([]byte(s))
	}
	f.Fuzz(func(t *testing.T, text []byte) {
		l, seconds, ok := quick(text)
		if !ok {
			return
		}
		slow, at, err := parseAny(text)
		if err != nil || at == nil || *at != seconds || !reflect.DeepEqual(l, slow) {
			t.Fatalf("%s: quick %+v at %v, whole %+v at %v, %v", text, l, seconds, slow, at, err)
		}
	})
}

// TestQuick: the usual lines do go the quick way.
func TestQuick(t *testing.T) {
	for _, s := range []string{`{"t":1.5,"level":0}`, `{"t":1000.123456,"text":"+1.2040\r\n"}`} {
		if _, _, ok := quick([]byte(s)); !ok {
			t.Errorf("%s does not", s)
		}
	}
}
