package config

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"unicode/utf8"
)

// readFile reads a whole file of at most most bytes.
func readFile(path string, most int64, regular bool) ([]byte, error) {
	if info, err := os.Stat(path); err == nil {
		switch {
		case info.IsDir():
			return nil, errors.New("this is a folder, want a file")
		case regular && !info.Mode().IsRegular():
			return nil, errors.New("this is a device or a pipe, want a file")
		}
	}
	f, err := os.Open(path)
	if err != nil {
		return nil, errors.New(openText(path, err))
	}
	defer f.Close() //nolint:errcheck // only read from
	data, err := io.ReadAll(io.LimitReader(f, most+1))
	if err != nil {
		return nil, fmt.Errorf("cannot be read: %w", cause(err))
	}
	if int64(len(data)) > most {
		return nil, fmt.Errorf("larger than %d MiB: want a text file written by hand", most>>20)
	}
	return data, nil
}

// openText says why a file cannot be opened and what to do.
func openText(path string, err error) string {
	switch {
	case errors.Is(err, fs.ErrNotExist):
		if abs, err := filepath.Abs(path); err == nil {
			path = abs
		}
		return "there is no file " + path
	case errors.Is(err, fs.ErrPermission):
		return "may not be read by this user: " + path
	default:
		return fmt.Sprintf("cannot be opened: %v", cause(err))
	}
}

// cause is the system's own reason, without the path that the fault names anyway.
func cause(err error) error {
	var pe *fs.PathError
	if errors.As(err, &pe) {
		return pe.Err
	}
	return err
}

// notText is the fault of a file that is no UTF-8 text.
func notText(file string, data []byte) (Fault, bool) {
	f := Fault{File: file, Line: 1, Column: 1}
	switch {
	case bytes.HasPrefix(data, []byte(utf8BOM)):
		f.Text = "begins with a byte-order mark: save it as UTF-8 without one"
	case bytes.HasPrefix(data, []byte("\xff\xfe")) || bytes.HasPrefix(data, []byte("\xfe\xff")):
		f.Text = "is UTF-16: save it as UTF-8"
	case !utf8.Valid(data):
		f.Line, f.Column = invalidAt(data)
		f.Text = "is not UTF-8 here: save the file as UTF-8"
	default:
		return Fault{}, false
	}
	return f, true
}

const utf8BOM = "\ufeff"

// invalidAt is the line and column of the first byte that is not UTF-8.
func invalidAt(data []byte) (line, column int) {
	line, column = 1, 1
	for len(data) > 0 {
		r, n := utf8.DecodeRune(data)
		switch {
		case r == utf8.RuneError && n == 1:
			return line, column
		case r == '\n':
			line, column = line+1, 1
		default:
			column++
		}
		data = data[n:]
	}
	return line, column
}
