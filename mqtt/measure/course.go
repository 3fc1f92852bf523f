package main

import (
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"sync"
	"time"
)

// course is one round of measuring.
type course struct {
	plan      plan
	mosquitto string
	dir       string
	note      func(format string, args ...any)
}

// round measures all programs, one after the other, in the same ways.
func (c course) round(all []program, s sheet) error {
	if err := os.MkdirAll(c.dir, 0o700); err != nil {
		return err
	}
	for n, p := range all {
		dir := filepath.Join(c.dir, fmt.Sprint(n))
		for _, part := range []struct {
			what    string
			measure func(program, string, sheet) error
		}{{"start", c.fresh}, {"pace", c.paced}, {"drain", c.drain}, {"live", c.live}} {
			if !slices.Contains(c.plan.parts, part.what) {
				continue
			}
			c.note("%s: %s", p.name, part.what)
			if err := part.measure(p, filepath.Join(dir, part.what), s); err != nil {
				return fmt.Errorf("%s: %w", part.what, err)
			}
		}
		if err := os.RemoveAll(dir); err != nil {
			return err
		}
	}
	if !slices.Contains(c.plan.parts, "outage") {
		return nil
	}
	c.note("outage")
	return c.away(all, s)
}

// bench is a broker with the presses that publish to it.
type bench struct {
	*broker
	dir string

	mu      sync.Mutex
	presses []*press
}

// newBench takes a port; the broker does not run yet.
func (c course) newBench(dir string) (*bench, error) {
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return nil, err
	}
	b := &bench{dir: dir}
	var err error
	b.broker, err = newBroker(c.mosquitto, dir, func(topic, payload []byte, at time.Time) {
		b.mu.Lock()
		defer b.mu.Unlock()
		for _, r := range b.presses {
			r.hear(topic, payload, at)
		}
	})
	return b, err
}

// press starts a program in a folder. Its base is known to the subscriber before.
func (b *bench) press(p program, name string, inputs int) (*press, error) {
	var hello []string
	for n := range inputs {
		hello = append(hello, frame(n))
	}
	b.mu.Lock() // it hears nothing until it is among the presses
	defer b.mu.Unlock()
	r, err := newPress(p, filepath.Join(b.dir, name), "riverside/hose-shop/"+name, b.port, hello...)
	if err == nil {
		b.presses = append(b.presses, r)
	}
	return r, err
}

// close ends all that was started.
func (b *bench) close() {
	for _, r := range b.presses {
		_ = r.stop() // told where it matters
	}
	b.kill()
}

// fresh measures starts on an empty store, with one input waiting.
func (c course) fresh(p program, dir string, s sheet) error {
	b, err := c.newBench(dir)
	if err != nil {
		return err
	}
	defer b.close()
	if err := b.start(); err != nil {
		return err
	}
	var first, status []float64
	for n := range c.plan.starts {
		r, err := b.press(p, fmt.Sprintf("start-%d", n), 1)
		if err != nil {
			return err
		}
		if err := r.untilSeen(1); err != nil {
			return err
		}
		first = append(first, ms(r.latest.Sub(r.began)))
		if !r.online.IsZero() {
			status = append(status, ms(r.online.Sub(r.began)))
		}
		if err := r.stop(); err != nil {
			return err
		}
	}
	s.note("start", p, quantile(first, 0.5))
	if len(status) > 0 {
		s.note("start status", p, quantile(status, 0.5))
	}
	return nil
}

