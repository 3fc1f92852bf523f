package main

import (
	"crypto/tls"
	"errors"
	"fmt"
	"io/fs"
	"log/slog"
	"os"
	"sync"
	"time"
)

// keyPair is the page's certificate with its key, in two PEM files that are read
// anew once they have changed. Files that cannot be used change nothing; those of
// before stay, and the trouble is told.
type keyPair struct {
	cert, key string
	now       func() time.Time

	mu     sync.Mutex
	pair   *tls.Certificate // in use; nil: none yet
	seen   [2]fs.FileInfo   // the files that it is from
	unread string           // why the files as they are now are not in use
	told   string           // trouble that is in the log
}

// config is for servers that show this certificate. TLS 1.2 is the oldest that is
// not deprecated (RFC 8996).
func (k *keyPair) config() *tls.Config {
	return &tls.Config{
		MinVersion: tls.VersionTLS12, NextProtos: []string{"h2", "http/1.1"},
		GetCertificate: func(*tls.ClientHelloInfo) (*tls.Certificate, error) {
			k.mu.Lock()
			defer k.mu.Unlock()
			k.look()
			if k.pair == nil {
				return nil, errors.New(k.unread)
			}
			return k.pair, nil
		},
	}
}

// trouble says why browsers do not get the page, or do not trust it; "": they do.
func (k *keyPair) trouble() string {
	k.mu.Lock()
	defer k.mu.Unlock()
	return k.look()
}

// look reads the files if they have changed, logs a trouble that begins or ends
// and returns it.
func (k *keyPair) look() string {
	if seen, changed := k.changed(); changed || k.unread != "" {
		pair, err := tls.LoadX509KeyPair(k.cert, k.key)
		if err == nil {
			k.pair, k.seen, k.unread = &pair, seen, ""
			slog.Info("the page's certificate is read", "file", k.cert, "until", pair.Leaf.NotAfter)
		} else {
			k.unread = fmt.Sprintf("the page's certificate %s and its key %s cannot be used: %v", k.cert, k.key, err)
		}
	}
	trouble := k.state()
	if trouble != k.told {
		k.told = trouble
		if trouble != "" {
			slog.Warn("the page's certificate", "trouble", trouble)
		} else {
			slog.Info("the page's certificate is good again")
		}
	}
	return trouble
}

// changed says whether the files are others than those in use.
func (k *keyPair) changed() (now [2]fs.FileInfo, changed bool) {
	for i, name := range []string{k.cert, k.key} {
		info, err := os.Stat(name)
		if err != nil {
			return now, true // reading it tells why
		}
		was := k.seen[i]
		changed = changed || was == nil || !os.SameFile(was, info) ||
			!was.ModTime().Equal(info.ModTime()) || was.Size() != info.Size()
		now[i] = info
	}
	return now, changed
}

// state is the trouble with what was read last.
func (k *keyPair) state() string {
	if k.unread != "" {
		return k.unread
	}
	const day = "2 January 2006 15:04"
	leaf, now := k.pair.Leaf, k.now()
	switch {
	case now.After(leaf.NotAfter):
		return fmt.Sprintf("the page's certificate %s ran out on %s, so browsers do not trust it: put a new one in its place, the page takes it up by itself",
			k.cert, leaf.NotAfter.Local().Format(day))
	case now.Before(leaf.NotBefore):
		return fmt.Sprintf("the page's certificate %s is good from %s on, and the clock here shows %s: set the clock, or look at the certificate",
			k.cert, leaf.NotBefore.Local().Format(day), now.Local().Format(day))
	}
	return ""
}
