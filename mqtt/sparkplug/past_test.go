package sparkplug

import (
	"errors"
	"fmt"
	"slices"
	"testing"
	"testing/synctest"
	"time"

	"benchtally/agent/record"
)

const hostOnline = `{"online":true,"timestamp":1000}`

// pasts are the sequences of records told as historical, by connection.
func pasts(s *stub) map[int][]int64 {
	all := map[int][]int64{}
	for _, m := range s.messages(DDATA) {
		k, ok := value(m.payload, "Record/Sequence")
		if v, is := k.Value.As(TypeInt64); ok && is && k.Historical {
			n, _ := v.Int()
			all[m.nth] = append(all[m.nth], n)
		}
	}
	return all
}

func upTo(from, to int64) (all []int64) {
	for n := from; n <= to; n++ {
		all = append(all, n)
	}
	return all
}

// TestPastGoesOn has a primary host leave in the midst of a long past: the next
// time it is told from there on, but for what may have been lost.
func TestPastGoesOn(t *testing.T) {
	slow := false
	playing(t, func(s *stub, l *logbook, set *Settings) {
		withHost(s, l, set)
		l.broken = func(uint64) (error, bool) {
			if slow {
				time.Sleep(time.Second)
			}
			return nil, false
		}
	}, func(p *play) {
		for i := range 400 {
			p.log.add(stroke(fmt.Sprintf("A-1/%d", i)))
		}
		p.Wake()
		p.wait(time.Second)
		slow = true
		p.s.setState(hostOnline)
		p.wait(250 * time.Second)
		p.s.setState(`{"online":false,"timestamp":2000}`)
		p.wait(time.Minute)
		p.s.setState(`{"online":true,"timestamp":3000}`)
		p.wait(10 * time.Minute)
		told := pasts(p.s)
		first, second := told[1], told[2]
		if len(first) < 200 || len(first) > 300 || !slices.Equal(first, upTo(1, int64(len(first)))) {
			t.Fatalf("%d records of the past in the first connection: %v", len(first), first)
		}
		if len(second) == 0 || second[0] == 1 || second[0] > first[len(first)-1]-80 || !slices.Equal(second, upTo(second[0], 400)) {
			t.Errorf("the second connection tells %v, the first ended with %d", second, first[len(first)-1])
		}
		p.s.cut()
		p.wait(10 * time.Minute)
		if got := pasts(p.s)[3]; len(got) != 0 {
			t.Errorf("the third connection tells %v, though all was told long ago", got)
		}
	})
}

// TestPastIsNotABurst counts what is told of the past in the first second.
func TestPastIsNotABurst(t *testing.T) {
	playing(t, withHost, func(p *play) {
		for range 1000 {
			p.log.add(stroke("A-1/1"))
		}
		p.Wake()
		p.s.setState(hostOnline)
		p.wait(999 * time.Millisecond)
		if got, want := len(pasts(p.s)[1]), 10*chunk; got != want {
			t.Errorf("%d records in the first second, want %d", got, want)
		}
		p.lives() // what happens now need not wait for it
		p.wait(time.Second)
		if got := pasts(p.s)[1]; !slices.Equal(got, upTo(1, 1000)) {
			t.Errorf("%d records in the end", len(got))
		}
	})
}

// TestPastOfADeadPress has a node be born while its press cannot be seen. What
// was recorded until it can is of the past.
func TestPastOfADeadPress(t *testing.T) {
	playing(t, func(s *stub, l *logbook, set *Settings) {
		withHost(s, l, set)
		s.state = hostOnline
		l.add(fault(record.Switch, true), fault(record.Caliper, true))
	}, func(p *play) {
		wantKinds(t, p.s.messages(), NBIRTH)
		p.say(stroke("A-1/1"), stroke("A-1/2")) // 3 and 4
		wantKinds(t, p.s.messages(), NBIRTH)
		p.say(fault(record.Switch, false)) // 5
		wantKinds(t, p.s.messages()[:2], NBIRTH, DBIRTH)
		if got := pasts(p.s)[1]; !slices.Equal(got, upTo(3, 5)) {
			t.Errorf("past %v, want 3 to 5", got)
		}
		p.lives()
	})
}

