package store

import (
	"fmt"
	"runtime/debug"
)

// panicked is a panic of a damaged file, as an error.
type panicked struct{ reason any }

func (p panicked) Error() string { return fmt.Sprint(p.reason) }

// guard runs fn and turns a panic into an error of type panicked. A fault on
// memory that the damaged file made bbolt touch becomes a panic first.
func guard(fn func() error) (err error) {
	defer debug.SetPanicOnFault(debug.SetPanicOnFault(true))
	defer func() {
		if reason := recover(); reason != nil {
			err = panicked{reason}
		}
	}()
	return fn()
}
