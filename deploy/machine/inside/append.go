//go:build linux

package main

import (
	"errors"
	"fmt"
	"os"
	"time"

	"benchtally/deploy/machine/hand"
)

// appendLines is the plainest program that keeps something: it appends numbered
// lines, and tells each when it believes it kept. Without sync it believes too
// much, and the test of power cuts must find that out.
func appendLines(q hand.Question, tell func(hand.Answer)) (err error) {
	f, err := os.OpenFile(q.Path, os.O_WRONLY|os.O_CREATE|os.O_APPEND, 0o644)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, f.Close()) }()
	dir, err := os.Open("/var/lib/benchtally")
	if err != nil {
		return err
	}
	if err := errors.Join(dir.Sync(), dir.Close()); err != nil { // the file's name
		return err
	}
	for n := range q.Count {
		if _, err := fmt.Fprintf(f, "line %06d\n", n+1); err != nil {
			return err
		}
		if q.Sync {
			if err := f.Sync(); err != nil {
				return err
			}
		}
		tell(hand.Answer{ID: q.ID, More: true, Done: n + 1})
		time.Sleep(5 * time.Millisecond)
	}
	return nil
}
