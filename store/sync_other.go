//go:build !linux

package store

import "os"

// syncData waits until what was written is on disk.
func syncData(f *os.File) error { return f.Sync() }