// paced measures a program at rest, at the pace of a bench and at its fastest.
func (c course) paced(p program, dir string, s sheet) error {
	b, err := c.newBench(dir)
	if err != nil {
		return err
	}
	defer b.close()
	if err := b.start(); err != nil {
		return err
	}
	r, err := b.press(p, "north-bench", 1)
	if err != nil {
		return err
	}
	if err := r.untilSeen(1); err != nil {
		return err
	}
	time.Sleep(2 * time.Second) // what a start leaves to be done
	pid := r.command.Process.Pid
	before, err := usageOf(pid)
	if err != nil {
		return err
	}
	time.Sleep(c.plan.rest)
	rested, err := usageOf(pid)
	if err != nil {
		return err
	}
	s.note("idle resident", p, rested.resident)
	s.note("idle anonymous", p, rested.anonymous)
	s.note("idle switches", p, float64(rested.switches-before.switches)/c.plan.rest.Seconds())

	pace := time.NewTicker(c.plan.pause)
	defer pace.Stop()
	for range c.plan.paced {
		<-pace.C
		if err := r.input(1); err != nil {
			return err
		}
	}
	if err := r.untilKept(); err != nil {
		return err
	}
	if err := r.untilSeen(1 + c.plan.paced); err != nil {
		return err
	}
	walked, err := usageOf(pid)
	if err != nil {
		return err
	}
	durable, seen := r.delays(1)
	s.note("durable p50", p, quantile(durable, 0.5))
	s.note("durable p99", p, quantile(durable, 0.99))
	s.note("seen p50", p, quantile(seen, 0.5))
	s.note("seen p99", p, quantile(seen, 0.99))
	s.note("paced cpu", p, (walked.cpu-rested.cpu).Seconds()*1e4/float64(c.plan.paced))

	began := time.Now()
	if err := r.input(c.plan.burst); err != nil {
		return err
	}
	if err := r.untilKept(); err != nil {
		return err
	}
	s.note("burst kept", p, float64(c.plan.burst)/r.kept[len(r.kept)-1].at.Sub(began).Seconds())
	if err := r.untilSeen(1 + c.plan.paced + c.plan.burst); err != nil {
		return err
	}
	s.note("burst seen", p, float64(c.plan.burst)/r.latest.Sub(began).Seconds())
	ran, err := usageOf(pid)
	if err != nil {
		return err
	}
	s.note("burst cpu", p, (ran.cpu-walked.cpu).Seconds()*1e4/float64(c.plan.burst))
	return r.stop()
}

// drain measures how a backlog goes out once the broker is there, and starts with
// what was kept.
func (c course) drain(p program, dir string, s sheet) error {
	b, err := c.newBench(dir)
	if err != nil {
		return err
	}
	defer b.close()
	r, err := c.backlog(b, p)
	if err != nil {
		return err
	}
	pid := r.command.Process.Pid
	before, err := usageOf(pid)
	if err != nil {
		return err
	}
	s.note("kept resident", p, before.resident)
	s.note("kept anonymous", p, before.anonymous)
	if err := b.start(); err != nil {
		return err
	}
	there := time.Now()
	if err := r.untilSeen(c.plan.backlog); err != nil {
		return err
	}
	after, err := usageOf(pid)
	if err != nil {
		return err
	}
	first, last := r.arrivals(0, c.plan.backlog)
	s.note("back", p, first.Sub(there).Seconds())
	s.note("drain", p, float64(c.plan.backlog)/last.Sub(first).Seconds())
	s.note("drained resident", p, after.resident)
	s.note("drained anonymous", p, after.anonymous)
	s.note("drain cpu", p, (after.cpu-before.cpu).Seconds()*1e4/float64(c.plan.backlog))
	time.Sleep(2 * time.Second) // acknowledged, and written down
	if err := r.stop(); err != nil {
		return err
	}

	var starts []float64
	for range c.plan.starts {
		r, err := b.press(p, "north-bench", 1)
		if err != nil {
			return err
		}
		if err := r.untilKept(); err != nil {
			return err
		}
		fresh := r.kept[0].seq
		if err := r.until("the event of a start", func() bool { _, ok := r.seen[fresh]; return ok }); err != nil {
			return err
		}
		starts = append(starts, ms(r.seen[fresh].Sub(r.began)))
		time.Sleep(2 * time.Second)
		if err := r.stop(); err != nil {
			return err
		}
	}
	s.note("start full", p, quantile(starts, 0.5))
	return nil
}

// backlog starts a program without a broker and has it keep records.
func (c course) backlog(b *bench, p program) (*press, error) {
	r, err := b.press(p, "north-bench", 0)
	if err != nil {
		return nil, err
	}
	if err := r.input(c.plan.backlog); err != nil {
		return nil, err
	}
	return r, r.untilKept()
}

// How often something happens at the bench while a backlog drains.
const (
	liveEvery = 50 * time.Millisecond
	setEvery  = 5 // readings to a change of the setting
)

