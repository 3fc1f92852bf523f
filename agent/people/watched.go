package people

import (
	"io/fs"
	"os"
	"time"
)

// reloadEvery is how long a change of the operators file may go unseen.
const reloadEvery = 2 * time.Second

// watched is an operators file that is read anew when it has changed. A file
// with faults changes nobody: those of before stay.
type watched struct {
	path    string
	roll    Roll
	trouble string // why the file as it is now is not in use
	info    fs.FileInfo
	looked  time.Time
}

// look reads the file if it is time and it has changed.
func (w *watched) look(now time.Time) {
	if !w.looked.IsZero() && now.Sub(w.looked) < reloadEvery {
		return
	}
	w.looked = now
	if w.trouble == "" && w.info != nil {
		if info, err := os.Stat(w.path); err == nil && same(info, w.info) {
			return
		}
	}
	roll, info, err := read(w.path)
	if err != nil {
		w.trouble = err.Error()
		return
	}
	w.roll, w.info, w.trouble = roll, info, ""
}

func same(a, b fs.FileInfo) bool {
	return os.SameFile(a, b) && a.ModTime().Equal(b.ModTime()) && a.Size() == b.Size() && a.Mode() == b.Mode()
}
