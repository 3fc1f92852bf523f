//go:build linux

// Package faulty is a file system whose faults a test switches on and off, to stand
// where a card would. It passes everything on to a folder, through the kernel (FUSE), so
// that what is tested maps, locks and syncs real files. Only tests import it.
//
// It is served by another process, the test's own program started once more: see
// [Mount].
//
// # Caveats
//
// What is written is seen by readers at once, as with any file system; what is lost by
// [FS.Cut] is what was not synced, and readers see that only when they open the file
// anew.
package faulty

import (
	"fmt"
	"io"
	"net/rpc"
	"os"
	"os/exec"
	"path/filepath"
	"syscall"
	"testing"
)

// FS is a mounted file system. Its zero value is of no use; see [Mount]. All
// switches are off at first, and may be set while files are in use.
type FS struct {
	Dir string // where it is mounted

	t       testing.TB
	backing string
	client  *rpc.Client
}

// Page is 4 KiB of a file that cannot be read.
type Page struct {
	Name string
	N    int64
}

// Mount mounts a file system on a folder of its own until the test ends. Without
// /dev/fuse or without the right to mount the test is skipped; where the variable CI is
// set, that is a failure.
func Mount(t testing.TB) *FS {
	t.Helper()
	lacking := func(why string) {
		t.Helper()
		why = "no file system with faults can be mounted here: " + why
		if os.Getenv("CI") != "" {
			t.Fatal(why)
		}
		t.Skip(why)
	}
	if os.Getuid() != 0 {
		lacking("it takes root")
	}
	if _, err := os.Stat("/dev/fuse"); err != nil {
		lacking(err.Error())
	}
	f := &FS{Dir: t.TempDir(), t: t, backing: t.TempDir()}
	cmd := exec.Command(os.Args[0])
	cmd.Env = append(os.Environ(), serveVariable+"="+f.backing+string(filepath.ListSeparator)+f.Dir)
	cmd.Stderr = os.Stderr
	in, err1 := cmd.StdinPipe()
	out, err2 := cmd.StdoutPipe()
	if err1 != nil || err2 != nil {
		t.Fatal(err1, err2)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	f.client = rpc.NewClient(pipe{out, in})
	t.Cleanup(func() {
		_ = f.client.Close() // it then unmounts and ends
		if err := cmd.Wait(); err != nil {
			t.Errorf("the file system with faults: %v", err)
		}
	})
	var why string
	if err := f.client.Call("Card.Ready", 0, &why); err != nil {
		t.Fatal(err)
	}
	if why != "" {
		lacking(why)
	}
	return f
}

// pipe joins two ends to a connection.
type pipe struct {
	io.ReadCloser
	w io.WriteCloser
}

func (p pipe) Write(b []byte) (int, error) { return p.w.Write(b) }

// Close ends both.
func (p pipe) Close() error { return p.w.Close() }

// call asks the process that serves the file system.
func (f *FS) call(what string, args any) (n int) {
	f.t.Helper()
	if err := f.client.Call("Card."+what, args, &n); err != nil {
		f.t.Fatal(fmt.Errorf("%s: %w", what, err))
	}
	return n
}

// Mend switches all faults off. What a cut has lost stays lost.
func (f *FS) Mend() { f.call("Mend", 0) }

// Fail has each write and each change of a file's size end with an error, such as
// EIO, EROFS or EDQUOT; 0: none.
func (f *FS) Fail(errno syscall.Errno) { f.call("Fail", errno) }

// FailSync has each sync end with an error; 0: none. What was written stays written.
func (f *FS) FailSync(errno syscall.Errno) { f.call("FailSync", errno) }

// FailSyncAfter has each sync end with EIO, after so many that do not.
func (f *FS) FailSyncAfter(n int) { f.call("FailSyncAfter", n) }

// Rot has reads of these pages end with EIO.
func (f *FS) Rot(pages ...Page) { f.call("Rot", pages) }

// Fill takes the room away: files that are there can be written where they have
// blocks already, nothing else can.
func (f *FS) Fill() { f.call("Fill", 0) }

// Tear lets only so many sectors of the next write reach the card; it and all that
// follows ends with EIO, as when the power is cut.
func (f *FS) Tear(sectors int) { f.call("Tear", sectors) }

// HoldSync has syncs wait until the function returned is called.
func (f *FS) HoldSync() (release func()) {
	f.call("HoldSync", 0)
	return func() { f.call("Release", 0) }
}

// Held waits until a sync waits.
func (f *FS) Held() { f.call("Held", 0) }

// Cut is a power cut: of what was written since the last sync of a file, a share of the
// writes, from 0 to 100 %, chosen by the seed, is lost, and all that follows ends with EIO until Mend.
func (f *FS) Cut(share int, seed uint64) { f.call("Cut", [2]uint64{uint64(share), seed}) }

// Writes is how many writes were tried.
func (f *FS) Writes() int { return f.call("Writes", 0) }

// Flip changes a byte of a file on the card, behind the back of whoever has it open.
func (f *FS) Flip(name string, off int64, with byte) {
	f.t.Helper()
	file, err := os.OpenFile(filepath.Join(f.backing, name), os.O_RDWR, 0)
	if err != nil {
		f.t.Fatal(err)
	}
	defer func() { _ = file.Close() }() // the write below tells
	b := make([]byte, 1)
	if _, err := file.ReadAt(b, off); err != nil {
		f.t.Fatal(err)
	}
	b[0] ^= with
	if _, err := file.WriteAt(b, off); err != nil {
		f.t.Fatal(err)
	}
}
