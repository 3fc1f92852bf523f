//go:build linux

package machine

import (
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"benchtally/deploy/machine/hand"
)

// TestAppend shows that the test of power cuts can fail, and does not fail what is
// right: a program that appends lines and tells each loses some at every cut when
// it does not sync, and none when it does.
func TestAppend(t *testing.T) {
	needMachine(t)
	const lines, each = 200, 20
	base, disk := t.TempDir()+"/base", t.TempDir()+"/disk"
	makeDisk(t, base, t.TempDir(), 64)
	if err := copyFile(base, disk); err != nil {
		t.Fatal(err)
	}
	g := boot(t, setting{data: disk, memory: 256})
	size := func() int64 {
		info, err := os.Stat(g.writes())
		if err != nil {
			t.Fatal(err)
		}
		return info.Size()
	}
	told := map[bool][]promise[int]{}
	file := map[bool]string{false: "without-sync", true: "with-sync"}
	for _, sync := range []bool{false, true} { // the other way round the one's syncs would serve the other
		q := hand.Question{Do: hand.Append, Path: "/var/lib/benchtally/" + file[sync], Count: lines, Sync: sync}
		a := g.hand.ask(q, func(a hand.Answer) { told[sync] = append(told[sync], promise[int]{size(), a.Done}) })
		if a.Bad != "" || len(told[sync]) != lines {
			t.Fatalf("%d lines told: %s", len(told[sync]), a.Bad)
		}
	}
	g.cut()

	log := openLog(t, g.writes())
	random := rand.New(rand.NewPCG(3, 3))
	r, err := newRebuilder(log, base, t.TempDir()+"/durable")
	if err != nil {
		t.Fatal(err)
	}
	image, mounted := t.TempDir()+"/cut", t.TempDir()
	for _, sync := range []bool{false, true} {
		bad := 0
		for i := range each {
			p := told[sync][(i+1)*lines/each-1]
			if err := r.cut(log.after(p.size), some, random, image); err != nil {
				t.Fatal(err)
			}
			do(t, "mount", "-o", "loop,noatime", image, mounted)
			text, _ := os.ReadFile(filepath.Join(mounted, file[sync])) // it may not be there
			do(t, "umount", mounted)
			for n := range p.of {
				if !strings.Contains(string(text), fmt.Sprintf("line %06d\n", n+1)) {
					bad++
					break
				}
			}
		}
		t.Logf("%d lines appended %s: %d of %d cuts bad", lines, file[sync], bad, each)
		if want := map[bool]int{true: 0, false: each}[sync]; bad != want {
			t.Errorf("%s: %d of %d cuts are found bad, want %d", file[sync], bad, each, want)
		}
	}
	if err := r.close(); err != nil {
		t.Error(err)
	}
}
