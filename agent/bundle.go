package main

import (
	"archive/tar"
	"bytes"
	"compress/gzip"
	"context"
	"errors"
	"fmt"
	"io"
	"strings"
	"time"
)

// mostPart bounds one part of a support bundle, in bytes; what is beyond is cut.
const mostPart = 2 << 20

// part is one file of a support bundle. It is made for itself: what fails or takes
// too long costs that file alone.
type bundlePart struct {
	name string
	wait time.Duration // 0: partWait
	make func(ctx context.Context) ([]byte, error)
}

// partWait is how long a part may take: an agent that hangs answers nothing.
const partWait = 10 * time.Second

// made is what became of a part.
type madePart struct {
	name string
	data []byte
	err  error
}

// gather makes one part, which is given up when it takes too long.
func (p bundlePart) gather(ctx context.Context) madePart {
	wait := p.wait
	if wait == 0 {
		wait = partWait
	}
	ctx, cancel := context.WithTimeout(ctx, wait)
	defer cancel()
	done := make(chan madePart, 1)
	go func() {
		data, err := p.make(ctx)
		done <- madePart{p.name, data, err}
	}()
	select {
	case m := <-done:
		if len(m.data) > mostPart {
			m.data = append(m.data[:mostPart:mostPart], "\n(cut here: it is longer)\n"...)
		}
		return m
	case <-ctx.Done():
		return madePart{name: p.name, err: fmt.Errorf("it took longer than %v", wait)}
	}
}

// gatherAll makes all parts, and of what could not be made a last one that says so.
func gatherAll(ctx context.Context, parts []bundlePart) (made []madePart, missing int) {
	var errs strings.Builder
	for _, p := range parts {
		m := p.gather(ctx)
		if m.err != nil {
			missing++
			fmt.Fprintf(&errs, "%s: %v\n", m.name, m.err)
		}
		made = append(made, m)
	}
	if missing == 0 {
		errs.WriteString("Nothing is missing.\n")
	}
	return append(made, madePart{name: "missing.txt", data: []byte(errs.String())}), missing
}

// writeBundle writes parts that have something in them as one compressed archive,
// in their order and in a folder of its own.
func writeBundle(w io.Writer, folder string, made []madePart, at time.Time) error {
	zip := gzip.NewWriter(w)
	out := tar.NewWriter(zip)
	for _, m := range made {
		if len(m.data) == 0 {
			continue
		}
		head := tar.Header{Name: folder + "/" + m.name, Mode: 0o600, Size: int64(len(m.data)), ModTime: at.Truncate(time.Second), Format: tar.FormatUSTAR}
		if err := out.WriteHeader(&head); err != nil {
			return err
		}
		if _, err := io.Copy(out, bytes.NewReader(m.data)); err != nil {
			return err
		}
	}
	return errors.Join(out.Close(), zip.Close())
}
