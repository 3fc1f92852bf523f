//go:build linux

package faulty

import (
	"context"
	"path/filepath"
	"slices"
	"syscall"

	"github.com/hanwen/go-fuse/v2/fs"
	"github.com/hanwen/go-fuse/v2/fuse"
	"golang.org/x/sys/unix"
)

// node is a file or a folder.
type node struct {
	fs.LoopbackNode
	card *card
}

// Open opens a file, with its faults.
func (n *node) Open(ctx context.Context, flags uint32) (fs.FileHandle, uint32, syscall.Errno) {
	h, out, errno := n.LoopbackNode.Open(ctx, flags)
	return n.card.handle(h, n.Path(n.Root())), out, errno
}

// Create makes a file, with its faults.
func (n *node) Create(ctx context.Context, name string, flags, mode uint32, out *fuse.EntryOut) (*fs.Inode, fs.FileHandle, uint32, syscall.Errno) {
	if errno := n.card.refusal(); errno != 0 {
		return nil, nil, 0, errno
	}
	inode, h, fuseFlags, errno := n.LoopbackNode.Create(ctx, name, flags, mode, out)
	return inode, n.card.handle(h, filepath.Join(n.Path(n.Root()), name)), fuseFlags, errno
}

// Unlink, Rename and Link change names.
func (n *node) Unlink(ctx context.Context, name string) syscall.Errno {
	if errno := n.card.refusal(); errno != 0 {
		return errno
	}
	return n.LoopbackNode.Unlink(ctx, name)
}

func (n *node) Rename(ctx context.Context, name string, to fs.InodeEmbedder, newName string, flags uint32) syscall.Errno {
	if errno := n.card.refusal(); errno != 0 {
		return errno
	}
	return n.LoopbackNode.Rename(ctx, name, to, newName, flags)
}

func (n *node) Link(ctx context.Context, target fs.InodeEmbedder, name string, out *fuse.EntryOut) (*fs.Inode, syscall.Errno) {
	if errno := n.card.refusal(); errno != 0 {
		return nil, errno
	}
	return n.LoopbackNode.Link(ctx, target, name, out)
}

// refusal is the error of whatever changes names; a full card still has room for
// what is removed and renamed.
func (f *card) refusal() syscall.Errno {
	f.mu.Lock()
	defer f.mu.Unlock()
	if f.gone {
		return syscall.EIO
	}
	return f.write
}

// file is an open file.
type file struct {
	*fs.LoopbackFile
	card *card
	name string
}

func (f *card) handle(h fs.FileHandle, name string) fs.FileHandle {
	l, ok := h.(*fs.LoopbackFile)
	if !ok {
		return h
	}
	return &file{l, f, name}
}

// PassthroughFd keeps the kernel from going past the faults.
func (f *file) PassthroughFd() (int, bool) { return 0, false }

func (f *file) Read(ctx context.Context, buf []byte, off int64) (fuse.ReadResult, syscall.Errno) {
	f.card.mu.Lock()
	bad := slices.ContainsFunc(f.card.rotten, func(p Page) bool {
		return p.Name == f.name && off < (p.N+1)*4096 && off+int64(len(buf)) > p.N*4096
	})
	f.card.mu.Unlock()
	if bad {
		return nil, syscall.EIO
	}
	return f.LoopbackFile.Read(ctx, buf, off)
}

func (f *file) Write(ctx context.Context, data []byte, off int64) (uint32, syscall.Errno) {
	f.card.mu.Lock()
	defer f.card.mu.Unlock()
	f.card.writes++
	switch {
	case f.card.gone:
		return 0, syscall.EIO
	case f.card.write != 0:
		return 0, f.card.write
	case f.card.full && f.grows(ctx, off, int64(len(data))):
		return 0, syscall.ENOSPC
	}
	torn := f.card.torn >= 0
	if torn {
		data = data[:min(len(data), f.card.torn*sector)]
		f.card.torn, f.card.gone = -1, true
	}
	if errno := f.remember(ctx, off, int64(len(data))); errno != 0 {
		return 0, errno
	}
	n, errno := f.LoopbackFile.Write(ctx, data, off)
	if torn {
		return 0, syscall.EIO
	}
	return n, errno
}

// grows says whether a write needs blocks that the file has not.
func (f *file) grows(ctx context.Context, off, size int64) bool {
	var a fuse.AttrOut
	if errno := f.Getattr(ctx, &a); errno != 0 || off+size > int64(a.Size) {
		return true
	}
	hole, errno := f.Lseek(ctx, uint64(off), unix.SEEK_HOLE)
	return errno != 0 || int64(hole) < off+size
}

// remember notes what a write replaces. The caller holds the lock.
func (f *file) remember(ctx context.Context, off, size int64) syscall.Errno {
	var a fuse.AttrOut
	if errno := f.Getattr(ctx, &a); errno != 0 {
		return errno
	}
	old := make([]byte, max(0, min(size, int64(a.Size)-off)))
	if len(old) > 0 {
		result, errno := f.LoopbackFile.Read(ctx, old, off)
		if errno != 0 {
			return errno
		}
		b, status := result.Bytes(old)
		if !status.Ok() {
			return syscall.EIO
		}
		copy(old, b)
	}
	f.card.unsynced[f.name] = append(f.card.unsynced[f.name], image{off, old, int64(a.Size)})
	return 0
}

func (f *file) Setattr(ctx context.Context, in *fuse.SetAttrIn, out *fuse.AttrOut) syscall.Errno {
	f.card.mu.Lock()
	defer f.card.mu.Unlock()
	if _, resized := in.GetSize(); resized {
		switch {
		case f.card.gone:
			return syscall.EIO
		case f.card.write != 0:
			return f.card.write
		}
		if errno := f.remember(ctx, 0, 0); errno != 0 {
			return errno
		}
	}
	return f.LoopbackFile.Setattr(ctx, in, out)
}

func (f *file) Fsync(ctx context.Context, flags uint32) syscall.Errno {
	f.card.mu.Lock()
	for f.card.hold != nil {
		hold := f.card.hold
		f.card.held++
		f.card.waiting.Broadcast()
		f.card.mu.Unlock()
		<-hold
		f.card.mu.Lock()
		f.card.held--
	}
	defer f.card.mu.Unlock()
	switch {
	case f.card.gone:
		return syscall.EIO
	case f.card.sync != 0 && f.card.spared > 0:
		f.card.spared--
	case f.card.sync != 0:
		return f.card.sync
	}
	delete(f.card.unsynced, f.name)
	return f.LoopbackFile.Fsync(ctx, flags)
}

// Allocate gives blocks to a file, as long as there is room.
func (f *file) Allocate(ctx context.Context, off, size uint64, mode uint32) syscall.Errno {
	f.card.mu.Lock()
	full, errno := f.card.full, f.card.write
	f.card.mu.Unlock()
	switch {
	case errno != 0:
		return errno
	case full:
		return syscall.ENOSPC
	}
	return f.LoopbackFile.Allocate(ctx, off, size, mode)
}