// live measures how late the subscriber learns of what happens while a backlog goes
// out: the events, which keep their order, and the retained state, which need not wait.
func (c course) live(p program, dir string, s sheet) error {
	b, err := c.newBench(dir)
	if err != nil {
		return err
	}
	defer b.close()
	r, err := c.backlog(b, p)
	if err != nil {
		return err
	}
	if err := b.start(); err != nil {
		return err
	}
	if err := r.untilSeen(1); err != nil {
		return err
	}
	acts := map[int]time.Time{}
	pace := time.NewTicker(liveEvery)
	defer pace.Stop()
	for n := 0; ; n++ {
		if p.agent && n%setEvery == 0 {
			setting := 1 + n/setEvery%998
			acts[setting] = time.Now()
			if err := r.act(fmt.Sprintf(`{"t":0,"do":"set","setting":%d}`, setting)); err != nil {
				return err
			}
		}
		if err := r.input(1); err != nil {
			return err
		}
		r.mu.Lock()
		done := len(r.seen) >= c.plan.backlog
		r.mu.Unlock()
		if done {
			break
		}
		<-pace.C
	}
	if err := r.untilKept(); err != nil {
		return err
	}
	if err := r.untilSeen(len(r.inputs)); err != nil {
		return err
	}
	_, seen := r.delays(c.plan.backlog)
	s.note("live p50", p, quantile(seen, 0.5)/1000)
	s.note("live p99", p, quantile(seen, 0.99)/1000)
	if !p.agent {
		return nil
	}
	var states []float64
	if err := r.until("the newest state", func() bool { return len(r.work) > 0 }); err != nil {
		return err
	}
	r.mu.Lock()
	defer r.mu.Unlock()
	for setting, at := range acts {
		if came, ok := r.work[setting]; ok { // else a newer one came in its place
			states = append(states, came.Sub(at).Seconds())
		}
	}
	s.note("state p50", p, quantile(states, 0.5))
	s.note("state p99", p, quantile(states, 0.99))
	return nil
}

// away measures how soon each program publishes again after an outage, all of them at
// one broker at once: at this pace they are no burden.
func (c course) away(all []program, s sheet) error {
	b, err := c.newBench(filepath.Join(c.dir, "outage"))
	if err != nil {
		return err
	}
	defer b.close()
	if err := b.start(); err != nil {
		return err
	}
	const every = 200 * time.Millisecond
	presses := make([]*press, len(all))
	for n, p := range all {
		if presses[n], err = b.press(p, fmt.Sprintf("bench-%d", n), 1); err != nil {
			return err
		}
		if err := presses[n].untilSeen(1); err != nil {
			return err
		}
	}
	goOn := func(until func() bool) error {
		for ; !until(); time.Sleep(every) {
			for _, r := range presses {
				if err := r.input(1); err != nil {
					return err
				}
			}
		}
		return nil
	}
	lasts := func(d time.Duration) func() bool {
		end := time.Now().Add(d)
		return func() bool { return time.Now().After(end) }
	}
	if err := goOn(lasts(c.plan.rest)); err != nil {
		return err
	}
	b.kill()
	counts := make([]int, len(all))
	for n, r := range presses {
		r.mu.Lock()
		counts[n] = len(r.seen)
		r.mu.Unlock()
	}
	if err := goOn(lasts(c.plan.outage)); err != nil {
		return err
	}
	if err := b.start(); err != nil {
		return err
	}
	there := time.Now()
	limit := lasts(3 * time.Minute) // of any program's own waiting
	if err := goOn(func() bool {
		back := 0
		for n, r := range presses {
			r.mu.Lock()
			if len(r.seen) > counts[n] {
				back++
			}
			r.mu.Unlock()
		}
		return back == len(presses) || limit()
	}); err != nil {
		return err
	}
	for n, r := range presses {
		if err := r.untilKept(); err != nil {
			return err
		}
		if err := r.untilSeen(len(r.inputs)); err != nil {
			return fmt.Errorf("events are lost: %w", err)
		}
		first := time.Time{}
		for _, at := range r.seen {
			if at.After(there) && (first.IsZero() || at.Before(first)) {
				first = at
			}
		}
		s.note("outage", all[n], first.Sub(there).Seconds())
	}
	return nil
}
