package main

import (
	"errors"
	"fmt"
	"strconv"
	"strings"

	"github.com/alecthomas/kong"

	"benchtally/agent/crimp"
)

// wholeFlag is a whole number on the command line, written as it is dialled:
// with or without leading zeros.
type wholeFlag struct {
	value int
	given bool
}

// Decode takes the word behind the flag.
func (w *wholeFlag) Decode(ctx *kong.DecodeContext) error {
	token := ctx.Scan.Pop()
	n, err := strconv.ParseUint(token.String(), 10, 31) // no sign, no digits in groups
	if token.IsEOL() || err != nil {
		return fmt.Errorf("%q: want a whole number, such as 085", token)
	}
	w.value, w.given = int(n), true
	return nil
}

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
	n.given = err == nil
	return err
}

// lengthFlag is a length on the command line, and the unit it was written in.
type lengthFlag struct {
	crimp.Length
	unit crimp.Unit
}

// Decode reads a length with its unit, also one that begins with a minus.
func (l *lengthFlag) Decode(ctx *kong.DecodeContext) (err error) {
	token := ctx.Scan.Pop()
	if token.IsEOL() {
		return errors.New("want a length behind it, such as 1.200in")
	}
	text := token.String()
	if l.Length, err = crimp.ParseLength(text); err != nil {
		return fmt.Errorf(`%w; want a length such as 1.200in or 30.48mm`, err)
	}
	l.unit = crimp.Millimetres
	if strings.HasSuffix(strings.TrimSpace(text), string(crimp.Inches)) {
		l.unit = crimp.Inches
	}
	return nil
}

// wrongFlags notes a fault for each flag that is wrong.
func wrongFlags(faults *[]error) func(bad bool, format string, args ...any) {
	return func(bad bool, format string, args ...any) {
		if bad {
			*faults = append(*faults, fmt.Errorf(format, args...))
		}
	}
}
