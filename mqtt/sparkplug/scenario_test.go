package sparkplug

import (
	"fmt"
	"net"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"github.com/eclipse/paho.mqtt.golang/packets"

	"benchtally/agent/record"
)

// play is a node, its records and its broker in a scenario.
type play struct {
	*running
	t   *testing.T
	s   *stub
	log *logbook
}

// say records something, and waits until nothing more comes of it.
func (p *play) say(rs ...record.Record) {
	p.log.add(rs...)
	p.Wake()
	synctest.Wait()
}

// wait lets time pass.
func (p *play) wait(d time.Duration) {
	time.Sleep(d)
	synctest.Wait()
}

// seq is the sequence of the newest message.
func (p *play) seq() uint8 {
	all := p.s.messages()
	return all[len(all)-1].payload.Seq
}

// idle lets time pass in which nothing is recorded.
func (p *play) idle(d time.Duration) {
	p.s.note(happening{what: quiet})
	p.wait(d)
	p.s.note(happening{what: busy})
}

// fill records until the next message has sequence 0.
func (p *play) fill(rs ...record.Record) {
	for i := 0; p.seq() != 255 && i < 1000; i++ {
		p.say(rs[i%len(rs)])
	}
}

const commands = "spBv1.0/riverside-hose-shop/NCMD/north-bench"

// command asks for a rebirth as hosts do.
func (p *play) command() {
	p.s.say(commands, rebirthCommand(), false)
	synctest.Wait()
}

func rebirthCommand() []byte {
	return AppendBirth(nil, Payload{At: time.Now(), Metrics: []Metric{{Name: Rebirth, At: time.Now(), Value: Boolean(true)}}})
}

