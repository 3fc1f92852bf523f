package main

import (
	"context"
	"fmt"
	"log/slog"
	"os"
	"slices"
	"strings"
	"sync"
	"time"

	"benchtally/agent/config"
	"benchtally/agent/crimp"
)

// jobsLook is how often the files of job cards are looked at: the office writes a
// new one now and then.
const jobsLook = 2 * time.Second

// jobsSettle is for how long a file has not been written when it is taken to be
// whole: half a table may look like a good one.
const jobsSettle = 2 * time.Second

// jobs are the job cards as their files have them now. A file that cannot be read
// or has a fault changes nothing: the cards before it stay, and the trouble is
// told until the file is good. It is safe for concurrent use.
type jobs struct {
	files []string
	specs []crimp.Spec
	now   func() time.Time
	seen  []fileMark // of the files when they were read last, of the watch alone; none: it was with the configuration

	mu      sync.Mutex
	all     []crimp.Job
	find    func(string) (crimp.Job, bool)
	trouble string // what is wrong with the files; "": nothing
}

// fileMark tells whether a file was written since.
type fileMark struct {
	at   time.Time
	size int64
}

// newJobs begins with the cards that the configuration was read with.
func newJobs(c *config.Config, now func() time.Time) *jobs {
	j := &jobs{files: c.JobFiles, specs: c.Specs, now: now, all: c.Jobs, find: jobsOf(c.Jobs)}
	if len(c.JobFaults) > 0 {
		slog.Warn("there are no job cards until their files are good", "err", c.JobFaults)
		j.trouble = brief(c.JobFaults)
	}
	return j
}

// watch looks at the files until ctx ends. Nobody waits for it, neither a start nor
// the end of the agent: the files may lie in a folder of another machine, which
// hangs when that one does.
func (j *jobs) watch(ctx context.Context) {
	for len(j.files) > 0 {
		select {
		case <-ctx.Done():
			return
		case <-time.After(jobsLook):
		}
		j.look()
	}
}

// look reads the files again if one was written and is left alone since.
func (j *jobs) look() {
	now := j.now()
	written := func(m fileMark) bool { return now.Sub(m.at).Abs() < jobsSettle }
	marks := j.marks()
	if slices.Equal(marks, j.seen) || slices.ContainsFunc(marks, written) {
		return
	}
	j.seen = marks
	all, err := config.ReadJobs(j.files, j.specs)
	j.mu.Lock()
	defer j.mu.Unlock()
	switch {
	case err != nil && j.trouble == "":
		slog.Warn("the job cards stay as they were", "err", err)
	case err == nil && j.trouble != "":
		slog.Info("the job cards are read again")
	}
	if err != nil {
		j.trouble = brief(err)
		return
	}
	j.all, j.find, j.trouble = all, jobsOf(all), ""
}

func (j *jobs) marks() []fileMark {
	marks := make([]fileMark, len(j.files))
	for i, name := range j.files {
		if info, err := os.Stat(name); err == nil { // one that is not there has no mark
			marks[i] = fileMark{info.ModTime(), info.Size()}
		}
	}
	return marks
}

// brief is the first fault of a file, and how many more there are.
func brief(err error) string {
	first, rest, more := strings.Cut(err.Error(), "\n")
	if !more {
		return first
	}
	return fmt.Sprintf("%s; and %s: benchtally check tells all", first, plural(1+strings.Count(rest, "\n"), "more fault"))
}

// Of is the job card of an order; false: there is none.
func (j *jobs) Of(order string) (crimp.Job, bool) {
	j.mu.Lock()
	find := j.find
	j.mu.Unlock()
	return find(order)
}

// All are all job cards, in the order of the files and their rows. They must not be
// changed.
func (j *jobs) All() []crimp.Job {
	j.mu.Lock()
	defer j.mu.Unlock()
	return j.all
}

// Trouble is what is wrong with the files; "": nothing.
func (j *jobs) Trouble() string {
	j.mu.Lock()
	defer j.mu.Unlock()
	return j.trouble
}
