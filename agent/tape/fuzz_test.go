package tape

import (
	"bytes"
	"errors"
	"io"
	"path/filepath"
	"testing"
	"time"

	"golang.org/x/tools/txtar"
)

// FuzzReader: whatever a tape holds, it is read to its end without a panic, its
// times never fall, each line is one kind of input, and each refusal says where.
func FuzzReader(f *testing.F) {
	f.Add([]byte(header))
	for _, c := range refusals {
		f.Add([]byte(header + "{\"t\":1,\"level\":0}\n" + c.text + "\n{\"t\":2,\"level\":1}"))
	}
	shifts, err := filepath.Glob("../../testdata/shifts/*.txtar")
	if err != nil || len(shifts) == 0 {
		f.Fatalf("%d shifts, %v", len(shifts), err)
	}
	for _, name := range shifts {
		a, err := txtar.ParseFile(name)
		if err != nil {
			f.Fatal(err)
		}
		for _, file := range a.Files {
			if file.Name == "tape" {
				f.Add(file.Data)
			}
		}
	}
	f.Fuzz(func(t *testing.T, tape []byte) {
		r, err := NewReader(bytes.NewReader(tape), "a.jsonl")
		if err != nil {
			checkError(t, err, 1, tape)
			return
		}
		last, n := time.Duration(0), 1
		for range bytes.Count(tape, []byte("\n")) + 1 {
			l, err := r.Next()
			if errors.Is(err, io.EOF) {
				return
			}
			if err != nil {
				n = checkError(t, err, n+1, tape)
				if bytes.Contains([]byte(err.Error()), []byte("longer than")) {
					return // it stays there
				}
				continue
			}
			if l.T < last || l.T%time.Microsecond != 0 {
				t.Fatalf("line %d: %s behind %s", l.N, l.T, last)
			}
			if l.N <= n {
				t.Fatalf("line %d behind %d", l.N, n)
			}
			last, n = l.T, l.N
			levels := l.Level != nil || l.Rest != nil || l.Retracted != nil
			kinds := 0
			for _, given := range []bool{levels, l.Bytes != nil, l.Action != nil} {
				if given {
					kinds++
				}
			}
			if kinds != 1 {
				t.Fatalf("line %d is %d kinds of input: %+v", l.N, kinds, l)
			}
			again, err := Parse(r.Text())
			if err != nil || (again.Action == nil) != (l.Action == nil) || !bytes.Equal(again.Bytes, l.Bytes) {
				t.Fatalf("line %d, read alone: %+v, %v", l.N, again, err)
			}
		}
		if _, err := r.Next(); !errors.Is(err, io.EOF) {
			t.Fatalf("behind the last line: %v", err)
		}
	})
}

// checkError checks that an error names a line of the tape from the given one
// on, and returns which.
func checkError(t *testing.T, err error, from int, tape []byte) int {
	t.Helper()
	var where *Error
	if !errors.As(err, &where) {
		t.Fatalf("%v does not say where", err)
	}
	if lines := bytes.Count(tape, []byte("\n")) + 1; where.N < from || where.N > lines || where.Text == "" {
		t.Fatalf("%v: want a line from %d to %d", err, from, lines)
	}
	return where.N
}