// scenarios are what the traces are made of. Each returns what a host has to know
// of the press in the end.
var scenarios = []struct {
	name string
	host string
	prep func(*stub, *logbook, *Settings)
	play func(*play) map[string]Value
}{
	{name: "first start", play: func(p *play) map[string]Value {
		p.wait(time.Minute)
		for _, r := range everyKind() {
			p.wait(1234567 * time.Microsecond)
			p.say(r)
		}
		p.idle(10 * time.Minute)
		p.stop()
		return map[string]Value{
			"Work/Order": Null(TypeString), "Work/Cage": String("C-33"), "Stroke/Piece": String("A-1001/1"), "Reading/Diameter": Double(30.48),
			"Verdict/Outcome": String("pass"), "Advice/Setting": Int32(118), "Record/Sequence": Int64(int64(p.log.Last())), "Change/Of": Int64(5),
		}
	}},
	{name: "restart", prep: func(_ *stub, l *logbook, _ *Settings) {
		l.marks[markBirths] = logMark{253, nil}
	}, play: func(p *play) map[string]Value {
		p.say(stroke("A-1/1"))
		p.stop()
		for i := range 3 {
			synctest.Wait() // the server has seen the one before leave
			p.running = start(p.t, settings(), p.log, p.s.network)
			synctest.Wait()
			if i == 2 { // recorded just before the birth, told behind it
				late := reading(30)
				late.At = time.Now().Add(-time.Millisecond)
				p.say(late)
			}
			p.say(stroke(fmt.Sprintf("A-1/%d", i+2)))
			if i == 1 {
				p.s.cut()
				p.wait(10 * time.Second)
			}
			p.stop()
		}
		return map[string]Value{"Stroke/Piece": String("A-1/4")}
	}},
	{name: "wrap", play: func(p *play) map[string]Value {
		on, off := fault(record.Clock, true), fault(record.Clock, false)
		for i := range 300 {
			p.say(stroke(fmt.Sprintf("A-1/%d", i)))
		}
		p.fill(stroke("A-1/x"))
		p.say(reading(30)) // 0: DDATA
		p.fill(reading(31))
		p.say(on) // 0: NDATA
		p.fill(stroke("A-1/y"))
		p.say(fault(record.Caliper, true))
		p.fill(stroke("A-1/z"))
		p.say(fault(record.Switch, true)) // 0: DDEATH
		p.fill(off, on)
		p.say(fault(record.Switch, false)) // 0: DBIRTH
		p.say(fault(record.Caliper, false))
		return map[string]Value{"Stroke/Piece": String("A-1/z"), "Reading/Diameter": Double(31)}
	}},
	{name: "rebirth", prep: func(s *stub, _ *logbook, _ *Settings) {
		data := 0
		s.odd = func(_ net.Conn, cp packets.ControlPacket) bool {
			if m, ok := cp.(*packets.PublishPacket); ok && strings.Contains(m.TopicName, "/DDATA/") {
				if data++; data == 20 { // in the midst of many
					go s.say(commands, rebirthCommand(), false)
				}
			}
			return false
		}
	}, play: func(p *play) map[string]Value {
		for i := range 5 {
			p.say(stroke(fmt.Sprintf("A-1/%d", i)), reading(30+float64(i)))
		}
		p.command()
		p.say(stroke("A-1/9"))
		p.wait(rebirthEvery)
		for i := range chunk {
			p.log.add(reading(20 + float64(i)/100))
		}
		p.Wake() // the command comes
		p.wait(rebirthEvery)
		p.say(fault(record.Caliper, true), fault(record.Switch, true))
		p.command() // of a press that cannot be seen
		p.wait(rebirthEvery)
		p.say(fault(record.Switch, false))
		p.stop()
		return map[string]Value{"Stroke/Piece": String("A-1/9"), "Reading/Diameter": Double(20.63)}
	}},
	{name: "device lost", play: func(p *play) map[string]Value {
		p.say(stroke("A-1/1"), reading(30))
		p.say(fault(record.Caliper, true))
		p.wait(time.Second)
		p.say(fault(record.Switch, true))
		p.say(stroke("A-1/2"))
		p.wait(time.Hour)
		p.say(fault(record.Switch, false))
		p.say(fault(record.Caliper, false))
		p.say(fault(record.Switch, true), fault(record.Caliper, true))
		p.s.cut() // and born again while it cannot be seen
		p.wait(20 * time.Second)
		p.say(fault(record.Caliper, false))
		p.say(reading(32))
		return map[string]Value{"Reading/Diameter": Double(32), "Health/Switch": String("cable unplugged"), "Stroke/Piece": String("A-1/2")}
	}},
	{name: "node metrics", play: func(p *play) map[string]Value {
		p.say(fault(record.Clock, true))
		p.wait(time.Minute)
		p.say(fault(record.Broker, true), fault(record.Store, true), fault(record.Scanner, true))
		p.wait(time.Minute)
		p.say(fault(record.Clock, false))
		p.command()
		p.say(fault(record.Broker, false))
		return nil
	}},
	{name: "killed socket", play: func(p *play) map[string]Value {
		for i := range 4 {
			p.say(stroke(fmt.Sprintf("A-1/%d", i)))
			p.s.cut()
			p.log.add(reading(30))
			p.wait(10 * time.Second)
		}
		p.wait(2 * time.Minute)
		return map[string]Value{"Stroke/Piece": String("A-1/3"), "Reading/Diameter": Double(30)}
	}},
	{name: "clock set back", play: func(p *play) map[string]Value {
		ahead := stroke("A-1/1")
		ahead.At = time.Now().Add(time.Hour)
		p.say(ahead)
		p.wait(time.Minute)
		p.say(stroke("A-1/2"))
		p.wait(time.Minute)
		p.say(stroke("A-1/3"))
		return map[string]Value{"Stroke/Piece": String("A-1/3")}
	}},
	{name: "primary host", host: "control-room", play: func(p *play) map[string]Value {
		p.say(stroke("A-1/1")) // before the host came for the first time
		p.s.say("spBv1.0/STATE/another-room", []byte(`{"online":true,"timestamp":1000}`), true)
		p.wait(time.Minute)
		p.s.setState(`{"online":false,"timestamp":2000}`)
		p.s.setState(`{"online":true,"timestamp":1999}`) // older than what is known
		p.wait(time.Minute)
		p.s.setState(`{"online":true,"timestamp":2000}`)
		p.wait(time.Second)
		p.say(stroke("A-1/2"))
		p.s.setState(`{"online":false,"timestamp":1999}`) // older
		p.wait(time.Second)
		p.say(stroke("A-1/3"))
		p.s.setState(`{"online":false,"timestamp":3000}`)
		p.wait(time.Minute)
		p.say(stroke("A-1/4"), reading(30)) // while it is away
		p.wait(time.Minute)
		p.s.setState(`{"online":true,"timestamp":4000}`)
		p.wait(time.Minute)
		p.say(stroke("A-1/5"))
		p.s.setState(`{"online":false,"timestamp":5000}`) // and back before anybody looked
		p.s.setState(`{"online":true,"timestamp":5001}`)
		p.wait(time.Minute)
		p.stop()
		return map[string]Value{"Stroke/Piece": String("A-1/5"), "Reading/Diameter": Double(30)}
	}},
	{name: "several brokers", host: "control-room", prep: func(s *stub, _ *logbook, set *Settings) {
		set.Address = "tcp://a.example tcp://b.example tcp://c.example"
		s.absent = map[string]bool{"a.example:1883": true}
		s.states = map[string]string{
			"a.example:1883": `{"online":true,"timestamp":1000}`, "b.example:1883": `{"online":false,"timestamp":1000}`,
			"c.example:1883": `{"online":true,"timestamp":1000}`,
		}
	}, play: func(p *play) map[string]Value {
		p.wait(2 * hostWait)
		p.say(stroke("A-1/1"))
		p.s.locked(func() { p.s.absent = nil })
		p.s.setState(`{"online":false,"timestamp":2000}`) // at c; on to a
		p.s.locked(func() { p.s.states["c.example:1883"] = `{"online":false,"timestamp":2000}` })
		p.wait(time.Minute)
		p.say(stroke("A-1/2"))
		p.s.cut() // a is not to be relied on; round by b and c
		p.s.locked(func() { p.s.states["a.example:1883"] = "" })
		p.s.locked(func() { p.s.states["c.example:1883"] = `{"online":true,"timestamp":3000}` })
		p.wait(10 * time.Minute)
		p.say(stroke("A-1/3"))
		return map[string]Value{"Stroke/Piece": String("A-1/3")}
	}},
}