func TestPastIsOneHosts(t *testing.T) {
	playing(t, func(s *stub, l *logbook, set *Settings) {
		withHost(s, l, set)
		l.add(stroke("A-1/1"))
	}, func(p *play) {
		p.say(stroke("A-1/2"), stroke("A-1/3"))
		p.stop()
		for _, host := range []string{"other-room", "other-room", "control-room"} {
			set := settings()
			set.Host, p.s.host = host, host
			p.running = start(p.t, set, p.log, p.s.network)
			synctest.Wait() // what is kept until here is no past of a new host
			p.say(stroke("A-1/4"), stroke("A-1/5"))
			p.s.setState(hostOnline)
			p.wait(time.Second)
			nth := p.s.attempts()
			got, want := pasts(p.s)[nth], upTo(int64(p.log.Last())-1, int64(p.log.Last()))
			if !slices.Equal(got, want) {
				t.Errorf("%s is told %v of the past, want %v", host, got, want)
			}
			p.wait(2 * doubtful)
			p.stop()
			p.s.setState(`{"online":false,"timestamp":1}`)
		}
	})
}

// TestPastOfAnotherStore has a mark that is ahead of the records, as after a
// backup was brought back.
func TestPastOfAnotherStore(t *testing.T) {
	playing(t, func(s *stub, l *logbook, set *Settings) {
		withHost(s, l, set)
		s.state = hostOnline
		l.add(stroke("A-1/1"))
		l.marks[markPast] = logMark{900, []byte("control-room")}
		ahead := newImage()
		ahead.seq = 900
		ahead.values["Stroke/Piece"] = held{String("from the future"), time.Now()}
		l.marks[markImage] = logMark{900, ahead.note()}
	}, func(p *play) {
		if m, _ := value(p.s.messages(DBIRTH)[0].payload, "Stroke/Piece"); m.Value != String("A-1/1") {
			t.Errorf("the piece in the birth is %v", m.Value)
		}
		p.lives()
		p.wait(2 * doubtful)
		if m := p.log.marks[markPast]; m.seq != p.log.Last() {
			t.Errorf("the mark is at %d, want %d", m.seq, p.log.Last())
		}
	})
}

// TestPastIsDoubtedAsLongAsAConnection has a keepalive so long that a dead connection is
// noticed late.
func TestPastIsDoubtedAsLongAsAConnection(t *testing.T) {
	playing(t, func(s *stub, l *logbook, set *Settings) {
		withHost(s, l, set)
		s.state, set.Keepalive = hostOnline, 10*time.Minute
	}, func(p *play) {
		p.say(stroke("A-1/1"))
		p.wait(15 * time.Minute)
		p.s.cut()
		p.wait(time.Minute)
		if got := pasts(p.s)[2]; !slices.Equal(got, upTo(1, 1)) {
			t.Errorf("told once more: %v, want record 1", got)
		}
		p.wait(time.Hour)
		p.s.cut()
		p.wait(time.Minute)
		if got := pasts(p.s)[3]; len(got) != 0 {
			t.Errorf("told once more an hour later: %v", got)
		}
	})
}

func TestHostThatIsNotReadAsHavingAll(t *testing.T) {
	l := newLogbook()
	l.blind = errors.New("damaged")
	set := settings()
	set.Host = "control-room"
	n, err := New(set, l)
	if err != nil {
		t.Fatal(err)
	}
	l.add(stroke("A-1/1"))
	n.load(t.Context())
	if n.past.done != 1 || n.image.values["Stroke/Piece"].value != String("A-1/1") {
		t.Errorf("past %+v, image %+v", n.past, n.image)
	}
}

// TestMarksAreSeldom: what a node keeps for itself must not wear the card: with a
// record each ten seconds, and the store's marks on disk each second, they move at
// most once a minute.
func TestMarksAreSeldom(t *testing.T) {
	playing(t, func(s *stub, _ *logbook, set *Settings) {
		s.host, set.Host = "control-room", "control-room"
	}, func(p *play) {
		p.s.setState(`{"online":true,"timestamp":1000}`)
		synctest.Wait()
		moves, last := 0, p.log.marks[markPast].seq+p.log.marks[markImage].seq
		for range 360 { // an hour
			p.say(stroke("A-1001/1"))
			p.wait(10 * time.Second)
			p.log.mu.Lock()
			if now := p.log.marks[markPast].seq + p.log.marks[markImage].seq; now != last {
				moves, last = moves+1, now
			}
			p.log.mu.Unlock()
		}
		if moves > 66 || moves < 30 {
			t.Errorf("the marks moved %d times in an hour, want about 60", moves)
		}
	})
}
