package main

import (
	"errors"
	"fmt"
	"math"

	"github.com/alecthomas/kong"
)

// numberFlag is a plain number on the command line, which may be negative, in
// whatever unit the values have.
type numberFlag struct {
	value float64
	given bool
}

// pointer is the number, nil where none was given.
func (n numberFlag) pointer() *float64 {
	if !n.given {
		return nil
	}
	return &n.value
}

// Decode takes the word behind the flag, also one that begins with a minus.
func (n *numberFlag) Decode(ctx *kong.DecodeContext) (err error) {
	token := ctx.Scan.Pop()
	if token.IsEOL() {
		return errors.New("want a number behind it")
	}
	n.value, err = parseNumber(token.String())
	if n.given = err == nil; n.given && math.Abs(n.value) > 1e60 { // as package stats has it
		return fmt.Errorf("%q is too large for a measured value", token)
	}
	return err
}