// played are the traces of all scenarios.
var played []*trace

// traces plays all scenarios, once.
func traces(t *testing.T) []*trace {
	if played != nil {
		return played
	}
	var all []*trace
	for _, sc := range scenarios {
		synctest.Test(t, func(t *testing.T) {
			time.Sleep(time.Until(noon) + 123456789*time.Nanosecond) // times that are no whole seconds
			s, log, set := &stub{host: sc.host}, newLogbook(), settings()
			set.Host = sc.host
			if sc.prep != nil {
				sc.prep(s, log, &set)
			}
			p := &play{start(t, set, log, s.network), t, s, log}
			synctest.Wait()
			want := sc.play(p)
			p.stop()
			synctest.Wait()
			all = append(all, s.record(sc.name, want))
		})
	}
	played = all
	return all
}

// everyKind is a record of each kind.
func everyKind() []record.Record {
	number, setting, ms, ratio, yes := 3, 120, int64(640), 0.998, true
	length := func(mm float64) record.Record { return reading(mm) }
	d := length(30.48).Diameter
	return []record.Record{
		{Kind: record.Operator, Operator: "7"},
		{Kind: record.Start, Order: "A-1001", Spec: "demo-08", Revision: "C", Quantity: 20, Cage: "C-21", Setting: &setting, Operator: "7", Target: d, Plus: length(0.2).Diameter, Minus: length(0.2).Diameter},
		{Kind: record.Load, Cage: "C-33"},
		{Kind: record.Set, Setting: &setting},
		{Kind: record.Stroke, Order: "A-1001", Piece: "A-1001/1", Cage: "C-33", Setting: &setting, Crimp: 1, Held: &ms},
		{Kind: record.Retract},
		{Kind: record.Measure},
		reading(30.48),
		{Kind: record.Verdict, Piece: "A-1001/1", Outcome: "pass", Crimp: 1, Readings: 2, Mean: d, Deviation: length(-0.02).Diameter, Ovality: length(0.04).Diameter, U: length(0.01).Diameter, Conformity: &ratio, Zone: "inside"},
		{Kind: record.Correction, Piece: "A-1001/1", For: record.ForNext, Setting: record.Ptr(118), Change: record.Ptr(-2), Offset: length(0.01).Diameter, Reason: "mean below target"},
		{Kind: record.Care, Cage: "C-33", Work: "lubricate", State: record.Due, Strokes: &number},
		{Kind: record.Zero, Value: length(0.01).Diameter, OK: &yes},
		{Kind: record.Standard, Standard: "25 mm block", Deviation: length(0.002).Diameter, OK: &yes},
		{Kind: record.Undo, Of: 8},
		{Kind: record.Dry, Of: 5},
		{Kind: record.Same, Of: 5},
		{Kind: record.Refused, Source: record.Action, Reason: "no order is in work"},
		{Kind: record.Turn}, {Kind: record.Lot}, {Kind: record.Check}, {Kind: record.Proof}, {Kind: record.Scrap},
		{Kind: record.Finish, Order: "A-1001", Cage: "C-33"},
	}
}
