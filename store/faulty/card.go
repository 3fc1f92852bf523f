//go:build linux

package faulty

import (
	"fmt"
	"math/rand/v2"
	"net/rpc"
	"os"
	"path/filepath"
	"slices"
	"sync"
	"syscall"

	"github.com/hanwen/go-fuse/v2/fs"
	"github.com/hanwen/go-fuse/v2/fuse"
)

// serveVariable holds the folder behind the file system and the one that it is mounted on,
// in the process that serves it.
const serveVariable = "BENCHTALLY_FAULTY"

// sector is what a card writes whole or not at all, in bytes.
const sector = 512

// card is the file system, in the process that serves it: a process that maps a
// file and serves it too would wait for itself.
type card struct {
	backing string

	mu       sync.Mutex
	write    syscall.Errno // of each write; 0: none
	sync     syscall.Errno
	spared   int // syncs that do not fail yet
	rotten   []Page
	full     bool
	torn     int // sectors of the next write that reach the card; less than 0: all
	gone     bool
	hold     chan struct{}
	held     int                // syncs that wait
	waiting  *sync.Cond         // for held to change
	unsynced map[string][]image // what writes since the last sync replaced, by file
	writes   int
}

// image is what a write replaced.
type image struct {
	off  int64
	old  []byte
	size int64 // of the file before
}

// A test's program that is started to serve a file system does nothing else.
func init() {
	if both := filepath.SplitList(os.Getenv(serveVariable)); len(both) == 2 {
		if err := serve(both[0], both[1]); err != nil {
			fmt.Fprintln(os.Stderr, err)
			os.Exit(1)
		}
		os.Exit(0)
	}
}

// serve mounts a file system and does what is asked on standard input until that ends.
func serve(backing, dir string) error {
	c := &card{backing: backing, torn: -1, unsynced: map[string][]image{}}
	c.waiting = sync.NewCond(&c.mu)
	var st syscall.Stat_t
	if err := syscall.Stat(backing, &st); err != nil {
		return err
	}
	root := &fs.LoopbackRoot{Path: backing, Dev: st.Dev}
	root.NewNode = func(data *fs.LoopbackRoot, _ *fs.Inode, _ string, _ *syscall.Stat_t) fs.InodeEmbedder { //nolint:staticcheck // what came instead copies nodes with their locks
		return &node{LoopbackNode: fs.LoopbackNode{RootData: data}, card: c}
	}
	root.RootNode = root.NewNode(root, nil, "", &st) //nolint:staticcheck // see above
	server, err := fs.Mount(dir, root.RootNode, &fs.Options{MountOptions: fuse.MountOptions{DirectMount: true, FsName: "faulty", Name: "faulty"}})
	switches := &Card{card: c}
	if err != nil {
		switches.why = err.Error()
	}
	asked := rpc.NewServer()
	if err := asked.Register(switches); err != nil {
		return err
	}
	asked.ServeConn(pipe{os.Stdin, os.Stdout}) // until the test ends
	if server == nil {
		return nil
	}
	_ = switches.Mend(0, nil) // or a sync that waits would hold the end up
	if err := server.Unmount(); err != nil {
		// Something of the test is still open: it goes when that does.
		return syscall.Unmount(dir, syscall.MNT_DETACH)
	}
	return nil
}

// Card is the switches of a file system, as they are asked for.
type Card struct {
	card *card
	why  string // why there is none
}

func (c *Card) set(change func(*card)) error {
	c.card.mu.Lock()
	defer c.card.mu.Unlock()
	change(c.card)
	return nil
}

// Ready answers when all is mounted, or why it is not.
func (c *Card) Ready(_ int, why *string) error { *why = c.why; return nil }

// Mend and the others are the switches of FS.
func (c *Card) Mend(int, *int) error {
	return c.set(func(f *card) {
		f.write, f.sync, f.rotten, f.full, f.torn, f.gone = 0, 0, nil, false, -1, false
		f.release()
	})
}

func (f *card) release() {
	if f.hold != nil {
		close(f.hold)
		f.hold = nil
	}
}

// Fail does what FS says of it.
func (c *Card) Fail(errno syscall.Errno, _ *int) error {
	return c.set(func(f *card) { f.write = errno })
}

// FailSync does what FS says of it.
func (c *Card) FailSync(errno syscall.Errno, _ *int) error {
	return c.set(func(f *card) { f.sync, f.spared = errno, 0 })
}

// FailSyncAfter does what FS says of it.
func (c *Card) FailSyncAfter(after int, _ *int) error {
	return c.set(func(f *card) { f.sync, f.spared = syscall.EIO, after })
}

// Rot does what FS says of it.
func (c *Card) Rot(pages []Page, _ *int) error { return c.set(func(f *card) { f.rotten = pages }) }

// Fill does what FS says of it.
func (c *Card) Fill(int, *int) error { return c.set(func(f *card) { f.full = true }) }

// Tear does what FS says of it.
func (c *Card) Tear(sectors int, _ *int) error { return c.set(func(f *card) { f.torn = sectors }) }

// HoldSync does what FS says of it.
func (c *Card) HoldSync(int, *int) error {
	return c.set(func(f *card) { f.hold = make(chan struct{}) })
}

// Release lets the syncs go on that HoldSync holds.
func (c *Card) Release(int, *int) error { return c.set((*card).release) }

// Held does what FS says of it.
func (c *Card) Held(int, *int) error {
	return c.set(func(f *card) {
		for f.held == 0 {
			f.waiting.Wait()
		}
	})
}

// Writes does what FS says of it.
func (c *Card) Writes(_ int, n *int) error { return c.set(func(f *card) { *n = f.writes }) }

// Cut does what FS says of it.
func (c *Card) Cut(how [2]uint64, _ *int) (err error) {
	_ = c.set(func(f *card) { err = f.cut(how[0], rand.New(rand.NewPCG(how[1], 0))) })
	return err
}

// cut loses a share of what was not synced.
func (f *card) cut(share uint64, random *rand.Rand) error {
	f.gone = true
	var names []string
	for name := range f.unsynced {
		names = append(names, name)
	}
	slices.Sort(names)
	for _, name := range names {
		images := f.unsynced[name]
		file, err := os.OpenFile(filepath.Join(f.backing, name), os.O_RDWR, 0)
		if os.IsNotExist(err) {
			continue
		}
		if err != nil {
			return err
		}
		for i := len(images) - 1; i >= 0; i-- {
			if random.Uint64N(100) >= share {
				continue
			}
			if _, err := file.WriteAt(images[i].old, images[i].off); err != nil {
				return err
			}
			if share == 100 {
				if err := file.Truncate(images[i].size); err != nil {
					return err
				}
			}
		}
		if err := file.Close(); err != nil {
			return err
		}
	}
	f.unsynced = map[string][]image{}
	return nil
}
